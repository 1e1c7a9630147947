"""Telling a fault of an item: a slip that is recognised, else the message that is written for its place."""

from collections.abc import Sequence

from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.source import Source, Span
from . import mistakes, wording
from .cases import Case, Slip
from .lines import Item, span_of
from .parsing import accepted
from .slips import missing, slip
from .tokens import Token


def fault_of(item: Item, at: int, start: str, source: Source) -> Diagnostic:
    """Say what is wrong with the token at ``at`` of an item, or with its end where there is none."""
    tokens = item.tokens
    case = Case(tokens, at, start, source, frozenset(accepted(tokens[:at], start)))
    found = slip(case)
    if found is not None and found.at < len(tokens):
        return _unexpected(tokens, found, source)
    advised = mistakes.advice(tokens[:at], start)
    if at < len(tokens):
        return _unexpected(tokens, Slip(at, advised, missing(case)), source)
    last = span_of(tokens[-1], source.name)
    if "LBRACE" in case.accepted:
        whole = span_of(tokens[0], source.name).to(last)
        help = wording.LATE_BRACE if item.late else None
        return diagnose("M118", whole, help=help, fixes=item.opening, what=wording.head_words(tokens))
    after = wording.token_words(tokens[-1])
    place = Span(last.file, last.end, last.end + 1)
    return diagnose("M111", place, fixes=missing(case), after=after, advice=advised)


def _unexpected(tokens: Sequence[Token], slip: Slip, source: Source) -> Diagnostic:
    at = slip.at
    place = f"after {wording.token_words(tokens[at - 1])}" if at else "at the start of a line"
    return diagnose(
        "M110",
        span_of(tokens[at], source.name),
        related=[Related(span_of(t, source.name), role) for t, role in slip.related],
        fixes=slip.fixes,
        found=wording.token_words(tokens[at]),
        place=place,
        advice=slip.advice,
    )
