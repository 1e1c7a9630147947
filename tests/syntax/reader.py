"""Short ways to read a text in tests."""

from pathlib import Path

from meltwright.syntax import tree
from meltwright.syntax.reading import read
from meltwright.text.diagnostic import Fix, write
from meltwright.text.source import Source


def source(text: str) -> Source:
    return Source("x.melt", Path("x.melt"), text)


def read_good(text: str) -> tuple[tree.Statement, ...]:
    """Read a text that must be free of faults."""
    file, faults = read(source(text))
    assert not faults, report(text)
    return file.statements


def codes(text: str) -> list[str]:
    return [f.code for f in read(source(text))[1]]


def report(text: str) -> str:
    """Give the rendered diagnostics of a text."""
    here = source(text)
    return write(read(here)[1], {here.name: here})


def applied(text: str, fix: Fix) -> str:
    """Give a text after the edits of a fix."""
    for edit in sorted(fix.edits, key=lambda e: -e.span.start):
        text = text[: edit.span.start] + edit.text + text[edit.span.end :]
    return text
