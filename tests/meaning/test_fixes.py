"""What fixes do: each that is offered for a case of ``test_faults`` cures the fault that offers it."""

import re
from pathlib import Path

import pytest
from meltwright.compiling import look_over
from meltwright.meaning.near import surely_meant
from meltwright.text.diagnostic import Diagnostic, Fix
from meltwright.text.fixing import applied, moved

from tests.meaning.test_faults import ALL, CASES, GROUPS, JOB, RUB, TRADE, TUBE, USE, Case, job, law, rub

TITLE = re.compile(r"(write|add|remove|move|say) ?\S|add: \S")
# Its fix can only start a line that nobody but the author can end.
FILLED_BY_HAND = '"..."'


def written(case: Case, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    files = {"main.melt": case} if isinstance(case, str) else case
    for name, text in {"trade.melt": TRADE, **files}.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder / next(iter(files))


def look(path: Path) -> list[Diagnostic]:
    return list(look_over(path)[0].diagnostics)


def follow(path: Path, fix: Fix) -> None:
    """Carry the edits of a fix out in the files."""
    for file in {e.span.file for e in fix.edits}:
        target = path.parent / file
        with target.open(encoding="utf-8", newline="") as stream:
            text = stream.read()
        target.write_text(applied(text, [e for e in fix.edits if e.span.file == file]), encoding="utf-8", newline="")


@pytest.mark.parametrize("group", GROUPS)
def test_every_fix_cures_its_fault(group: str, tmp_path: Path) -> None:
    for number, (name, case) in enumerate(CASES[group].items()):
        for d in look(written(case, tmp_path / f"{number}")):
            for tried, fix in enumerate(d.fixes):
                assert TITLE.match(fix.title) and "\n" not in fix.title, (name, fix.title)
                path = written(case, tmp_path / f"{number}-{tried}")
                before = look(path)
                follow(path, fix)
                after = look(path)
                edits = [e for e in fix.edits if e.span.file == d.span.file]
                key = d.code, d.message, moved(d.span.start, edits)
                assert key not in {(f.code, f.message, f.span.start) for f in after}, (name, fix)
                # What is read before the fault is as good as it was; whether a value is believable is asked last.
                known = {(f.code, f.message) for f in before}
                new = [f for f in after if (f.code, f.message) not in known and f.code < d.code and f.code != "M222"]
                assert not new, (name, fix.title, [f.message for f in new])
                assert len(after) <= len(before) or not fix.safe or d.code in HIDING, (name, fix.title)


HIDING = frozenset(["M110", "M203", "M214", "M215"])
"""Faults behind which others of the same line or file may stand."""


def only(case: Case, folder: Path) -> Diagnostic:
    (found,) = look(written(case, folder))
    return found


def offered(case: Case, folder: Path) -> list[tuple[str, bool]]:
    return [(fix.title, fix.safe) for fix in only(case, folder).fixes]


# ---- what is safe, and what is not


@pytest.mark.parametrize(
    ("name", "candidates", "meant"),
    [
        ("diametre", ["diameter", "density"], "diameter"),
        ("Layer-Height", ["layer_height", "layer_heights"], "layer_height"),
        ("strngth", ["strength", "strengths"], "strength"),
        ("modulus1", ["modulus2", "modulus3"], ""),
        ("urethane_80a", ["urethane_85a"], ""),
        ("bend", ["bead", "bond"], ""),
        ("gup", ["gap"], ""),
        ("flow", ["push"], ""),
        ("dimaetre", ["diameter"], ""),
    ],
)
def test_which_name_is_surely_meant(name: str, candidates: list[str], meant: str) -> None:
    assert surely_meant(name, candidates) == meant


def test_a_name_is_safe_only_where_the_rest_of_the_line_fits(tmp_path: Path) -> None:
    assert offered(rub("diametre 1.75 mm"), tmp_path) == [("write diameter for diametre", True)]
    assert offered(rub("diametre 20 degC"), tmp_path) == [("write diameter for diametre", False)]
    assert offered(rub("diametre thick"), tmp_path) == [("write diameter for diametre", False)]
    assert offered(rub("diameter 2 mm", "diametre 1.75 mm"), tmp_path) == [("write diameter for diametre", False)]
    assert offered(job('pin heat.nozle = 220 degC because "x"'), tmp_path)[0] == (
        "write heat.nozzle for heat.nozle",
        True,
    )
    assert offered(job('pin heat.nozle = 220 mm because "x"'), tmp_path)[0][1] is False
    assert offered(job("strengh at most firm"), tmp_path) == [("write strength for strengh", True)]
    assert offered(job("strengh at most 3 mm"), tmp_path) == [("write strength for strengh", False)]


def test_a_unit_is_safe_only_where_it_is_another_spelling_that_fits(tmp_path: Path) -> None:
    assert offered(rub("diameter 1.75 MM"), tmp_path) == [("write mm for MM", True)]
    assert offered(rub("softening 90 celsius"), tmp_path) == [("write degC for celsius", True)]
    assert offered(rub("diameter 1.75 celsius"), tmp_path) == [("write degC for celsius", False)]
    assert offered(rub("diameter 0.07 inch"), tmp_path) == []
    assert all(not safe for _, safe in offered(rub("modulus 20 mPa"), tmp_path))
    assert offered(rub("diameter 1.75 mmm"), tmp_path) == [("write mm for mmm", False)]


def test_the_same_line_again_is_taken_out_and_another_is_not(tmp_path: Path) -> None:
    assert offered(rub("diameter 2 mm", "diameter 2 mm"), tmp_path) == [
        ("remove the line, which says the same again", True)
    ]
    assert offered(rub("diameter 2 mm", "diameter 3 mm"), tmp_path) == [
        ("remove this line", False),
        ("remove the first line", False),
    ]
    assert offered(USE + RUB + RUB, tmp_path) == [("remove the definition, which says the same again", True)]
    path = written(USE + RUB + "# again\n" + RUB + TUBE + JOB, tmp_path)
    follow(path, only(USE + RUB + "# again\n" + RUB + TUBE + JOB, tmp_path).fixes[0])
    assert path.read_text(encoding="utf-8") == USE + RUB + "# again\n" + TUBE + JOB


def test_a_definition_with_a_comment_in_it_is_not_taken_out_unasked(tmp_path: Path) -> None:
    case = USE + RUB + RUB.replace("mm\n", "mm  # measured again\n")
    assert offered(case, tmp_path) == [("remove the definition, which says the same again", False)]


def test_a_want_between_two_values_becomes_two_wants(tmp_path: Path) -> None:
    case = job("flow at most 2 .. 3 mm3/s if possible").replace("\n", "\r\n")
    follow(written(case, tmp_path), only(case, tmp_path).fixes[0])
    with (tmp_path / "main.melt").open(encoding="utf-8", newline="") as stream:
        text = stream.read()
    assert "  flow at least 2 mm3/s if possible\r\n  flow at most 3 mm3/s if possible\r\n}" in text


def test_a_value_off_the_lattice_by_next_to_nothing_is_put_on_it(tmp_path: Path) -> None:
    def pinned(value: str) -> list[tuple[str, bool]]:
        return offered(job(f'pin heat.nozzle = {value} degC because "x"'), tmp_path)

    assert pinned("219.95") == [("write 220 degC for 219.95 degC", True), ("write 219 degC for 219.95 degC", False)]
    assert pinned("219.6") == [("write 220 degC for 219.6 degC", False), ("write 219 degC for 219.6 degC", False)]
    assert pinned("300") == [("write 260 degC for 300 degC", False)]


def test_a_value_of_another_owner_is_moved_to_the_one_block_there_is(tmp_path: Path) -> None:
    case = USE + RUB.replace("mm\n", "mm\n  gap 3 mm  # measured\n") + "machine tube {\n}\n" + JOB
    fault = only(case, tmp_path)
    assert [(fix.title, fix.safe) for fix in fault.fixes] == [("move it to machine tube", False)]
    path = written(case, tmp_path)
    follow(path, fault.fixes[0])
    assert "machine tube {\n  gap 3 mm\n}" in path.read_text(encoding="utf-8")
    assert offered(case + TUBE.replace("tube", "bench"), tmp_path) == []


def test_what_is_wanted_of_a_grade_is_bound_on_its_good_side_first(tmp_path: Path) -> None:
    assert offered(job("strength firm"), tmp_path)[0] == ("write strength at most firm", False)


# ---- mistakes close together, and causes


def codes(case: Case, folder: Path) -> list[str]:
    return [d.code for d in look(written(case, folder))]


def test_two_mistakes_in_one_line_are_two_reports(tmp_path: Path) -> None:
    assert codes(rub("diametre 1.75 MM"), tmp_path) == ["M214", "M215"]
    assert codes(rub("colour 2 .. 1 mm"), tmp_path) == ["M214", "M221"]
    assert codes(rub("gap 3 MM"), tmp_path) == ["M220", "M215"]
    assert codes(job("strengh at most 3 mm3/S"), tmp_path) == ["M214", "M215"]
    assert codes(job('pin heat.nozle = 220 degc because "x"'), tmp_path) == ["M214", "M215"]
    assert codes(job("prefer throughputt giving 5"), tmp_path) == ["M237", "M238"]
    assert codes(law("let made = gapp * 3 MM"), tmp_path) == ["M214", "M215"]
    assert codes(job("heat.nozzle 220 degc"), tmp_path) == ["M235", "M215"]


def test_a_mistake_in_a_head_hides_none_in_its_block(tmp_path: Path) -> None:
    case = USE + "material rub from rubb {\n  diameter 1.75 MM\n}\n"
    assert codes(case, tmp_path) == ["M212", "M215"]
    case = USE + "material rub frm base {\n  diameter 1.75 MM\n}\n" + TUBE + JOB
    assert codes(case, tmp_path)[0] == "M110"


def test_a_file_without_its_use_line_is_one_report(tmp_path: Path) -> None:
    (fault,) = look(written(JOB.replace("rub", "polylactide") + TUBE, tmp_path))
    assert (fault.code, fault.help) == ("M212", 'add: use library "materials/polylactide"')
    (fault,) = look(
        written(RUB + TUBE + "profile job {\n  material rub\n  machines tube\n  layer.height 1 mm\n}\n", tmp_path)
    )
    assert (fault.code, fault.help) == ("M214", 'add: use library "trade"')
    assert [r.role for r in fault.related] == ["unknown for the same reason"] * 2
    path = written(RUB + TUBE, tmp_path)
    follow(path, look(path)[0].fixes[0])
    assert path.read_text(encoding="utf-8") == f'use library "trade"\n\n{RUB}{TUBE}'


def test_a_file_beside_this_one_is_named_where_it_defines_what_is_missing(tmp_path: Path) -> None:
    (fault,) = look(written({"main.melt": USE + RUB + JOB, "shop.melt": TUBE}, tmp_path))
    assert (fault.code, fault.help) == ("M212", 'add: use "shop.melt"')
    follow(tmp_path / "main.melt", fault.fixes[0])
    assert (tmp_path / "main.melt").read_text(encoding="utf-8") == f'{USE}use "shop.melt"\n{RUB}{JOB}'
    assert codes(ALL, tmp_path / "good") == []
