"""A text with values beneath its parts: what a name stands for under the name, of a longer part under a bracket.

::

    retraction.length >= min(reach - 0.099 mm, retraction_need)
    4 mm                     12 mm             10.8 mm
                             '- 11.9 mm ----'
                         '- 10.8 mm -----------------------'

A value that has no room beside its neighbours goes to a lower row, at the end of a stem. The bracket of a part stands
below all that lies in it. A long line is wrapped; a part that goes on from a line above has a bracket open to the left.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from .cells import cells, plain

WIDTH = 110
"""Cells of a line before it is wrapped."""

GAP = 2
"""Cells that are free between two values of a row."""

_AGAIN = "... "
"""What a line that goes on begins with, and a bracket that began above."""

Part = tuple[int, int, str]
"""A part of a text, from where to where in characters, and its value."""

_NAME = re.compile(r"[^\W\d][\w.]*")


@dataclass(frozen=True, slots=True)
class _Line:
    """One line to be shown: characters from ``start`` to ``end``, after an indent of so many cells."""

    start: int
    end: int
    indent: str = ""


@dataclass(frozen=True, slots=True)
class _Mark:
    """A value to be placed beneath the cells from ``left`` to ``right`` of a line."""

    left: int
    right: int
    text: str
    named: bool
    opened: bool = False

    @property
    def drawn(self) -> str:
        """The value as it stands in its row."""
        if self.named:
            return self.text
        first, width = (_AGAIN, self.right - self.left - len(_AGAIN)) if self.opened else ("'", self.right - self.left)
        inner, long = width - (1 if self.opened else 2), cells(self.text)
        if inner < long + 2:
            return f"{first}{'-' * inner}{chr(39) if width > 1 else ''} {self.text}"
        if self.opened:
            return f"{first}{self.text} {'-' * (inner - long - 1)}'"
        dash = "-" if inner > long + 3 else ""
        return f"'{dash} {self.text} {'-' * (inner - long - 2 - len(dash))}'"

    def within(self, other: "_Mark") -> bool:
        """Tell whether this part lies in another one."""
        return other.left <= self.left and self.right <= other.right


@dataclass(slots=True)
class _Rows:
    """Rows of marks beneath one line: what stands where, and up to which cell each row is taken."""

    rows: list[list[tuple[int, int, str]]] = field(default_factory=list)

    def free(self, row: int, left: int, right: int, gap: int = GAP) -> bool:
        """Tell whether cells of a row, and a gap on both sides, are free."""
        taken = self.rows[row] if row < len(self.rows) else ()
        return all(right + gap <= first or last + gap <= left for first, last, _ in taken)

    def put(self, row: int, left: int, text: str) -> None:
        """Write into a row."""
        while len(self.rows) <= row:
            self.rows.append([])
        self.rows[row].append((left, left + cells(text), text))

    def lines(self) -> Iterable[str]:
        """Write out the rows."""
        for row in self.rows:
            line, at = "", 0
            for left, right, text in sorted(row):
                line += " " * (left - at) + text
                at = right
            yield line


def beneath(text: str, parts: Sequence[Part], width: int = WIDTH) -> list[str]:
    """Write a text line by line, beneath each line the values of its parts. Parts lie in each other or apart.

    A part that goes over several lines has its value beneath the last of them.
    """
    written = []
    for line in _wrapped(text, parts, width):
        written.append(line.indent + plain(text[line.start : line.end].rstrip()))
        written += _rows([m for part in dict.fromkeys(parts) if (m := _mark(text, line, part))]).lines()
    return written


def _mark(text: str, line: _Line, part: Part) -> _Mark | None:
    """Find the cells of a part that ends in a line."""
    start, end, value = part
    if not line.start < end <= line.end:
        return None
    named = _NAME.fullmatch(text[start:end]) is not None
    own = text[line.start : line.end]
    first = max(start, line.start + len(own) - len(own.lstrip()))
    left, right = (len(line.indent) + cells(plain(text[line.start : at])) for at in (first, end))
    return _Mark(left, right, value, named, start < line.start)


def _rows(marks: Sequence[_Mark]) -> _Rows:
    """Place marks in rows: names from right to left, so that a stem meets nothing, then brackets from within."""
    rows, placed = _Rows(), list[tuple[_Mark, int]]()
    for mark in sorted((m for m in marks if m.named), key=lambda m: -m.left):
        row = 0
        while not rows.free(row, mark.left, mark.left + cells(mark.drawn)):
            row += 1
        for above in range(row):
            rows.put(above, mark.left, "|")
        rows.put(row, mark.left, mark.drawn)
        placed.append((mark, row))
    for mark in sorted((m for m in marks if not m.named), key=lambda m: (m.right - m.left, -m.left)):
        row = max((below + 1 for other, below in placed if other.within(mark)), default=0)
        while not rows.free(row, mark.left, mark.left + cells(mark.drawn)):
            row += 1
        rows.put(row, mark.left, mark.drawn)
        placed.append((mark, row))
    return rows


def _wrapped(text: str, parts: Sequence[Part], width: int) -> Iterable[_Line]:
    """Cut a text into its lines, and long ones where a word or a part begins."""
    at = 0
    for own in text.split("\n"):
        end, indent = at + len(own), ""
        while cells(plain(text[at:end].rstrip())) > width - len(indent):
            cut = _cut(text, at, end, parts, width - len(indent))
            if cut == end:
                break
            yield _Line(at, cut, indent)
            at, indent = cut, _AGAIN
        yield _Line(at, end, indent)
        at = end + 1


def _cut(text: str, start: int, end: int, parts: Sequence[Part], width: int) -> int:
    """Find where a line is best cut: the last beginning of a word that has room, else of a part, else the next one."""
    names = [(a, b) for a, b, _ in parts if _NAME.fullmatch(text[a:b])]
    words = [found.end() for found in re.compile(r"\s(?=\S)").finditer(text, start, end)]
    begins = [a for a, _, _ in parts]
    outside = [
        sorted({at for at in places if start < at < end and not any(a < at < b for a, b in names)})
        for places in (words, begins)
    ]
    # An indent is no word: nothing is won by a cut after it.
    indented = start + len(text[start:end]) - len(text[start:end].lstrip())
    for places in outside:
        fitting = [at for at in places if at > indented and cells(plain(text[start:at].rstrip())) <= width]
        if fitting:
            return fitting[-1]
    return min((at for places in outside for at in places if at > indented), default=end)
