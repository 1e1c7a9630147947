"""Places as editors count them: lines from 0, and columns in code units of the encoding that was agreed on."""

import re
from bisect import bisect_right
from dataclasses import dataclass, field

UTF8, UTF16, UTF32 = "utf-8", "utf-16", "utf-32"

_LINE_END = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True, order=True)
class Position:
    """A place between two characters: ``line`` from 0, ``column`` in code units from 0."""

    line: int
    column: int


@dataclass(frozen=True, slots=True, order=True)
class Range:
    """A stretch of a text."""

    start: Position
    end: Position


@dataclass(frozen=True, slots=True)
class Lines:
    """A text by its lines; turns character offsets into places of an editor and back."""

    text: str
    encoding: str = UTF16
    starts: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "starts", (0, *(m.end() for m in _LINE_END.finditer(self.text))))

    def position(self, offset: int) -> Position:
        """Give the place of a character offset; one outside the text counts as its nearer end."""
        offset = min(max(offset, 0), len(self.text))
        line = bisect_right(self.starts, offset) - 1
        return Position(line, self._units(self.text[self.starts[line] : offset]))

    def range(self, start: int, end: int) -> Range:
        """Give the stretch between two offsets."""
        return Range(self.position(start), self.position(end))

    def offset(self, position: Position) -> int:
        """Give the character offset of a place; a column past the end of its line counts as that end."""
        if position.line < 0:
            return 0
        if position.line >= len(self.starts):
            return len(self.text)
        start = self.starts[position.line]
        after = self.starts[position.line + 1] if position.line + 1 < len(self.starts) else len(self.text)
        line = self.text[start:after].rstrip("\r\n")
        if line.isascii() or self.encoding == UTF32:
            return start + min(max(position.column, 0), len(line))
        units = 0
        for at, character in enumerate(line):
            if units >= position.column:
                return start + at
            units += self._units(character)
        return start + len(line)

    def _units(self, text: str) -> int:
        if self.encoding == UTF32 or text.isascii():
            return len(text)
        if self.encoding == UTF8:
            return len(text.encode("utf-8", "surrogatepass"))
        return len(text) + sum(ord(c) > 0xFFFF for c in text)
