"""Windows, against the proofs: what is to spare at a place is what the proof finds there, and what is open holds."""

from functools import cache

import numpy as np
import pytest
from meltwright.compiling import Compiled, compile_file
from meltwright.meaning.loading import library_folder
from meltwright.solving.answering import margins
from meltwright.solving.problem import TOLERANCE
from meltwright.solving.proving import prove
from meltwright.solving.windows import Window, axes, windows
from meltwright.telling.solution import Solution

DEMOS = ("watch_strap", "stiff_bracket")
SAMPLES = 12


@cache
def compiled(demo: str) -> Compiled:
    return compile_file(library_folder() / "demos" / f"{demo}.melt")


@cache
def seen(demo: str) -> list[tuple[Solution, Window]]:
    found = []
    for solution in compiled(demo).solutions:
        pair = axes(solution.problem, ["heat.nozzle"], ["speed.contour"])
        assert pair is not None
        found += [(solution, w) for w in windows([solution.problem], [solution.answer], pair)]
    return found


def point(solution: Solution, window: Window, i: int, j: int) -> np.ndarray:
    """Give the lattice point at a place of the coarse grid, the other settings where the window has them."""
    found = np.array(window.room, dtype=np.int64)
    for setting, value in ((window.across, window.coarse.x[i]), (window.up, window.coarse.y[j])):
        found[setting] = int(np.abs(solution.problem.lattices[setting] - value).argmin())
    return found


def places(window: Window) -> list[tuple[int, int]]:
    """Choose some places of the coarse grid, spread over all of it."""
    every = [(i, j) for j in range(window.coarse.y.size) for i in range(window.coarse.x.size)]
    return every[:: max(1, len(every) // SAMPLES)]


@pytest.mark.parametrize("demo", DEMOS)
def test_what_is_to_spare_is_what_the_proof_finds(demo: str) -> None:
    """The two ways share the tape but not the search for the worst input values."""
    equal = []
    for solution, window in seen(demo):
        for i, j in places(window):
            at = point(solution, window, i, j)
            for margin in margins(solution.problem, at, list(window.coarse.shares)):
                share = window.coarse.shares[margin.requirement][j, i]
                # The proof may stop at the first values that break a requirement, or once it holds for all values;
                # where an input moves it both ways, the window tries both ends and the proof a few values.
                if share < -TOLERANCE and margin.share < 0:
                    assert share <= margin.share + 1e-3
                else:
                    assert share <= margin.share + 1e-6
                    equal.append(share == pytest.approx(margin.share, abs=1e-6))
    assert sum(equal) >= 0.99 * len(equal)


@pytest.mark.parametrize("demo", DEMOS)
def test_what_is_open_holds_for_all_input_values(demo: str) -> None:
    """Also the requirements that do not hang on the two settings, though others were moved to make room."""
    for solution, window in seen(demo):
        assert window.followers, "a demonstration without a setting that makes room tests less"
        every = [(i, j) for j in range(window.coarse.y.size) for i in range(window.coarse.x.size)]
        open_ = [(i, j) for i, j in every if all(s[j, i] >= 0 for s in window.coarse.shares.values())][:SAMPLES]
        assert open_
        for i, j in open_:
            active = [m.requirement for m in solution.answer.margins]
            assert all(v.holds for v in prove(solution.problem, point(solution, window, i, j), active))


@pytest.mark.parametrize("demo", DEMOS)
def test_the_answer_is_in_the_window(demo: str) -> None:
    for solution, window in seen(demo):
        places = []
        for setting, values in ((window.across, window.coarse.x), (window.up, window.coarse.y)):
            chosen = solution.problem.lattices[setting][solution.answer.point[setting]]
            places.append(int(np.flatnonzero(values == chosen)[0]))
        assert all(s[places[1], places[0]] >= -TOLERANCE for s in window.coarse.shares.values())
        kept = [k for k in range(len(window.room)) if k not in window.followers]
        assert [window.room[k] for k in kept] == [int(solution.answer.point[k]) for k in kept]


def test_machines_look_the_same_together_and_alone() -> None:
    solutions = [s for s in compiled("watch_strap").solutions if s.network.machine != "gantry_direct"]
    groups: dict[int, list[Solution]] = {}
    for s in solutions * 3:
        groups.setdefault(id(s.problem.tape), []).append(s)
    for members in groups.values():
        pair = axes(members[0].problem, ["heat.nozzle"], ["speed.contour"])
        assert pair is not None
        together = windows([s.problem for s in members], [s.answer for s in members], pair)
        for solution, window in zip(members, together, strict=True):
            (alone,) = windows([solution.problem], [solution.answer], pair)
            assert (alone.room, alone.followers) == (window.room, window.followers)
            for grid, other in ((alone.fine, window.fine), (alone.coarse, window.coarse)):
                assert np.array_equal(grid.x, other.x) and np.array_equal(grid.y, other.y)
                assert all(np.array_equal(grid.shares[r], other.shares[r]) for r in grid.shares)


def test_where_no_setting_is_named_those_that_decide_most_span_the_window() -> None:
    (solution, *_) = compiled("watch_strap").solutions
    pair = axes(solution.problem, ["no.such"], [])
    assert pair is not None and pair[0] != pair[1]
    merit = solution.problem.tape.depends[solution.network.merits[0].node]
    assert merit >> pair[1] & 1
    assert all(solution.problem.first[i] < solution.problem.last[i] for i in pair)
