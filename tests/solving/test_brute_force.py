"""The solver against brute force: every lattice point, at a dense sample of the input box with its corners."""

import random
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from meltwright.compiling import Compiled, compile_file
from meltwright.meaning.checking import check_file
from meltwright.solving.answering import Answer, solve
from meltwright.solving.checking import check
from meltwright.solving.problem import Problem
from meltwright.solving.proving import prove_all

from tests.solving.networks import LIKE, Formula, Input, Setting, Small, network_of, smalls

PATIENT = settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.filter_too_much],
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    yield tmp_path_factory.mktemp("small")


def compiled(folder: Path, text: str) -> Compiled:
    path = folder / "small.melt"
    path.write_text(text, encoding="utf-8")
    return compile_file(path)


def problem_of(folder: Path, small: Small) -> Problem:
    return Problem(network_of(folder / "small.melt", small.text))


def order_of(problem: Problem, small: Small) -> list[int]:
    """Where each setting of the network stands in the case."""
    names = [s.name for s in small.settings]
    return [names.index(s.decl.name) for s in problem.network.settings]


def proved_points(problem: Problem, small: Small) -> set[tuple[int, ...]]:
    """All lattice points that hold by proof, in the order of the case's settings."""
    order = order_of(problem, small)
    points = small.points()
    count = len(problem.network.requirements)
    questions = [(np.array([p[k] for k in order], dtype=np.int64), r) for p in points for r in range(count)]
    verdicts = prove_all(problem, questions)
    return {p for at, p in enumerate(points) if all(v.holds for v in verdicts[at * count : (at + 1) * count])}


@PATIENT
@given(small=smalls())
def test_agreement(small: Small, folder: Path) -> None:
    result = compiled(folder, small.text)
    # A setting that no requirement looks at is a warning beside the answer, not a part of it.
    codes = {d.code for d in result.diagnostics} - {"M409"}
    assume(not codes & {"M501", "M502"})  # an operation on inputs alone that is not defined: reported, not solved
    problem = problem_of(folder, small)
    if "M506" in codes:
        # A factor that cancels counts as never zero; where it is zero, the check refuses the answer.
        _, outcome = solve(problem.network)
        assert isinstance(outcome, Answer)
        assert "/" in small.text and not _finite(problem, small, outcome)
        return
    assert codes <= {"M503", "M504", "M505"}, result.diagnostics
    proved = proved_points(problem, small)
    inputs = small.samples()
    for point in proved:
        assert small.holds(point, inputs, LIKE, cancelling=True), "a proved point is broken by a sample"
    if "M505" in codes:
        assert not result.solutions
        return
    stated = {p for p in small.points() if small.holds(p, small.stated(), 0.0)}
    finite = {p for p in proved if all(np.isfinite(small.merit(k, p)) for k in range(len(small.merits)))}
    if not result.solutions:
        assert "M503" in codes
        at_stated = {p for p in stated if all(np.isfinite(small.merit(k, p)) for k in range(len(small.merits)))}
        assert not at_stated
        assert not finite
        return
    (solution,) = result.solutions
    order = order_of(problem, small)
    chosen = tuple(int(solution.answer.point[order.index(k)]) for k in range(len(order)))
    if "M504" in codes:
        assert not finite
        assert small.holds(chosen, small.stated(), LIKE)
        pool = {p for p in stated if all(np.isfinite(small.merit(k, p)) for k in range(len(small.merits)))}
    else:
        assert chosen in proved
        pool = finite
    for k in range(len(small.merits)):
        best = max((small.merit(k, p) for p in pool), default=-np.inf)
        give = small.share / 100 if k + 1 < len(small.merits) else 0.0
        bound = best - give * abs(best)
        assert small.merit(k, chosen) >= bound - 1e-8 * abs(best), f"merit {k} can be had better"
        # A merit that ties with the threshold within rounding may be counted in or out: leave such cases.
        assume(not any(0 < abs(small.merit(k, p) - bound) <= 1e-8 * abs(bound) for p in pool))
        pool = {p for p in pool if small.merit(k, p) >= bound}
    if "M504" not in codes:
        _bands_agree(solution.answer, small, order, chosen, proved)
    assert check_answer(folder, small, solution.answer, problem) == ""


def _finite(problem: Problem, small: Small, answer: Answer) -> bool:
    """Whether every side is a number at the corners of the input box and at the stated values."""
    order = order_of(problem, small)
    chosen = tuple(int(answer.point[order.index(k)]) for k in range(len(order)))
    values = {**small.settings_at(chosen), **small.samples(2)}
    return all(bool(np.isfinite(side.of(values)).all()) for pair in small.requires for side in pair)


def _bands_agree(
    answer: Answer, small: Small, order: list[int], chosen: tuple[int, ...], proved: set[tuple[int, ...]]
) -> None:
    inputs = small.samples()
    for at, k in enumerate(order):
        found = answer.bands[at]
        assert found.first <= chosen[k] <= found.last
        for index in range(small.settings[k].count):
            moved = (*chosen[:k], index, *chosen[k + 1 :])
            if found.first <= index <= found.last:
                assert moved in proved
                assert small.holds(moved, inputs, LIKE, cancelling=True)
            elif index in (found.first - 1, found.last + 1):
                assert moved not in proved


def check_answer(folder: Path, small: Small, answer: Answer, problem: Problem) -> str:
    model, _, _ = check_file(folder / "small.melt")
    assert model is not None
    values = problem.settings_at(answer.point[:, None])[:, 0]
    chosen = {s.decl.name: float(v) for s, v in zip(problem.network.settings, values, strict=True)}
    return check(model, model.profiles["p"], "mach", chosen, not answer.robust, frozenset())


@PATIENT
@given(small=smalls(), seed=st.integers(0, 1000))
def test_the_order_of_statements_changes_nothing(small: Small, seed: int, folder: Path) -> None:
    first, again = compiled(folder, small.text), compiled(folder, small.text)
    lines = small.lines()
    random.Random(seed).shuffle(lines)
    shuffled = compiled(folder, "\n".join(lines) + "\n")

    def told(result: Compiled) -> object:
        chosen = [
            sorted((s.decl.name, solution.setting_text(i)) for i, s in enumerate(solution.network.settings))
            for solution in result.solutions
        ]
        # Relations name their lines, so that their order may differ.
        return chosen, sorted((d.code, d.message) for d in result.diagnostics)

    assert told(first) == told(again)
    assert told(first) == told(shuffled)


@PATIENT
@given(small=smalls(), wider=st.lists(st.sampled_from([0.0, 0.1, 0.5, 2.0]), min_size=6, max_size=6))
def test_a_wider_range_never_lets_more_hold(small: Small, wider: list[float], folder: Path) -> None:
    inputs = tuple(Input(i.name, i.low - wider[2 * k], i.high + wider[2 * k + 1]) for k, i in enumerate(small.inputs))
    narrow = problem_of(folder, small)
    wide = problem_of(folder, Small(small.settings, inputs, small.requires, small.merits))
    more = proved_points(wide, small) - proved_points(narrow, small)
    assert not more


@PATIENT
@given(small=smalls(most_merits=1))
def test_the_answer_is_the_same_from_a_network_solved_twice(small: Small, folder: Path) -> None:
    problem = problem_of(folder, small)
    (_, one), (_, two) = solve(problem.network), solve(problem.network)
    assert type(one) is type(two)
    if isinstance(one, Answer) and isinstance(two, Answer):
        assert (one.point == two.point).all()
        assert one.bands == two.bands
        assert one.boxes == two.boxes


def test_a_wide_lattice_against_brute_force(folder: Path) -> None:
    """Larger lattices than one look can take in: the search has to split."""
    small = Small(
        (Setting("x", 0.0, 1.0, 60, ""), Setting("y", 0.0, 1.0, 60, "")),
        (Input("u", 1.0, 1.5),),
        (
            (Formula("(x - 30)^2 + u * (y - 20)^2", "(x - 30) ** 2 + u * (y - 20) ** 2"), Formula("200", "200.0")),
            (Formula("5", "5.0"), Formula("abs(x - y)", "abs(x - y)")),
        ),
        (Formula("min(x, 70 - y) - 0.1 * u * y", "min(x, 70 - y) - 0.1 * u * y"),),
    )
    (solution,) = compiled(folder, small.text).solutions
    inputs = small.samples()
    best = max(small.merit(0, p) for p in small.points() if small.holds(p, inputs, 1e-9))
    assert solution.answer.merits[0] == pytest.approx(best, rel=1e-12)
