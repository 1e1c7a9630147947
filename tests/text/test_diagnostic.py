"""Reports on a terminal: sentences are broken so that they fit, and nothing else changes."""

from pathlib import Path

import pytest
from meltwright.text.diagnostic import Diagnostic, Related, diagnose, write
from meltwright.text.source import Source, Span

TEXT = 'machine shelf {\n  gap  4 mm  measured "' + "calliper " * 20 + '"\n}\n'
SOURCES = {"shelf.melt": Source("shelf.melt", Path("shelf.melt"), TEXT)}


def fault() -> Diagnostic:
    role = "line 1: the push squeezes the filament by more than a tenth, and misses what is asked for by 24.5 %"
    help = "write a value like 6 ± 0.5 mm, and how it is known, as a text in quotes, so that all can see it: measured"
    place = Span("shelf.melt", 18, 21)
    return diagnose("M110", place, related=[Related(place, role)], found="'gap'", place="x" * 70, advice=help)


@pytest.mark.parametrize("width", range(60, 111, 5))
def test_sentences_fit(width: int) -> None:
    """No line is longer, and what is said is what the report in one piece says."""
    wide, narrow = write([fault()], SOURCES), write([fault()], SOURCES, width)
    lines = [line for line in narrow.splitlines() if "xxx" not in line]
    assert max(map(len, lines)) <= width < max(map(len, wide.splitlines()))
    told = [[w for x in text.splitlines() if not x.startswith("    |") for w in x.split()] for text in (narrow, wide)]
    assert told[0] == told[1]
    assert "24.5 %" in narrow and "0.5 mm" in narrow
    assert narrow.count("    |   gap  4 mm") == wide.count("    |   gap  4 mm") == 2


def test_what_fits_stays() -> None:
    assert write([fault()], SOURCES, 500) == write([fault()], SOURCES)
