"""Diagnostics as an editor shows them: places of files instead of spans of display names."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..text.diagnostic import Diagnostic
from ..text.source import Source, Span
from .positions import Position, Range

_START = Position(0, 0)

Place = tuple[Path, Range]
"""A stretch of a file."""
Placed = Callable[[Source, int, int], Range]
"""Gives the stretch between two offsets of a text, as the editor counts."""


@dataclass(frozen=True, slots=True)
class TextEdit:
    """A stretch of a file and what to put in its place."""

    path: Path
    range: Range
    text: str


@dataclass(frozen=True, slots=True)
class Cure:
    """Edits that mend a fault, best first among those of a report; ``safe`` where they leave no doubt."""

    title: str
    safe: bool
    edits: tuple[TextEdit, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A diagnostic at its place in a file."""

    path: Path
    range: Range
    code: str
    slug: str
    is_error: bool
    message: str
    help: str
    related: tuple[tuple[Place, str], ...]
    cures: tuple[Cure, ...]


def report(d: Diagnostic, sources: Mapping[str, Source], main: Path, placed: Placed) -> Report:
    """Place a diagnostic; one of no file, or of a file that cannot be read, stands at the head of ``main``."""

    def place(span: Span) -> Place | None:
        source = sources.get(span.file)
        return None if source is None else (source.path, placed(source, span.start, span.end))

    path, where = place(d.span) or (main, Range(_START, _START))
    related = tuple(
        (at, _with_values(r.role, r.span, d, sources)) for r in d.related if (at := place(r.span)) is not None
    )
    cures = []
    for fix in d.fixes:
        edits = [(place(e.span), e.text) for e in fix.edits]
        if all(at is not None for at, _ in edits):
            cures.append(Cure(fix.title, fix.safe, tuple(TextEdit(*at, text) for at, text in edits if at is not None)))
    return Report(
        path,
        where,
        d.code,
        d.slug,
        d.is_error,
        _with_values(d.message, d.span, d, sources),
        d.help,
        related,
        tuple(cures),
    )


def _with_values(said: str, span: Span, d: Diagnostic, sources: Mapping[str, Source]) -> str:
    """Add to what is said of a place what the parts of its text stand for."""
    lines = dict.fromkeys([said])
    for shown in d.values:
        source = sources.get(shown.span.file)
        if source is not None and shown.span.file == span.file and span.start <= shown.span.start < span.end:
            lines[f"{source.text[shown.span.start : shown.span.end]}: {shown.text}"] = None
    return "\n".join(lines)
