"""Hard cases for the solver: thin, disconnected, non-monotone, empty and very wide problems."""

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from meltwright.solving import answering
from meltwright.solving.answering import Answer, Refusal, hold_all, solve
from meltwright.solving.problem import Problem
from meltwright.solving.proving import prove
from meltwright.telling.solution import Solution

Run = Callable[..., object]


def text(
    body: str,
    settings: str = "setting x : number in 0 .. 100 step 1",
    inputs: str = "u 1 .. 2",
    profile: str = "prefer m",
    merit: str = "x",
    extra: str = "",
) -> str:
    names = [line.split()[0] for line in inputs.splitlines() if line.strip()]
    return "\n".join(
        [
            *[f'quantity {n} of machine : number in -1e12 .. 1e12 "input"' for n in names],
            *[f'{line} "setting"' for line in settings.splitlines()],
            f'merit m = {merit} "merit"' if merit else "",
            f'law l {{\n about "a"\n source textbook "t"\n{body}\n}}',
            extra,
            "material stuff {\n}",
            f"machine mach {{\n{inputs}\n}}",
            f"profile p {{\n material stuff\n machines mach\n{profile}\n}}",
            "",
        ]
    )


def solved(compiled: Run, source: str) -> Solution:
    result = compiled(source)
    assert not result.failed, result.diagnostics  # type: ignore[attr-defined]
    (solution,) = result.solutions  # type: ignore[attr-defined]
    return solution


def chosen(solution: Solution) -> dict[str, str]:
    return {s.decl.name: solution.setting_text(i) for i, s in enumerate(solution.network.settings)}


def codes(compiled: Run, source: str) -> list[str]:
    return [d.code for d in compiled(source).diagnostics]  # type: ignore[attr-defined]


def test_an_equality_is_met_at_its_one_point(compiled: Run) -> None:
    both = "require 3 * x <= 0.3 * y\nrequire 3 * x >= 0.3 * y\nrequire x >= 1"
    settings = "setting x : number in 0 .. 10 step 0.1\nsetting y : number in 0 .. 100 step 1"
    solution = solved(compiled, text(both, settings, merit="x"))
    assert chosen(solution) == {"x": "10.0", "y": "100"}
    solution = solved(compiled, text(both, settings, merit="-x"))
    assert chosen(solution) == {"x": "1.0", "y": "10"}


def test_an_equality_that_no_lattice_point_meets(compiled: Run) -> None:
    assert codes(compiled, text("require x <= 3.5\nrequire x >= 3.4")) == ["M503"]


def test_the_worst_input_may_lie_inside_its_range(compiled: Run) -> None:
    # The right side is least at u = 1.5, where it is 10; the ends of the range would allow 10.25.
    solution = solved(compiled, text("require 0.1 * x <= 10 + (u - 1.5)^2 - 2 * (x - x)", merit="x"))
    assert chosen(solution) == {"x": "100"}
    margin = solution.answer.margins[0]
    assert margin.inputs[0] == pytest.approx(1.5)


def test_the_worst_input_inside_hidden_by_dependency(compiled: Run) -> None:
    # u * u - 3 * u + 12.3 is least at 1.5 too, but its parts pull in opposite directions.
    solution = solved(compiled, text("require 0.1 * x <= u * u - 3 * u + 12.29"))
    assert chosen(solution) == {"x": "100"}
    solution = solved(compiled, text("require 0.1 * x <= u * u - 3 * u + 12.24"))
    assert chosen(solution) == {"x": "99"}


def test_a_touching_worst_case_is_proved(compiled: Run) -> None:
    solution = solved(compiled, text("require 0.1 * x <= u * u - 3 * u + 12.25"))
    assert chosen(solution) == {"x": "100"}


def test_a_disconnected_set_and_its_band(compiled: Run) -> None:
    # Holds for x from 0 to 20 and from 80 to 90.
    body = "require 30 <= abs(x - 50)\nrequire x <= 90\nrequire x * (x - 20) * (x - 80) >= 0"
    solution = solved(compiled, text(body))
    assert chosen(solution) == {"x": "90"}
    assert (solution.answer.bands[0].first, solution.answer.bands[0].last) == (80, 90)
    solution = solved(compiled, text(body, merit="-abs(x - 40)"))
    assert chosen(solution) == {"x": "20"}
    assert (solution.answer.bands[0].first, solution.answer.bands[0].last) == (0, 20)


def test_only_the_stated_values_hold(compiled: Run) -> None:
    result = compiled(text("require x * u <= 60\nrequire x * u >= 50\nrequire x >= 20", inputs="u 1 .. 2"))
    assert [d.code for d in result.diagnostics] == ["M504"]  # type: ignore[attr-defined]
    assert not result.failed  # type: ignore[attr-defined]
    (solution,) = result.solutions  # type: ignore[attr-defined]
    assert not solution.answer.robust
    assert chosen(solution) == {"x": "40"}  # 1.5 * 40 = 60
    # With x = 37: 1.38 * 37 = 51.06 and 1.62 * 37 = 59.94; no x leaves 0.13 on both sides.
    assert "u 1.5 ± 0.12 instead of 1 .. 2" in result.diagnostics[0].help  # type: ignore[attr-defined]


def test_inputs_without_width(compiled: Run) -> None:
    solution = solved(compiled, text("require x * u <= 60", inputs="u 1.5"))
    assert chosen(solution) == {"x": "40"}


def test_no_inputs_no_merits(compiled: Run) -> None:
    solution = solved(compiled, text("require x <= 61", inputs="", merit="", profile=""))
    assert chosen(solution) == {"x": "30"}


def test_no_merits_with_leanings(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1 rather low\nsetting y : number in 0 .. 100 step 1 rather high"
    solution = solved(compiled, text("require x + y >= 50\nrequire y <= 80", settings, merit="", profile=""))
    assert chosen(solution) == {"x": "0", "y": "80"}


def test_a_setting_that_nothing_limits_stands_in_the_middle(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1\nsetting y : number in 0 .. 50 step 1"
    assert chosen(solved(compiled, text("require x <= 7", settings))) == {"x": "7", "y": "25"}


def test_huge_ranges(compiled: Run) -> None:
    solution = solved(compiled, text("require x * u >= 1e-3 * u\nrequire x + 1e-9 * u <= 51", inputs="u 1e-9 .. 1e9"))
    assert chosen(solution) == {"x": "50"}
    assert codes(compiled, text("require x * u <= 1e9", inputs="u -1e12 .. 1e12", merit="-abs(x)")) == []


@pytest.mark.parametrize("count", [40, 200])
def test_many_settings_in_a_chain(compiled: Run, count: int) -> None:
    names = [f"s{i}" for i in range(count)]
    settings = "\n".join(f"setting {n} : number in 0 .. 200 step 1" for n in names)
    pairs = pairwise(names)
    body = "\n".join(f"require {a} + u * {b} <= {300 + i}" for i, (a, b) in enumerate(pairs))
    solution = solved(compiled, text(body, settings, merit=f"s0 + {names[-1]}"))
    at = {n: float(v) for n, v in chosen(solution).items()}
    # 2 * the last is at most its bound, and its neighbour and that of the first give way.
    assert (at["s0"], at[names[-1]]) == (200, min(200, (300 + count - 2) // 2))
    assert all(at[a] + 2 * at[b] <= 300 + i for i, (a, b) in enumerate(pairwise(names)))


def test_pins_are_kept_and_bind_the_rest(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1\nsetting y : number in 0 .. 100 step 1"
    profile = 'prefer m\npin y = 30 because "it is so"'
    solution = solved(compiled, text("require x + u * y <= 100", settings, profile=profile))
    assert chosen(solution) == {"x": "40", "y": "30"}
    band = solution.answer.bands[solution.setting_index("y")]
    assert (band.first, band.last) == (30, 30)


def test_soft_wants_that_fit_are_kept_and_others_set_aside(compiled: Run) -> None:
    result = compiled(text("require x * u <= 60", profile="prefer m\nx at most 20 if possible"))
    (solution,) = result.solutions  # type: ignore[attr-defined]
    assert chosen(solution) == {"x": "20"}
    result = compiled(text("require x * u <= 60", profile="prefer m\nx at least 40 if possible"))
    (solution,) = result.solutions  # type: ignore[attr-defined]
    assert chosen(solution) == {"x": "30"}
    assert [d.code for d in result.diagnostics] == ["M508"]  # type: ignore[attr-defined]


def test_soft_wants_that_exclude_each_other_do_not_hang_on_their_order(compiled: Run) -> None:
    wants = ["x at most 20 if possible", "x at least 25 if possible"]
    found = []
    for order in (wants, wants[::-1]):
        result = compiled(text("require x * u <= 60", profile="\n".join(["prefer m", *order])))
        found.append((chosen(result.solutions[0]), [d.message for d in result.diagnostics]))  # type: ignore[attr-defined]
    assert found[0] == found[1]


def test_merits_that_tie_leave_the_middle(compiled: Run) -> None:
    assert chosen(solved(compiled, text("require x <= 60", merit="min(x, 40)"))) == {"x": "50"}
    assert chosen(solved(compiled, text("require x <= 60", merit="u * 3"))) == {"x": "30"}


def test_a_merit_gives_back_no_more_than_its_share(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1\nsetting y : number in 0 .. 100 step 1"
    extra = 'merit n = y "second"'
    source = text("require x + y <= 100", settings, profile="prefer m, n giving 5 %", extra=extra)
    assert chosen(solved(compiled, source)) == {"x": "95", "y": "5"}


GRADE = 'grade glow by heat {\n cold up to 10 "c"\n warm up to 50 "w"\n hot above "h"\n}'
SHINE = 'grade shine by heat {\n bright from 50 "b"\n dull from 10 "d"\n dark below "k"\n}'


@pytest.mark.parametrize(
    ("grade", "want", "merit", "expected"),
    [
        (GRADE, "glow at most warm", "x", "25"),  # heat = u * x up to 2 * x; at most 50
        (GRADE, "glow at least warm", "-x", "10"),  # at least 10, u down to 1
        (GRADE, "glow at least hot", "-x", "50"),
        (GRADE, "glow at most cold", "x", "5"),
        (SHINE, "shine at least dull", "-x", "10"),
        (SHINE, "shine at most dull", "x", "25"),
        (SHINE, "shine at least bright", "-x", "50"),
        (SHINE, "shine at most dark", "x", "5"),
    ],
)
def test_a_want_on_a_grade_both_ways(compiled: Run, grade: str, want: str, merit: str, expected: str) -> None:
    source = text("let heat = u * x", profile=f"prefer m\n{want}", merit=merit, extra=grade)
    assert chosen(solved(compiled, source)) == {"x": expected}


def _conflict(compiled: Run, source: str) -> tuple[Problem, Refusal]:
    """Solve a text that is in conflict; give the problem and the refusal."""
    kept: list[tuple[Problem, Answer | Refusal]] = []
    original = answering.solve_all

    def spy(*arguments: object) -> list[tuple[Problem, Answer | Refusal]]:
        kept.extend(original(*arguments))  # type: ignore[arg-type]
        return kept

    answering.solve_all = spy  # type: ignore[assignment]
    try:
        assert codes(compiled, source) == ["M503"]
    finally:
        answering.solve_all = original
    problem, outcome = kept[-1]
    assert isinstance(outcome, Refusal)
    return problem, outcome


def test_two_wants_in_conflict_are_named_and_no_more(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1\nsetting y : number in 0 .. 100 step 1"
    body = "let sum = x + u * y\nrequire x <= 90\nrequire y <= 90"
    source = text(body, settings, profile="prefer m\nsum at most 30\nsum at least 40\ny at most 80")
    problem, refusal = _conflict(compiled, source)
    names = [problem.network.requirements[r].name for r in refusal.conflict]
    assert sorted(names) == ["sum at least 40", "sum at most 30"]
    (fault,) = compiled(source).diagnostics  # type: ignore[attr-defined]
    # Where a missed line's quantity comes from is shown too.
    places = [source[r.span.start : r.span.end] for r in fault.related if "comes from this" not in r.role]
    assert sorted(places) == ["sum at least 40", "sum at most 30"]


def test_every_part_of_a_conflict_is_needed(compiled: Run) -> None:
    settings = "\n".join(f"setting {n} : number in 0 .. 100 step 1" for n in "xyz")
    body = "let sum = x + y + z\nrequire x <= 20\nrequire y <= 30\nrequire z <= 70\nrequire x * u <= 1000"
    profile = 'prefer m\nsum at least 90\npin z = 10 because "the shop has only this"'
    problem, refusal = _conflict(compiled, text(body, settings, profile=profile))
    whole = list(refusal.conflict)
    network = problem.network
    assert hold_all([network], 1000, [whole]) == [False]
    for size in range(len(whole)):
        for part in combinations(whole, size):
            assert hold_all([network], 1000, [part]) == [True]
    assert [problem.network.settings[i].decl.name for i in refusal.pins] == ["z"]
    for i in refusal.pins:
        free = replace(network.settings[i], first=0, last=network.settings[i].decl.last)
        opened = replace(network, settings=(*network.settings[:i], free, *network.settings[i + 1 :]))
        assert hold_all([opened], 1000, [whole]) == [True]


def test_a_pin_without_part_in_a_conflict_is_not_named(compiled: Run) -> None:
    settings = "setting x : number in 0 .. 100 step 1\nsetting y : number in 0 .. 100 step 1"
    profile = 'prefer m\nx at least 21\npin y = 10 because "so"'
    _, refusal = _conflict(compiled, text("require u * x <= 30\nrequire y <= 50", settings, profile=profile))
    assert refusal.pins == ()
    assert len(refusal.conflict) == 2


# ---- what is not defined never holds


@pytest.mark.parametrize(
    "body",
    [
        "require sqrt(x - 40) <= 3",
        "require log(x - 39) <= 2.3",
        "require 0 <= 1 / (x - 39.5) + 1000 * sqrt(x - 40)",
        "require (x - 40)^0.5 <= 3",
    ],
)
def test_an_undefined_side_never_holds(compiled: Run, body: str) -> None:
    solution = solved(compiled, text(body, merit="-x"))
    assert chosen(solution)["x"] == "40"
    assert solution.answer.bands[0].first == 40


def test_undefined_for_some_inputs_only(compiled: Run) -> None:
    # sqrt needs x >= 20 * u, for all u up to 2.
    solution = solved(compiled, text("require sqrt(x - 20 * u) <= 1000", merit="-x"))
    assert chosen(solution) == {"x": "40"}
    problem = solution.problem
    index = problem.tape.setting_count * [39]
    assert prove(problem, np.array(index), [0])[0].holds is False


def test_a_pole_is_not_jumped_over(compiled: Run) -> None:
    # 1 / (x - 50.5) falls everywhere where it is defined, and yet is largest just above 50.5.
    solution = solved(compiled, text("require 1 / (x - 50.5) >= 0.5", merit="-x"))
    assert chosen(solution) == {"x": "51"}
    solution = solved(compiled, text("require 1 / (x - 50.5) <= 0.01", merit="x"))
    assert chosen(solution) == {"x": "50"}
    solution = solved(
        compiled, text("require tan(0.01 * x) <= -1", merit="x", settings="setting x : number in 0 .. 300 step 1")
    )
    assert float(chosen(solution)["x"]) == 235  # tan(2.35) = -1.012, tan(2.36) = -0.992


# ---- limits


SQUARE = "setting x : number in 0 .. 100 step 0.01\nsetting y : number in 0 .. 100 step 0.01"


def test_out_of_effort_says_so(compiled: Run, tmp_path: object) -> None:
    from meltwright.compiling import compile_file

    source = text(
        "require u * x * y - 0.3 * y * y <= 800\nrequire x * x * u + y * x >= 799",
        SQUARE,
        merit="x * y - x * x",
    )
    whole = solved(compiled, source)
    assert whole.answer.certified
    path = tmp_path / "case.melt"  # type: ignore[operator]
    result = compile_file(path, effort=1)
    # A point that holds was found on the way, but not that none is better.
    assert [d.code for d in result.diagnostics] == ["M507"]
    (solution,) = result.solutions
    assert not solution.answer.certified
    assert solution.answer.merits[0] <= whole.answer.merits[0]
    thin = "require abs(x * x - 50.03 * y - 7.003) <= 0.02 * u"
    path.write_text(text(thin, SQUARE, merit="x"), encoding="utf-8")
    result = compile_file(path, effort=1)
    assert [d.code for d in result.diagnostics] == ["M505"]
    assert result.failed and not result.solutions


def test_effort_that_ends_while_a_conflict_is_made_smaller_keeps_the_conflict(compiled: Run) -> None:
    problem, refusal = _conflict(compiled, text("require u * x <= 30\nrequire x >= 40\nrequire x <= 90"))
    _, limited = solve(problem.network, 1)
    assert isinstance(limited, Refusal)
    assert limited.out_of_effort or set(refusal.conflict) <= set(limited.conflict)
