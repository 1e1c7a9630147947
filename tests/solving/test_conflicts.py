"""Smallest sets of lines that cannot hold together: against published examples and against brute force."""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import chain, combinations, product

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from meltwright.network.graph import Network
from meltwright.solving.answering import Refusal, solve
from meltwright.solving.conflict import Conflict, Lines, Member, Sets, all_smallest, conflicts, hitting, smallest

from tests.solving.networks import network_of

Named = frozenset[str]
MANY = 100


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Network]:
    path = tmp_path_factory.mktemp("conflicts") / "case.melt"

    return partial(network_of, path)


def text(names: dict[str, str], requires: dict[str, str], inputs: str = "", profile: str = "") -> str:
    """Write settings (name: lattice), one law a requirement, given inputs of the machine and lines of the profile."""
    given = [line.split()[0] for line in inputs.splitlines()]
    lines = [f'quantity {n} of machine : number in -1000 .. 1000 "input"' for n in given]
    lines += [f'setting {n} : number in {lattice} "setting"' for n, lattice in names.items()]
    lines += [f'law {n} {{\n  about "a"\n  source textbook "t"\n  require {r}\n}}' for n, r in requires.items()]
    lines += ["material stuff {\n}", f"machine mach {{\n{inputs}\n}}"]
    lines.append(f"profile p {{\n  material stuff\n  machines mach\n{profile}\n}}")
    return "\n".join(lines) + "\n"


def name_of(network: Network, member: Member) -> str:
    if member.kind == "pin":
        return network.settings[member.index].decl.name
    if member.kind == "input":
        return network.inputs[member.index].given.name
    return network.requirements[member.index].name.split()[0]


def named(network: Network, sets: Sequence[frozenset[Member]]) -> set[Named]:
    return {frozenset(name_of(network, m) for m in s) for s in sets}


def everything(network: Network) -> Sets:
    lines = Lines(network, range(len(network.requirements)), 1000)
    return all_smallest(lines.members, lines.ask, MANY)


# ---- published examples


def clauses(written: Sequence[str]) -> str:
    """Write clauses, like ``-a b`` for "not a, or b", as laws c1, c2 ... over settings that are 0 or 1."""
    names = sorted({w.strip("-") for c in written for w in c.split()})
    requires = {}
    for k, clause in enumerate(written, 1):
        literals = [f"1 - {w[1:]}" if w.startswith("-") else w for w in clause.split()]
        requires[f"c{k}"] = f"{literals[0] if len(literals) == 1 else 'max(' + ', '.join(literals) + ')'} >= 1"
    return text(dict.fromkeys(names, "0 .. 1 step 1"), requires)


def sets_of(*written: str) -> set[Named]:
    return {frozenset(f"c{k}" for k in one) for one in written}


@pytest.mark.parametrize(
    ("written", "conflicting", "cuts"),
    [
        # Liffiton, Previti, Malik and Marques-Silva, Fast, flexible MUS enumeration, Constraints 21 (2016): the
        # running example, from memory.
        (["a", "-a", "-a b", "-b"], ["12", "134"], ["1", "23", "24"]),
        # Liffiton and Sakallah, Algorithms for computing minimal unsatisfiable subsets of constraints, J. Autom.
        # Reasoning 40 (2008): the example formula, from memory.
        (
            ["a", "-a", "-a b", "-b", "-a c", "-c"],
            ["12", "134", "156"],
            ["1", "235", "236", "245", "246"],
        ),
    ],
)
def test_all_conflicts_and_cuts_of_clauses(
    network: Callable[[str], Network], written: list[str], conflicting: list[str], cuts: list[str]
) -> None:
    net = network(clauses(written))
    found = everything(net)
    assert found.complete
    assert named(net, found.found) == sets_of(*conflicting)
    assert named(net, found.cuts) == sets_of(*cuts)


def test_all_conflicts_of_options(network: Callable[[str], Network]) -> None:
    """Junker, QuickXplain, AAAI 2004: a car's options and its four minimal conflicts; the budget from memory.

    The budget is a law, so it is a line of each conflict; without it, or without the dearest option, all the rest fits.
    """
    prices = {"racks": 500, "player": 500, "seat": 800, "colour": 500, "luxury": 2600}
    cost = " + ".join(f"{price} * {n}" for n, price in prices.items())
    wants = "\n".join(f"  {n} at least 1" for n in prices)
    net = network(text(dict.fromkeys(prices, "0 .. 1 step 1"), {"budget": f"{cost} <= 3000"}, profile=wants))
    found = everything(net)
    assert found.complete
    assert named(net, found.found) == {frozenset({"budget", "luxury", n}) for n in prices if n != "luxury"}
    assert named(net, found.cuts) == {
        frozenset({"budget"}),
        frozenset({"luxury"}),
        frozenset(prices) - {"luxury"},
    }


def test_all_conflicts_of_options_that_exclude_each_other(network: Callable[[str], Network]) -> None:
    """O'Sullivan, Papadopoulos, Faltings and Pu, Representative explanations, AAAI 2007: options as pins."""
    names = ["rack", "convertible", "player", "leather"]
    requires = {
        "budget": "500 * (rack + convertible + player) + 2600 * leather <= 3000",
        "roof": "rack + convertible <= 1",
    }
    pins = "\n".join(f'  pin {n} = 1 because "wanted"' for n in names)
    net = network(text(dict.fromkeys(names, "0 .. 1 step 1"), requires, profile=pins))
    _, refused = solve(net)
    assert isinstance(refused, Refusal)
    found, sets = conflicts(net, refused, 1000)
    published = [
        {"roof", "rack", "convertible"},
        {"budget", "rack", "leather"},
        {"budget", "convertible", "leather"},
        {"budget", "player", "leather"},
    ]
    assert named(net, [c.members for c in found]) == {frozenset(p) for p in published}
    assert sets.complete


# ---- sets alone


@st.composite
def families(draw: st.DrawFn) -> tuple[list[Member], list[frozenset[Member]], bool]:
    """Members and minimal sets of them that do not hold; whether some answers are left open."""
    members = [Member("requirement", k) for k in range(draw(st.integers(1, 9)))]
    drawn = draw(st.sets(st.frozensets(st.sampled_from(members), min_size=1), min_size=1, max_size=5))
    return members, [s for s in drawn if not any(other < s for other in drawn)], draw(st.booleans())


@given(family=families())
def test_all_smallest_sets_are_found(family: tuple[list[Member], list[frozenset[Member]], bool]) -> None:
    members, minimal, unsure = family

    def holds(sets: Sequence[frozenset[Member]]) -> list[bool | None]:
        answers: list[bool | None] = [not any(m <= s for m in minimal) for s in sets]
        # Sets of some sizes are left undecided, but for the whole.
        open_ = unsure and len(members) > 3
        return [None if open_ and len(s) == len(members) // 2 else a for s, a in zip(sets, answers, strict=True)]

    one = frozenset(smallest(members, holds))
    assert any(m <= one for m in minimal), "what is left does not hold"
    found = all_smallest(members, holds, MANY)
    assert all(any(m <= s for m in minimal) for s in found.found)
    everywhere = set(hitting(minimal))
    if not unsure:
        assert one in minimal
        assert set(found.found) == set(minimal)
        assert set(found.cuts) == everywhere
    if found.complete:
        assert set(found.cuts) == everywhere
    limited = all_smallest(members, holds, 2)
    assert len(limited.found) <= 2


def test_earlier_members_are_left_out_rather() -> None:
    members = [Member("requirement", k) for k in range(30)]
    minimal = [frozenset(members[k] for k in s) for s in ((0, 20), (3, 7, 25), (9, 11, 29))]
    asked = []

    def holds(sets: Sequence[frozenset[Member]]) -> list[bool | None]:
        asked.append(len(sets))
        return [not any(m <= s for m in minimal) for s in sets]

    assert smallest(members, holds) == [members[k] for k in (9, 11, 29)]
    assert sum(asked) < 60 and len(asked) < 12


# ---- small random networks


class Linear:
    """A random network whose requirements are linear: its worst input values are corners."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.settings = ["x", "y", "z"][: draw(st.integers(1, 3))]
        self.pins = {n: draw(st.integers(0, 4)) for n in self.settings if draw(st.booleans())}
        self.inputs = {n: (low, low + 2 * draw(st.integers(0, 2))) for n in "uv" for low in [draw(st.integers(-2, 2))]}
        whole = st.integers(-3, 3)
        count = draw(st.integers(2, 5))
        self.rows = [
            (
                [draw(whole) for _ in self.settings],
                [draw(st.integers(-2, 2)) for _ in self.inputs],
                draw(st.integers(-8, 6)) + 0.5,  # so that the sides are never equal
            )
            for _ in range(count)
        ]

    @property
    def text(self) -> str:
        names = [*self.settings, *self.inputs]
        requires = {
            f"l{k}": " + ".join(f"({c}) * {n}" for c, n in zip([*a, *b], names, strict=True)) + f" <= {limit}"
            for k, (a, b, limit) in enumerate(self.rows)
        }
        inputs = "\n".join(f"{n} {low} .. {high}" for n, (low, high) in self.inputs.items())
        pins = "\n".join(f'  pin {n} = {k} because "so"' for n, k in self.pins.items())
        return text(dict.fromkeys(self.settings, "0 .. 4 step 1"), requires, inputs, pins)

    def holds(self, members: Named) -> bool:
        """Whether some settings meet these requirements with these pins and ranges: every point, every corner."""
        axes = [[self.pins[n]] if n in members else range(5) for n in self.settings]
        points = np.array(list(product(*axes)))
        ends = [(low, high) if n in members else ((low + high) / 2,) for n, (low, high) in self.inputs.items()]
        corners = np.array(list(product(*ends)))
        good = np.ones(len(points), dtype=bool)
        for k, (a, b, limit) in enumerate(self.rows):
            if f"l{k}" in members:
                good &= points @ np.array(a) + (corners @ np.array(b)).max() <= limit
        return bool(good.any())

    def minimal(self) -> set[Named]:
        ranges = [n for n, (low, high) in self.inputs.items() if low < high]
        members = [*(f"l{k}" for k in range(len(self.rows))), *self.pins, *ranges]
        subsets = chain.from_iterable(combinations(members, size) for size in range(len(members) + 1))
        found: list[Named] = []
        for one in map(frozenset, subsets):
            if not any(s <= one for s in found) and not self.holds(one):
                found.append(one)
        return set(found)


@settings(max_examples=40, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_conflicts_of_small_networks_against_brute_force(
    data: st.DataObject, network: Callable[[str], Network]
) -> None:
    case = Linear(data.draw)
    expected = case.minimal()
    assume(expected)
    net = network(case.text)
    found = everything(net)
    assert found.complete
    assert named(net, found.found) == expected
    hits = hitting([frozenset(Member(n, 0) for n in s) for s in expected])
    assert named(net, found.cuts) == {frozenset(m.kind for m in h) for h in hits}
    _, refused = solve(net)
    if not isinstance(refused, Refusal):
        return
    some, sets = conflicts(net, refused, 1000)
    assert named(net, [c.members for c in some]) <= expected
    assert len(some) == min(len(expected), 4) or not sets.complete
    for conflict in some:
        _minimal(case, net, conflict)


def _minimal(case: Linear, net: Network, conflict: Conflict) -> None:
    """A conflict does not hold, but with any one of its members left out; its margins miss one requirement at most."""
    (members,) = named(net, [conflict.members])
    assert not case.holds(members)
    for one in members:
        assert case.holds(members - {one})
    assert [m.requirement for m in conflict.margins] == list(conflict.requirements)
    missed = [m for m in conflict.margins if m.right < m.left]
    assert missed
    if not conflict.inputs:
        assert len(missed) == 1
