"""Source files and places in them."""

import bisect
import re
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one file: ``file`` is its display name, ``start`` and ``end`` are character offsets."""

    file: str
    start: int
    end: int

    def to(self, other: "Span") -> "Span":
        """Give the stretch from the start of this one to the end of ``other``."""
        return Span(self.file, self.start, other.end)


NOWHERE = Span("", 0, 0)

_LINE_END = re.compile("\n")


@dataclass(frozen=True, slots=True)
class Source:
    """One file's text. ``name`` is how people see it: relative to the compiled file, or ``library/...``."""

    name: str
    path: Path
    text: str
    line_starts: tuple[int, ...] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        starts = [0]
        starts.extend(found.end() for found in _LINE_END.finditer(self.text))
        object.__setattr__(self, "line_starts", tuple(starts))

    def line_column(self, offset: int) -> tuple[int, int]:
        """Give the line and column of a character offset, both from 1."""
        line = bisect.bisect_right(self.line_starts, offset)
        return line, offset - self.line_starts[line - 1] + 1

    def line_text(self, line: int) -> str:
        """Give the text of a line, from 1, without its end."""
        start = self.line_starts[line - 1]
        end = self.line_starts[line] if line < len(self.line_starts) else len(self.text)
        return self.text[start:end].rstrip("\r\n")
