"""A fault of syntax as it is looked at: the tokens, the one that cannot stand, and what could."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from ..text.diagnostic import Edit, Fix
from ..text.source import Source
from .grammar import parser
from .spots import Spot, spot_of
from .tokens import Token
from .wording import shown

END = "$END"
RELATIONS = frozenset(["<=", ">=", "<", ">"])
NUMBERS = frozenset(["NUMBER", "MEASURE"])
FORMULAS = frozenset(["law_item", "statement"])
"""Forms whose numbers stand in formulas, so that signs between them may be meant as such."""


class Slip(NamedTuple):
    """A slip that was recognised: the token that shows it, what to do, fixes, and other tokens with their roles."""

    at: int
    advice: str
    fixes: tuple[Fix, ...] = ()
    related: tuple[tuple[Token, str], ...] = ()


@dataclass(frozen=True)
class Case:
    """Tokens of an item: that at ``at``, or their end, cannot stand; the terminals ``accepted`` could."""

    tokens: Sequence[Token]
    at: int
    start: str
    source: Source
    accepted: frozenset[str]

    @cached_property
    def words(self) -> frozenset[str]:
        """What may stand, by its text, or by the name of its terminal where that stands for many."""
        patterns = {t.name: str(t.pattern.value) for t in parser().terminals if t.pattern.type == "str"}
        return frozenset("±" if t == "_PLUS_MINUS" else patterns.get(t, t) for t in self.accepted)

    @cached_property
    def spot(self) -> Spot:
        """Where the item stands, for trying edits."""
        return spot_of(self.tokens, self.start, self.source)

    @property
    def wrong(self) -> Token | None:
        """The token that cannot stand."""
        return self.tokens[self.at] if self.at < len(self.tokens) else None

    @property
    def previous(self) -> Token | None:
        """The token before it."""
        return self.tokens[self.at - 1] if self.at else None

    @property
    def following(self) -> Token | None:
        """The token after it."""
        return self.tokens[self.at + 1] if self.at + 1 < len(self.tokens) else None

    def touches(self, i: int) -> bool:
        """Tell whether there is a token at ``i`` that touches the one before it."""
        return 0 < i < len(self.tokens) and self.tokens[i - 1].end_pos == self.tokens[i].start_pos


Rule = Callable[[Case], Slip | None]


def changed(case: Case, edit: Edit) -> str:
    """Show the first words of an item after an edit."""
    text = (
        case.source.text[case.spot.begin : edit.span.start]
        + edit.text
        + case.source.text[edit.span.end : case.spot.end]
    )
    return shown(text.split("\n")[0].split("#")[0].split())
