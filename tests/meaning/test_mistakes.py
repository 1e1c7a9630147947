"""Ten mistakes of a first file: ten reports, each in its place, each cured by doing what it says to the letter.

The files in ``mistakes/`` use the real library; their spools, machines and values are invented. What a report advises
is carried out by machine: its first fix, or the text that its help gives.
"""

import re
from pathlib import Path

import pytest
from meltwright.compiling import compile_file, look_over
from meltwright.text.diagnostic import Diagnostic, Edit, write
from meltwright.text.fixing import applied, moved
from meltwright.text.source import Source, Span
from syrupy.assertion import SnapshotAssertion

FILES = Path(__file__).parent / "mistakes"
MARKED = {
    "first": {
        "M212": "urethane_85A",
        "M215": "shoreA",
        "M214": "diametre",
        "M110": "=",
        "M221": "200 .. 160 deg",
        "M301": "1 ",
        "M244": "attic_tube",
        "M405": "0.204 mm",
        "M217": "hiar",
        "M236": "pin heat.bed = 40 degC",
    },
    "second": {
        "M205": 'use library "materials/polylactide"',
        "M222": "17.5 mm",
        "M224": "-0.02 g/cm3",
        "M302": "0.2 deg",
        "M226": "machines      desk_direct",
        "M235": "heat.nozzle",
        "M245": "bonding",
        "M237": "througput",
        "M238": "5",
        "M110": "becuase",
    },
}
"""What each report of a file marks."""


def look(folder: Path, text: str) -> tuple[list[Diagnostic], dict[str, Source]]:
    """Check a text with all that is looked at before solving."""
    path = folder / "mine.melt"
    path.write_text(text, encoding="utf-8")
    checked, _ = look_over(path)
    return list(checked.diagnostics), checked.sources


def advised(d: Diagnostic, text: str) -> tuple[Edit, ...]:
    """Give the edits that a report asks for: its best fix, else what its help says to write."""
    if d.fixes:
        return d.fixes[0].edits
    meant = re.fullmatch(r"did you mean ([^ ,]+)\?", d.help)
    if meant:
        return (Edit(d.span, meant[1]),)
    literal = re.fullmatch(r"[^:]+: (.+)", d.help)
    assert literal, f"nothing in this help can be followed to the letter: {d.help}"
    start = text.rfind("\n", 0, d.span.start) + 1
    written = re.match(r" *(.*?)(?=  +(?:measured|published|typical|assumed)\b|\n)", text[start:])
    assert written is not None
    return (Edit(Span(d.span.file, start + written.start(1), start + written.end(1)), literal[1]),)


def reported(found: list[Diagnostic], edits: tuple[Edit, ...] = ()) -> list[tuple[str, str, str, int]]:
    """Give what is reported and where; with ``edits``, where that is after them."""
    return [(d.code, d.message, d.help, moved(d.span.start, edits)) for d in found]


@pytest.mark.parametrize("name", MARKED)
def test_ten_mistakes_give_ten_reports(name: str, tmp_path: Path, snapshot: SnapshotAssertion) -> None:
    text = (FILES / f"{name}.melt").read_text(encoding="utf-8")
    found, sources = look(tmp_path, text)
    marked = {d.code: text[d.span.start : d.span.end] for d in found}
    assert len(found) == len(marked) == 10
    assert {code: mark.strip() for code, mark in MARKED[name].items()} == marked
    assert f"{text}----\n{write(found, sources)}" == snapshot


@pytest.mark.parametrize("name", MARKED)
def test_each_advice_cures_its_own_mistake_and_no_other(name: str, tmp_path: Path) -> None:
    text = (FILES / f"{name}.melt").read_text(encoding="utf-8")
    found, _ = look(tmp_path, text)
    for d in found:
        edits = advised(d, text)
        after, _ = look(tmp_path, applied(text, edits))
        assert sorted(reported(after)) == sorted(reported([f for f in found if f is not d], edits)), d.code


@pytest.mark.parametrize("name", MARKED)
def test_all_advice_followed_gives_a_sound_file_that_compiles(name: str, tmp_path: Path) -> None:
    text = (FILES / f"{name}.melt").read_text(encoding="utf-8")
    found, _ = look(tmp_path, text)
    mended = applied(text, [edit for d in found for edit in advised(d, text)])
    assert look(tmp_path, mended)[0] == []
    compiled = compile_file(tmp_path / "mine.melt")
    assert compiled.diagnostics == ()
    assert len(compiled.solutions) == 1
