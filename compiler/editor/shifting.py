"""Moving what was said of an earlier text to where it stands in the text of now."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from ..text.diagnostic import Diagnostic, Edit, Fix, Related
from ..text.source import NOWHERE, Source, Span


def moved(span: Span, before: str, now: str) -> Span | None:
    """Give the place of an earlier text in the text of now; None where the edit touched it."""
    if before == now:
        return span
    head = _alike(before, now)
    most = min(len(before), len(now)) - head
    tail = _alike(before[::-1][:most], now[::-1][:most])
    if span.end <= head:
        return span
    if span.start >= len(before) - tail:
        by = len(now) - len(before)
        return Span(span.file, span.start + by, span.end + by)
    return None


def _alike(one: str, other: str) -> int:
    """Count the characters with which both texts start, by halving what is left to compare."""
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        if one[low:middle] == other[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def shifted(d: Diagnostic, before: Mapping[str, Source], now: Mapping[str, Source]) -> Diagnostic | None:
    """Move a diagnostic; None where its place was edited. Other places and fixes that were edited are left out."""

    def place(span: Span) -> Span | None:
        if span == NOWHERE:
            return span
        old, new = before.get(span.file), now.get(span.file)
        return None if old is None or new is None else moved(span, old.text, new.text)

    if all(before.get(n) is s or n not in _files(d) for n, s in now.items()):
        return d
    span = place(d.span)
    if span is None:
        return None
    related = tuple(Related(at, r.role) for r in d.related if (at := place(r.span)) is not None)
    values = tuple(replace(v, span=at) for v in d.values if (at := place(v.span)) is not None)
    fixes = tuple(moved_fix for f in d.fixes if (moved_fix := _moved_fix(f, place)) is not None)
    return replace(d, span=span, related=related, fixes=fixes, values=values)


def _moved_fix(fix: Fix, place: Callable[[Span], Span | None]) -> Fix | None:
    """Move the edits of a fix; None where one of them has lost its place."""
    edits = [Edit(at, e.text) for e in fix.edits if (at := place(e.span)) is not None]
    return replace(fix, edits=tuple(edits)) if len(edits) == len(fix.edits) else None


def _files(d: Diagnostic) -> set[str]:
    spans = [
        d.span,
        *(r.span for r in d.related),
        *(v.span for v in d.values),
        *(e.span for f in d.fixes for e in f.edits),
    ]
    return {s.file for s in (d.span, *others)}
