"""Edits of an item that is at fault, each tried before it is offered: what the item would be is read again."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..text.diagnostic import Edit, Fix
from ..text.source import Source, Span
from .grammar import lex
from .parsing import parse
from .tokens import Token

_LONGEST = 4000
"""Characters of an item whose edits are tried; in a longer one a fault is told without a fix."""

_APART = frozenset(["=", ":", "..", "±"])
"""Signs that have spaces around them."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A stretch of a text that is one item, or should be, and the rule that it follows."""

    source: Source
    begin: int
    end: int
    start: str

    def fix(self, title: str, *edits: Edit, safe: bool = False) -> tuple[Fix, ...]:
        """Offer edits if they mend the item, or all of it up to a later fault; only the first can be safe."""
        found = self.outcome(edits)
        return () if found is None else (Fix(title, edits, safe and found),)

    def outcome(self, edits: Sequence[Edit]) -> bool | None:
        """Tell what edits lead to: True for a sound item, False for a later fault, None for one that stays."""
        if not self.begin <= edits[0].span.start or self.end - self.begin > _LONGEST:
            return None
        text, at, shifted, first = "", self.begin, 0, True
        for edit in edits:
            text += self.source.text[at : edit.span.start]
            if edit.text.startswith("\n"):
                # A line end that is put in makes two items of one.
                first, text = first and _sound(text, self.start, len(text)) is True, ""
            text += edit.text
            at, shifted = edit.span.end, len(text)
        text += self.source.text[at : self.end]
        return _sound(text, self.start, shifted) if first else None

    def edit(self, begin: int, end: int, text: str) -> Edit:
        """Replace a stretch of the file."""
        return Edit(Span(self.source.name, begin, end), text)

    def put(self, begin: int, end: int, text: str) -> Edit:
        """Replace a stretch; letters and signs that stand apart keep away from their neighbours."""
        whole = self.source.text
        if text[:1] == ",":
            begin -= len(whole[self.begin : begin]) - len(whole[self.begin : begin].rstrip(" \t"))
        if text[:1].isalpha() or text in _APART:
            text = f" {text}" if _wordy(whole[max(begin - 1, 0) : begin]) else text
            text = f"{text} " if _wordy(whole[end : end + 1]) else text
        return self.edit(begin, end, text)

    def replace(self, first: Token, last: Token, text: str) -> Edit:
        """Replace tokens; the new text keeps away from words that it would run into."""
        whole = self.source.text
        before, after = whole[max(first.start_pos - 1, 0) : first.start_pos], whole[last.end_pos :][:1]
        if _wordy(before) and (text[:1].isalnum() or text in _APART):
            text = " " + text
        if _wordy(after) and (text[-1:].isalnum() or text.strip() in _APART):
            text += " "
        return self.edit(first.start_pos, last.end_pos, text)

    def insert(self, after: Token, text: str) -> Edit:
        """Put a word after a token, with spaces around it where it is not a comma or a parenthesis."""
        at = after.end_pos
        if text in (",", ")"):
            return self.edit(at, at, text if self.source.text[at : at + 1] in ("", " ", "\n", ")") else text + " ")
        follows = self.source.text[at : at + 1]
        return self.edit(at, at, f" {text}" if follows in ("", " ", "\t", "\n", "\r") else f" {text} ")

    def put_before(self, token: Token, text: str) -> Edit:
        """Put text before a token."""
        return self.edit(token.start_pos, token.start_pos, text)

    def remove(self, first: Token, last: Token) -> Edit:
        """Take tokens away, with the space before them."""
        begin, end, text = first.start_pos, last.end_pos, self.source.text
        if text[end : end + 1].isspace() or end >= self.end:
            while begin > self.begin and text[begin - 1] in " \t":
                begin -= 1
        keep = begin > self.begin and _wordy(text[begin - 1]) and _wordy(text[end : end + 1])
        return self.edit(begin, end, " " if keep else "")


def spot_of(tokens: Sequence[Token], start: str, source: Source) -> Spot:
    """Give the place of an item."""
    return Spot(source, tokens[0].start_pos, tokens[-1].end_pos, start)


def _wordy(character: str) -> bool:
    return character.isalnum() or character in ("_", '"')


def _sound(text: str, start: str, shifted: int) -> bool | None:
    """Read an item that was edited up to ``shifted``, and tell what ``Spot.outcome`` tells."""
    tokens = [t for t in lex(text) if t.type != "NEWLINE"]
    if not tokens or any(t.type in ("STRAY", "UNCLOSED", "CLOSE") for t in tokens):
        return None
    found = parse(tokens, start)
    if not isinstance(found, int):
        return True
    # A fault right behind the edit is hardly another one.
    return False if any(t.start_pos >= shifted for t in tokens[:found]) and found < len(tokens) else None
