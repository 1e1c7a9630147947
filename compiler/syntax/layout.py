"""The one layout of heads and items: where lines break, what stands in columns, and the spaces between words.

A block of values is set in columns: name, value, evidence. A text that explains stands below what it explains. Inside
formulas and lists, and before ``else``, ``where`` and ``by``, the author's line ends stay; a line that goes on starts
with its operator and stands deeper.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from .tree import EVIDENCE
from .words import Word

STEP = 2
_GAP = "  "
_KEYWORD_WIDTH = 7
"""Keywords of a law are set in a column of this width; longer ones stand out."""
_HANG = -1
"""The indent of a line that goes on below the value of a row."""

_VALUES = frozenset(["entity_item", "profile_item", "grade_item"])
_DOC_BELOW = frozenset(["quantity", "setting", "merit", "let"])
_LISTS = frozenset(["machine", "machines", "prefer", "quantity", "setting"])
_MAY_START_A_LINE = frozenset(["and", "by", "else", "for", "from", "in", "to", "where", ")"])
_MAY_END_A_LINE = frozenset(["(", ",", "="])


@dataclass(slots=True)
class Line:
    """A line: its cells and what parts them, its indent from that of its item, the comment at its end.

    A whole-line comment is a line with one cell.
    """

    cells: list[str]
    indent: int = 0
    comment: str = ""
    parted: str = _GAP


@dataclass(slots=True)
class Row:
    """A head or an item as lines; ``aligned`` where its first line is set in the columns of its block."""

    lines: list[Line] = field(default_factory=list)
    aligned: bool = False


def lay_out(words: Sequence[Word], start: str) -> Row:
    """Lay out a head or an item by the rule ``start``; the comments before its first word are not its own."""
    kind = words[0].mark
    row = Row(aligned=start in _VALUES and kind != "pin")
    _Layout(words, kind, start == "law_item" and kind != "let", row).run()
    if kind == "require":
        _align(row.lines[1:])
    return row


def align(rows: Iterable[Row]) -> None:
    """Set the rows of a block in columns, and place what hangs below a value."""
    aligned = [r for r in rows if r.aligned]
    width = _align([r.lines[0] for r in aligned])
    for line in (line for r in aligned for line in r.lines if line.indent == _HANG):
        line.indent = width + len(_GAP)


def _align(lines: Sequence[Line]) -> int:
    """Pad cells to columns; a cell without one after it sets no width. Gives the width of the first column."""
    widths: dict[int, int] = {}
    for line in lines:
        for i, cell in enumerate(line.cells[:-1]):
            widths[i] = max(widths.get(i, 0), len(cell))
    for line in lines:
        line.cells[:-1] = [c.ljust(widths[i]) for i, c in enumerate(line.cells[:-1])]
    return widths.get(0, 0)


def written(line: Line, indent: int) -> str:
    """Write a line of an item that has this indent."""
    text = " " * (indent + line.indent) + line.parted.join(line.cells)
    return f"{text}{_GAP}{line.comment}" if line.comment else text


@dataclass(slots=True)
class _Parenthesis:
    """An open parenthesis: where the first operand of its line stands, whether a part of it starts a line inside."""

    base: int
    split: bool = False


class _Layout:
    """Goes through the words of one item, and fills its row; ``base`` is where the first operand of the line stands."""

    def __init__(self, words: Sequence[Word], kind: str, padded: bool, row: Row) -> None:
        self.words = words
        self.kind = kind
        self.padded = padded
        self.row = row
        self.opened: list[_Parenthesis] = []
        self.base = STEP
        self.line = Line([words[0].text])
        row.lines.append(self.line)

    def run(self) -> None:
        for at in range(1, len(self.words)):
            before, word = self.words[at - 1], self.words[at]
            below = self._below(word)
            if below or word.gap.comments or (word.gap.broken and self._free(before, word)):
                self._break(word, below)
            elif self._new_cell(at, word, before):
                self.line.cells.append(word.text)
            elif at == 1 and self.padded:
                self.line.cells[0] = f"{before.text:{_KEYWORD_WIDTH}} {word.text}"
            else:
                self.line.cells[-1] += self._space(before, word) + word.text
            if word.mark == "(":
                self.opened.append(_Parenthesis(self.base))
            elif word.mark == ")":
                self.opened.pop()

    def _below(self, word: Word) -> bool:
        """Tell whether a word always starts a line of its own below the item."""
        if self.kind == "require":
            return word.mark in ("else", "remedy")
        return word.role == "STRING" and self.kind in _DOC_BELOW

    def _free(self, before: Word, word: Word) -> bool:
        """Tell whether the author may end a line between two words."""
        if self.row.aligned or self.kind in _LISTS:
            return before.mark == ","
        return word.first or word.mark in _MAY_START_A_LINE or before.mark in _MAY_END_A_LINE

    def _new_cell(self, at: int, word: Word, before: Word) -> bool:
        doc = word.role == "STRING" and before.mark not in EVIDENCE
        if self.row.aligned:
            return len(self.row.lines) == 1 and (at == 1 or doc or word.mark in EVIDENCE)
        # The texts of the remedies of one requirement stand below one another.
        return self.kind == "require" and doc and before.mark != "else"

    def _space(self, before: Word, word: Word) -> str:
        called = word.mark == "(" and before.role in ("NAME", "INTEGRAL")
        if called or before.sign or before.mark in ("(", "^") or word.mark in (")", ",", "^"):
            return ""
        if (self.kind, word.mark) in (("valid", "else"), ("pin", "because")):
            return _GAP
        return "   " if self.kind == "require" and before.mark == "else" else " "

    def _break(self, word: Word, below: bool) -> None:
        """End the line, write the comments after it, and start the next one."""
        if below or not self.opened:
            hangs = self.row.aligned and self.kind in _LISTS and not word.gap.comments
            indent = _HANG if hangs else STEP
        else:
            indent = self._inside(self.opened[-1], word)
        self.line.comment = word.gap.trailing
        self.line = Line([word.text], indent, parted=" " if word.mark == "remedy" else _GAP)
        self.row.lines += [*(Line([c], indent) for c in word.gap.lines if c), self.line]
        self.base = indent + (len(word.text) + (word.mark != "^") if word.first else 0)

    def _inside(self, parenthesis: _Parenthesis, word: Word) -> int:
        """Give the indent of a line inside a parenthesis: what goes on with a part stands deeper than its start."""
        if word.mark == ")":
            return parenthesis.base
        if word.first:
            return parenthesis.base + (2 * STEP if parenthesis.split else STEP)
        parenthesis.split = True
        return parenthesis.base + STEP
