"""Worked examples of interval methods and of minimal conflicts, from outside sources."""

from collections.abc import Callable
from functools import partial
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from meltwright.network.graph import Network
from meltwright.solving.answering import Refusal, solve
from meltwright.solving.batch import Batch
from meltwright.solving.problem import Problem
from meltwright.solving.proving import prove
from meltwright.solving.scenarios import Scenarios
from meltwright.solving.search import NONE, Boxes, Narrowing, Search
from meltwright.solving.slopes import setting_signs
from meltwright.solving.tape import Tape

from tests.solving.networks import network_of


@pytest.fixture
def network(tmp_path: Path) -> Callable[[str], Network]:
    return partial(network_of, tmp_path / "case.melt")


def text(settings: str, body: str, inputs: str = "", profile: str = "") -> str:
    declared = "\n".join(
        f'quantity {line.split()[0]} of machine : number in -1e6 .. 1e6 "i"' for line in inputs.splitlines()
    )
    return (
        f'{declared}\n{settings}\nlaw l {{\n about "a"\n source textbook "t"\n{body}\n}}\n'
        f"material stuff {{\n}}\nmachine mach {{\n{inputs}\n}}\n"
        f"profile p {{\n material stuff\n machines mach\n{profile}\n}}\n"
    )


X_IN_0_1 = 'setting x : number in 0 .. 1 step 0.01 "x"'


def _enclosure(found: Network, node: int, low: list[float], high: list[float]) -> tuple[float, float]:
    box = Tape(found).enclosures([np.array([float(v)]) for v in low], [np.array([float(v)]) for v in high])[node]
    return float(box.lo[0]), float(box.hi[0])


def test_dependency(network: Callable[[str], Network]) -> None:
    """Moore (1966); Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), ch. 1 and 2.

    X - X over [0, 1] is [-1, 1]; x (1 - x) over [0, 1] is [0, 1] by its parts and [0, 0.25] in truth.
    """
    found = network(text(X_IN_0_1, "require x - x <= 5\nrequire x * (1 - x) <= 5"))
    first, second = found.requirements
    assert _enclosure(found, first.left, [0], [1]) == pytest.approx((-1, 1), abs=1e-15)
    assert _enclosure(found, second.left, [0], [1]) == pytest.approx((0, 1), abs=1e-15)


@pytest.mark.parametrize(("limit", "holds"), [("0.24", False), ("0.2499", False), ("0.25", True), ("0.26", True)])
def test_dependency_does_not_spoil_a_proof(network: Callable[[str], Network], limit: str, holds: bool) -> None:
    """The same: the truth, 0.25, is what a proof over the whole range of an input finds."""
    problem = Problem(network(text(X_IN_0_1, f"require u * (1 - u) <= {limit}", "u 0 .. 1")))
    (verdict,) = prove(problem, (problem.first + problem.last) // 2, [0])
    assert verdict.holds is holds
    if not holds:
        assert float(verdict.inputs[0]) == pytest.approx(0.5, abs=0.1)


def test_dependency_does_not_spoil_an_optimum(network: Callable[[str], Network]) -> None:
    found = network(text(X_IN_0_1 + '\nmerit m = x * (1 - x) "m"', "require x <= 1", profile="prefer m"))
    _, answer = solve(found)
    assert not isinstance(answer, Refusal)
    assert answer.merits[0] == pytest.approx(0.25)


def test_contraction(network: Callable[[str], Network]) -> None:
    """Benhamou, Goualard, Granvilliers and Puget, Revising hull and box consistency, ICLP 1999 (from memory).

    2 x = z - y^2 with x in [0, 20], y in [-10, 10], z in [0, 16]: x in [0, 8], y in [-4, 4], z in [0, 16]. Ours works
    on lattices and by proved directions, so y is given by its halves: the square rises on one and falls on the other.
    """
    for low, high, kept in (("0", "10", (0.0, 4.0)), ("-10", "0", (-4.0, 0.0))):
        settings = (
            'setting x : number in 0 .. 20 step 0.5 "x"\n'
            f'setting y : number in {low} .. {high} step 0.5 "y"\n'
            'setting z : number in 0 .. 16 step 0.5 "z"'
        )
        problem = Problem(network(text(settings, "require 2 * x <= z - y^2\nrequire 2 * x >= z - y^2")))
        batch = Batch([problem])
        constraints = Scenarios(batch).of(np.ones((2, 1), dtype=np.bool_))
        first, last, both = batch.first.repeat(2, axis=1), batch.last.repeat(2, axis=1), np.arange(2)
        signs = setting_signs(batch, constraints, both, np.zeros(2, dtype=np.int64), first, last)
        assert set(np.abs(signs).ravel().tolist()) == {1}
        box = Boxes(
            batch.everyone, batch.first.copy(), batch.last.copy(), signs.T[:, :, None], constraints.present.copy()
        )
        alive = Narrowing(batch, constraints, box, False).run()
        assert alive.all()
        names = [s.decl.name for s in problem.network.settings]
        first, last = (problem.settings_at(e)[:, 0] for e in (box.first, box.last))
        got = {n: (float(first[i]), float(last[i])) for i, n in enumerate(names)}
        assert got == {"x": (0.0, 8.0), "y": kept, "z": (0.0, 16.0)}


def test_a_system_without_solution_is_refuted_by_propagation(network: Callable[[str], Network]) -> None:
    """Jaulin, Kieffer, Didrit and Walter, Applied Interval Analysis (2001): y = x^2, x y = 1, y = -2 x + 1 has none.

    The book propagates over the whole line (from memory); a lattice is finite, and here it is wide and fine.
    """
    settings = 'setting x : number in -50 .. 50 step 0.01 "x"\nsetting y : number in -50 .. 50 step 0.01 "y"'
    body = "\n".join(
        f"require {left} {relation} {right}"
        for left, right in (("y", "x^2"), ("x * y", "1"), ("y", "-2 * x + 1"))
        for relation in ("<=", ">=")
    )
    problem = Problem(network(text(settings, body)))
    batch = Batch([problem])
    search = Search(batch, Scenarios(batch).of(np.ones((6, 1), dtype=np.bool_)), 100)
    _, status = search.run([0])
    assert status[0] == NONE


# ---- minimal conflicts

PRICES = {"roof_racks": 500, "player": 500, "extra_seat": 800, "metal_colour": 500, "luxury": 2600}


def _options(wanted: list[str], budget: int = 3000) -> str:
    """A car whose options are 0 or 1 and cost money; each wanted option is a want of the profile."""
    settings = "\n".join(f'setting {n} : number in 0 .. 1 step 1 "option"' for n in PRICES)
    cost = " + ".join(f"{price} * {name}" for name, price in PRICES.items())
    wants = "\n".join(f"{n} at least 1" for n in wanted)
    return text(settings, f"let cost = {cost}\nrequire cost <= {budget}", profile=wants)


MINIMAL = [{"roof_racks", "luxury"}, {"player", "luxury"}, {"extra_seat", "luxury"}, {"metal_colour", "luxury"}]


@pytest.mark.parametrize(
    "order", [list(PRICES), list(PRICES)[::-1], ["metal_colour", "luxury", "roof_racks", "player"]]
)
def test_minimal_conflict_of_options(network: Callable[[str], Network], order: list[str]) -> None:
    """Junker, QuickXplain, AAAI 2004: the station wagon's options and its four minimal conflicts; budget from memory.

    The budget is a law here, so that it is part of the conflict as well. Which of the four is found depends on the
    order in which lines are dropped; all are published.
    """
    problem, refusal = solve(network(_options(order)))
    assert isinstance(refusal, Refusal)
    named = {problem.network.requirements[r].name for r in refusal.conflict}
    assert "l" in named
    assert {n.split()[0] for n in named - {"l"}} in MINIMAL


def test_options_that_fit_together(network: Callable[[str], Network]) -> None:
    """The same source: the two largest sets of options that can be had are {5} and {1, 2, 3, 4}."""
    for size in range(1, 6):
        for wanted in combinations(PRICES, size):
            _, outcome = solve(network(_options(list(wanted))))
            fits = set(wanted) <= {"luxury"} or "luxury" not in wanted
            assert isinstance(outcome, Refusal) is not fits


def test_minimal_conflict_with_options_that_exclude_each_other(network: Callable[[str], Network]) -> None:
    """O'Sullivan, Papadopoulos, Faltings and Pu, Representative explanations, AAAI 2007: options as pins.

    Roof rack 500, convertible 500, player 500, leather 2600, budget 3000; a convertible takes no roof rack. Minimal
    conflicts: {rack, convertible}, {budget, rack, leather}, {budget, convertible, leather}, {budget, player, leather}.
    """
    names = ["rack", "convertible", "player", "leather"]
    settings = "\n".join(f'setting {n} : number in 0 .. 1 step 1 "option"' for n in names)
    body = "require 500 * (rack + convertible + player) + 2600 * leather <= 3000\nrequire rack + convertible <= 1"
    pins = "\n".join(f'pin {n} = 1 because "wanted"' for n in names)
    problem, refusal = solve(network(text(settings, body, profile=pins)))
    assert isinstance(refusal, Refusal)
    pinned = {problem.network.settings[i].decl.name for i in refusal.pins}
    budget = 0 in refusal.conflict
    published = [
        (False, {"rack", "convertible"}),
        (True, {"rack", "leather"}),
        (True, {"convertible", "leather"}),
        (True, {"player", "leather"}),
    ]
    assert (budget, pinned) in published
