"""Cures as fixes: each is applied to the author's files and compiled again, and what it was offered for holds."""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from meltwright.compiling import Compiled, compile_file
from meltwright.meaning.loading import LIBRARY
from meltwright.syntax.formatting import format_text
from meltwright.text.diagnostic import Diagnostic, Fix
from meltwright.text.source import Source

from tests.telling.test_refusing import CASES, PROFILE, REFUSED, shop

Run = Callable[[str], Compiled]


def applied(text: str, fix: Fix, file: str) -> str:
    """Make the edits of a fix in one text, from the last to the first."""
    assert {e.span.file for e in fix.edits} == {file}
    ends = [(e.span.start, e.span.end) for e in fix.edits]
    assert all(end <= start for (_, end), (start, _) in pairwise(ends))
    for edit in reversed(fix.edits):
        text = text[: edit.span.start] + edit.text + text[edit.span.end :]
    return text


def formattable(text: str) -> None:
    """Hold that a text can be laid out."""
    _, faults = format_text(Source("case.melt", Path("case.melt"), text))
    assert faults == []


def refused(result: Compiled) -> Diagnostic:
    (fault,) = [d for d in result.diagnostics if d.is_error]
    assert fault.code == "M503"
    assert not any(f.safe for f in fault.fixes)
    return fault


@pytest.mark.parametrize("path", REFUSED, ids=lambda p: p.stem)
def test_each_fix_of_a_demonstration_mends_it(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / path.name
    text = path.read_text(encoding="utf-8")
    copy.write_text(text, encoding="utf-8")
    fault = refused(compile_file(copy))
    assert len(fault.fixes) == fault.help.count("(verified") >= 2
    for fix in fault.fixes:
        mended = applied(text, fix, path.name)
        formattable(mended)
        copy.write_text(mended, encoding="utf-8")
        result = compile_file(copy)
        assert [d.code for d in result.diagnostics] == [], fix.title
        assert result.solutions


@pytest.mark.parametrize("case", CASES)
def test_each_fix_of_a_case_mends_it(case: str, compiled: Run) -> None:
    text = PROFILE.format(lines=CASES[case])
    fault = refused(compiled(text))
    assert fault.fixes
    for fix in fault.fixes:
        mended = applied(text, fix, "case.melt")
        formattable(mended)
        assert not compiled(mended).failed, fix.title


def titles(fault: Diagnostic) -> list[str]:
    return [f.title for f in fault.fixes]


def test_a_pin_may_be_changed_or_left_out(compiled: Run) -> None:
    text = PROFILE.format(lines=CASES["a pin that overheats material and liner"])
    fault = refused(compiled(text))
    assert titles(fault) == [
        "pin heat.nozzle = 235 degC instead of 320 degC",
        "leave heat.nozzle free instead of pin heat.nozzle = 320 degC",
    ]
    changed, free = (applied(text, f, "case.melt") for f in fault.fixes)
    assert changed == text.replace("320", "235")
    assert free == text.replace('  pin heat.nozzle = 320 degC because "it flows better"\n', "")


def test_each_machine_of_a_conflict_has_its_own_line(compiled: Run) -> None:
    text = shop("10 mm", "20 mm", "  x at least 20")
    fault = refused(compiled(text))
    assert [title.rpartition(" on ")[2] for title in titles(fault) if " on " in title] == ["one", "two"]
    nearer = [f for f in fault.fixes if " on " in f.title]
    both = applied(applied(text, nearer[1], "case.melt"), nearer[0], "case.melt")
    assert both == text.replace("free_length 10 mm", "free_length 3 mm").replace(
        "free_length 20 mm", "free_length 3 mm"
    )
    assert not compiled(both).failed


def test_evidence_does_not_outlive_its_value(compiled: Run) -> None:
    text = shop('10 mm  measured "calliper"', "1 mm", "  x at least 20")
    fix = next(f for f in refused(compiled(text)).fixes if f.title.startswith("bring"))
    mended = applied(text, fix, "case.melt")
    assert 'free_length 3 mm  assumed "planned: bring the guide nearer"\n' in mended
    assert not compiled(mended).failed


NEARER = 'free_length  3 mm  assumed "planned: bring the guide nearer"'
BODIES = {
    "{\n}": f"{{\n  {NEARER}\n}}",
    "{ }": f"{{\n  {NEARER}\n }}",
    "{ # ours\n}": f"{{ # ours\n  {NEARER}\n}}",
    "{\n    width        4 mm   # of a door\n}": f"{{\n    width        4 mm   # of a door\n    {NEARER}\n}}",
    "{ width 4 mm }": f"{{ width 4 mm\n  {NEARER}\n }}",
}


@pytest.mark.parametrize("body", BODIES)
def test_an_inherited_value_is_given_anew(body: str, compiled: Run) -> None:
    """The line it comes from stays, as other machines inherit it too."""
    own = f'quantity width of machine : length in 0 .. 9 mm "invented"\nmachine heir from one {body}\n'
    text = shop("10 mm", "1 mm", "  x at least 20", more=own).replace("machines one, two, three", "machines heir, two")
    fix = next(f for f in refused(compiled(text)).fixes if f.title.startswith("bring"))
    mended = applied(text, fix, "case.melt")
    assert f"machine heir from one {BODIES[body]}" in mended
    formattable(mended)
    assert not compiled(mended).failed


def test_line_ends_are_those_of_the_file(compiled: Run) -> None:
    own = "machine heir from one {\n}\n"
    text = shop("10 mm", "1 mm", "  x at least 20", more=own).replace("machines one, two, three", "machines heir, two")
    text = text.replace("\n", "\r\n")
    for fix in refused(compiled(text)).fixes:
        assert "\n" not in applied(text, fix, "case.melt").replace("\r\n", ""), fix.title


LINED = """
use library "materials/urethanes"
use library "machines/tube_fed"

material tough from urethane_85a {
  nozzle_highest  260 degC  measured "invented"
}

machine ours from tube_fed {
  gap  0 mm  measured "calliper (invented)"
}

profile hot {
  material      tough
  machines      ours
  layer.height  0.20 mm
  pin heat.nozzle = 245 degC because "it flows better"
}
"""


def test_the_library_is_not_edited(compiled: Run) -> None:
    """What it says of a machine is said anew in the author's own; where there is none, no fix is offered for it."""
    fault = refused(compiled(LINED))
    cure = "take a hot end without a liner: liner none instead of fluoropolymer"
    assert cure in titles(fault)
    for fix in fault.fixes:
        assert not compiled(applied(LINED, fix, "case.melt")).failed
    text = LINED.replace("machines      ours", "machines      tube_fed")
    fault = refused(compiled(text))
    assert cure in fault.help
    assert cure not in titles(fault)
    assert titles(fault)
    assert not any(e.span.file.startswith(LIBRARY) for f in fault.fixes for e in f.edits)


@pytest.mark.parametrize("after", ["", "  # they said so"])
def test_a_want_may_be_left_out(after: str, compiled: Run) -> None:
    more = 'law large {\n  about "a"\n  source textbook "t"\n  let doubled = 2 * x\n  require x >= 90\n}\n'
    text = shop("0.5 mm", "0.5 mm", f"  doubled at most 10{after}", more=more).replace("one, two, three", "one")
    fix = next(f for f in refused(compiled(text)).fixes if f.title == "leave out: doubled at most 10")
    mended = applied(text, fix, "case.melt")
    assert mended == text.replace("doubled at most 10" if after else "  doubled at most 10\n", "")
    formattable(mended)
    assert not compiled(mended).failed
