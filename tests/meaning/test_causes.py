"""At most one report a cause: a sound text is spoilt in one place at a time, in every place.

What is spoilt: a word loses a letter, has two swapped, is written large, is another, is missing, or is there twice; a
line is missing, is there twice, or runs on into the next.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import Over
from meltwright.output.mending import may_write
from meltwright.syntax.reading import read
from meltwright.text.diagnostic import Diagnostic
from meltwright.text.fixing import mend
from meltwright.text.source import Source

from tests.meaning.test_faults import ALL, TRADE

TEXT = ALL.replace(
    "mm\n}\nprofile", "mm\n  liner none\n}\nmachine bench from tube {\n  gap 2 .. 3 mm\n}\nprofile"
).replace(
    "  machines tube\n  layer.height 0.2 mm\n",
    "  machines tube, bench\n  layer.height 0.2 mm\n  strength at most firm\n  prefer throughput giving 5 %\n"
    '  pin heat.nozzle = 220 degC because "x"\n',
)
SYNTAX = ("M11", "M12")


def spoilt() -> Iterator[tuple[str, str]]:
    """Spoil the text in one place at a time; gives what was done, and the text."""
    for m in re.finditer(r'[A-Za-z_][\w.]*|"|[{}±,=]|\.\.|\d+(?:\.\d+)?', TEXT):
        word = m[0]
        others = ["", f"{word} {word}"]
        if len(word) > 3:
            others += [word[:2] + word[3:], word[0] + word[2] + word[1] + word[3:], word.upper(), "xyzzy"]
        for other in dict.fromkeys(others):
            yield f"{other!r} for {word!r} at {m.start()}", TEXT[: m.start()] + other + TEXT[m.end() :]
    lines = TEXT.split("\n")[:-1]
    for i, line in enumerate(lines):
        yield f"without {line!r}", "\n".join([*lines[:i], *lines[i + 1 :], ""])
        yield f"{line!r} twice", "\n".join([*lines[: i + 1], *lines[i:], ""])
        if i + 1 < len(lines):
            yield f"{line!r} runs on", "\n".join([*lines[:i], line + lines[i + 1], *lines[i + 2 :], ""])


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "trade.melt").write_text(TRADE, encoding="utf-8")
    return tmp_path / "main.melt"


def look(path: Path, text: str) -> tuple[Diagnostic, ...]:
    path.write_text(text, encoding="utf-8")
    return check_file(path)[1]


def test_the_text_is_sound(path: Path) -> None:
    assert look(path, TEXT) == ()


def test_one_slip_is_one_report(path: Path) -> None:
    many = {}
    for name, text in spoilt():
        found = look(path, text)
        # How many reports a fault of writing makes is a matter of ``tests/syntax``; nothing else may follow from it.
        writing = [d for d in found if d.code.startswith(SYNTAX)]
        if len(found) - len(writing) > (0 if writing else 1):
            many[name] = [f"{d.code} {d.message}" for d in found]
    assert many == {}


def test_what_is_mended_says_what_the_text_said(path: Path) -> None:
    """Whatever is mended without asking gives the sound text back; where a definition was renamed, its use follows."""
    meant = read(Source("main.melt", path, TEXT))[0]
    mended, left = 0, []
    for name, text in spoilt():
        path.write_text(text, encoding="utf-8")
        result = mend(lambda texts: check_file(path, disk=Over(texts))[1:], may_write)
        if not result.done:
            continue
        after = result.texts["main.melt"]
        mended += 1
        if read(after)[0] != meant:
            left.append(name)
            assert [d.code for d, _ in result.done] == ["M212"], name
            assert look(path, after.text) == ()
    assert mended > 30
    assert len(left) <= 6


@pytest.mark.parametrize(
    "taking",
    [
        "merit flow = gap",
        "merit gap = 3 mm",
        "setting flow : length in 0 .. 3 mm step 1 mm",
        "grade flow by gap {\n  a up to 3 mm\n  b above\n}",
        "quantity gap of machine : length",
    ],
)
def test_a_name_of_the_library_taken_again_is_told_once_and_where_the_author_did_it(
    tmp_path: Path, taking: str
) -> None:
    file = tmp_path / "own.melt"
    file.write_text(f'use library "machines/tube_fed"\n\n{taking}\n', encoding="utf-8")
    _, faults, sources = check_file(file)
    (fault,) = faults
    assert fault.code in ("M210", "M231")
    assert sources["own.melt"].line_column(fault.span.start)[0] == 3
    assert [r.span.file.split("/")[0] for r in fault.related] == ["library"]
