"""A text with values beneath its parts: what a name stands for under the name, of a longer part under a bracket.

::

    parcel_length <= min(shelf_depth - 12 mm, van_width)
    340 mm               320 mm               1.2 m
                         '- 308 mm ---------'
                     '- 308 mm ---------------------------'

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
_SPACE = re.compile(r"\s(?=\S)")


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
        room = self.right - self.left - cells(self.text) - 2
        if self.opened:
            room -= len(_AGAIN)
            return f"{_AGAIN}{self.text}" + (f" {'-' * room}'" if room >= 0 else "")
        if room >= 2:
            dash = "-" if room > 3 else ""
            return f"'{dash} {self.text} {'-' * (room - 2 - len(dash))}'"
        return f"{self._bracket} {self.text}"

    @property
    def _bracket(self) -> str:
        width = self.right - self.left
        return "'" if width < 2 else f"'{'-' * (width - 2)}'"

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
    """Find where a line is best cut: where a word begins, in few parts and far to the right; else where a part does."""
    names = [(a, b) for a, b, _ in parts if _NAME.fullmatch(text[a:b])]
    words = [found.end() for found in _SPACE.finditer(text, start, end)]
    # An indent is no word: nothing is won by a cut after it.
    least = start + len(text[start:end]) - len(text[start:end].lstrip())
    open_ = [at for at in [*words, *(a for a, _, _ in parts)] if least < at < end]
    open_ = [at for at in open_ if not any(a < at < b for a, b in names)]
    fitting = [at for at in open_ if cells(plain(text[start:at].rstrip())) <= width]
    if not fitting:
        return min(open_, default=end)
    far = [at for at in fitting if 2 * cells(plain(text[start:at])) >= width] or fitting
    return min(far, key=lambda at: (at not in words, sum(a < at < b for a, b, _ in parts), -at))
