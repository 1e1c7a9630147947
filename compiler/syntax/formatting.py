"""The formatter: one layout for every file, with its comments, that says the same and stays as it is."""

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source, Span
from . import tree
from .grammar import lex
from .layout import STEP, Line, Row, align, lay_out, written
from .lines import Item, cut
from .reading import read
from .starts import ITEM_START
from .words import Gap, comments, gap, words

SAYS_NOTHING = "M104"
"""The fault of a file without statements, which can be laid out all the same."""


def format_text(source: Source) -> tuple[str, list[Diagnostic]]:
    """Give the text of a file in its layout, or as it is where it has faults.

    That the result says the same, has the same comments and would not be changed again is proved each time. Where it
    is not so, the text is left as it is, with a fault that says so.
    """
    file, faults = _read(source)
    if faults:
        return source.text, faults
    try:
        result = laid_out(source)
        sound = _proved(source, file, Source(source.name, source.path, result))
    except Exception:  # whatever a mistake of this program raises, the text is safe
        sound = False
    if not sound:
        return source.text, [diagnose("M122", Span(source.name, 0, 0), path=source.name)]
    return result, []


def _proved(source: Source, file: tree.File, result: Source) -> bool:
    """Tell whether a result says what the file says, has its comments, and is laid out like itself."""
    said, faults = _read(result)
    return not faults and said == file and _comments(result) == _comments(source) and laid_out(result) == result.text


def _read(source: Source) -> tuple[tree.File, list[Diagnostic]]:
    file, faults = read(source)
    return file, [f for f in faults if f.code != SAYS_NOTHING]


def _comments(source: Source) -> list[str]:
    """List the comments of a text without faults, in their order."""
    found, at = list[str](), 0
    for token in lex(source.text):
        if token.type != "NEWLINE":
            found += comments(gap(source.text[at : token.start_pos], start=at == 0))
            at = token.end_pos
    return found + comments(gap(source.text[at:], start=at == 0, end=True))


def laid_out(source: Source) -> str:
    """Lay out a text that has no faults."""
    return _File(source.text).write(source)


class _File:
    """Goes through a text, and collects its lines with the indent of what they belong to.

    ``fresh`` where a file or a block has just started.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.fresh = True
        self.lines: list[tuple[int, Line]] = []

    def write(self, source: Source) -> str:
        closers = iter([t.end_pos for t in lex(self.text) if t.type == "CLOSE"])
        after_block = False
        for block in cut(source)[0]:
            has_block = block.head.tokens[-1].type == "LBRACE"
            self._put(block.head, "statement", 0, after_block or has_block)
            if has_block:
                self.fresh = True
                start = ITEM_START[block.head.tokens[0]]
                align([self._put(item, start, STEP) for item in block.items])
                self._close(next(closers))
            after_block = has_block
        self._between(gap(self.text[self.at :], start=self.at == 0, end=True), 0)
        self._drop_blank()
        return "".join(written(line, indent) + "\n" for indent, line in self.lines)

    def _put(self, item: Item, start: str, indent: int, apart: bool = False) -> Row:
        """Put a head or an item, with what stands before it; ``apart`` asks for an empty line there."""
        found = words(item.tokens, start, self.text, self.at)
        self._between(found[0].gap, indent, apart)
        row = lay_out(found, start)
        self.lines += [(indent, line) for line in row.lines]
        self.fresh = False
        self.at = item.tokens[-1].end_pos
        return row

    def _close(self, end: int) -> None:
        """Put the brace that ends a block, and itself ends at ``end``."""
        self._between(gap(self.text[self.at : end - 1]), STEP)
        self._drop_blank()
        self.lines.append((0, Line(["}"])))
        self.fresh = False
        self.at = end

    def _between(self, found: Gap, indent: int, apart: bool = False) -> None:
        """Put what stands between two items: one empty line at a time, none where a file or block starts."""
        if found.trailing:
            self.lines[-1][1].comment = found.trailing
        if apart and "" not in found.lines:
            self._blank()
        for line in found.lines:
            if line:
                self.lines.append((indent, Line([line])))
                self.fresh = False
            else:
                self._blank()

    def _blank(self) -> None:
        if not self.fresh and self.lines[-1][1].cells[0]:
            self.lines.append((0, Line([""])))

    def _drop_blank(self) -> None:
        if self.lines and not self.lines[-1][1].cells[0]:
            self.lines.pop()
