"""The words of an item as they are to be written, and the comments and line ends between them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from .parsing import roles
from .starts import LAW_ITEMS, STATEMENTS
from .tokens import TWO_SIGNS, Token

_BLANK = " \t\f\r"
_MEASURE = re.compile(r"([0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?)[ \t]*(.*)")
_OPERANDS = frozenset(["NAME", "NUMBER", "MEASURE", "STRING", "RPAR"])

_OPENERS = STATEMENTS | LAW_ITEMS | {"let"}

FIRST = frozenset(["+", "-", "*", "/", "^", "<", ">", "<=", ">=", "±", ".."])
"""Operators: a line that goes on starts with one, never ends with one."""


@dataclass(slots=True)
class Gap:
    """What stands between two words: a comment that ends the line, whole lines, and whether there was a line end.

    A whole line is a comment, or empty. The first and last parts of lines that hold words are not among ``lines``.
    """

    trailing: str = ""
    lines: list[str] = field(default_factory=list)
    broken: bool = False

    @property
    def comments(self) -> bool:
        """Whether there is any comment in it."""
        return bool(self.trailing) or any(self.lines)

    def take(self, other: "Gap") -> None:
        """Take over all of a later gap."""
        lines = [*self.lines, *([other.trailing] if other.trailing and self.broken else []), *other.lines]
        self.trailing = self.trailing if self.broken else other.trailing
        self.lines = lines
        self.broken = self.broken or other.broken
        other.trailing, other.lines, other.broken = "", [], False


@dataclass(slots=True)
class Word:
    """A word: ``mark`` is its text where it is a keyword or a sign of the grammar, and empty for what authors name.

    ``sign`` tells a minus that stands before its operand from one between two.
    """

    text: str
    mark: str
    role: str
    gap: Gap
    sign: bool = False

    @property
    def first(self) -> bool:
        """Whether it is an operator between two operands."""
        return self.mark in FIRST and not self.sign


def gap(between: str, start: bool = False, end: bool = False) -> Gap:
    """Read what stands between two words, or before the first or after the last one of a text."""
    parts = [p.strip(_BLANK) for p in between.split("\n")]
    trailing = "" if start else parts.pop(0)
    lines = parts if end else parts[:-1]
    return Gap(trailing, lines, len(parts) > 0)


def comments(found: Gap) -> list[str]:
    """List the comments of a gap in their order."""
    return [c for c in (found.trailing, *found.lines) if c]


def words(tokens: Sequence[Token], start: str, text: str, at: int) -> list[Word]:
    """Give the words of a sound item of ``text``; ``at`` is where the word before it ends, 0 for none."""
    found = list[Word]()
    for token, parts in zip(tokens, roles(tokens, start), strict=True):
        between = gap(text[at : token.start_pos], start=at == 0)
        at = token.end_pos
        for i, role in enumerate(parts):
            written = TWO_SIGNS[i] if len(parts) == 2 else _written(token, role)
            mark = "" if role in _OPERANDS and role != "RPAR" else written
            sign = mark == "-" and not (found and found[-1].role in _OPERANDS)
            found.append(Word(written, mark, role, between if i == 0 else Gap(), sign))
    _move_breaks(found)
    return found


def _written(token: Token, role: str) -> str:
    if role == "MEASURE":
        measure = _MEASURE.fullmatch(token)
        assert measure is not None
        # The Greek letter and the sign for micro look alike; one of them is written.
        return f"{measure[1]} {measure[2]}".replace("μ", "µ")
    return "±" if role == "_PLUS_MINUS" else str(token)


def _move_breaks(found: Sequence[Word]) -> None:
    """Move line ends and comments after an operator before it, and line ends before a comma after it.

    A comma stays where the name after it would look like the start of something else.
    """
    for before, word in zip(reversed(found[:-1]), reversed(found[1:]), strict=True):
        if (before.first or before.sign) and before is not found[0]:
            before.gap.take(word.gap)
    for word, after in pairwise(found[1:]):
        if word.mark == "," and word.gap.broken and not word.gap.comments and after.text not in _OPENERS:
            after.gap.take(word.gap)
