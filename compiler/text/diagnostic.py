"""Diagnostics: one plain value for every fault, and one writer for terminals."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from .catalogue import CATALOGUE
from .cells import cells, plain, wrapped
from .source import NOWHERE, Source, Span

_WIDTH = 120
"""Characters shown of a very long line."""
_BESIDE = 14
"""Columns beside the part of a line that is shown: its edge, and what stands for the parts that are not."""
_GLUE = "\ue000"
"""Stands for a space at which no line may end, while one is broken."""


@dataclass(frozen=True, slots=True)
class Related:
    """Another place that contributed to a fault, and its role."""

    span: Span
    role: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What a part of a text stands for where a condition fails: a value with its unit, or a range."""

    span: Span
    text: str


@dataclass(frozen=True, slots=True)
class Edit:
    """Text to put in the place of a stretch of a file; an empty stretch is where it is put in."""

    span: Span
    text: str


@dataclass(frozen=True, slots=True)
class Fix:
    """Edits that mend a fault; ``title`` says what they do, like ``write mm for MM``.

    A ``safe`` one leaves no doubt about what was meant, so that it may be applied without asking.
    """

    title: str
    edits: tuple[Edit, ...]
    safe: bool = False


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """A fault or a warning: stable code, place, one sentence, help that says what to write, and fixes, best first.

    ``values`` are shown beneath the parts of the places that they lie in.
    """

    code: str
    span: Span
    message: str
    help: str = ""
    related: tuple[Related, ...] = ()
    fixes: tuple[Fix, ...] = ()
    values: tuple[Shown, ...] = ()

    @property
    def slug(self) -> str:
        """The short name of the code."""
        return CATALOGUE[self.code].slug

    @property
    def severity(self) -> str:
        """``error`` or ``warning``."""
        return CATALOGUE[self.code].severity

    @property
    def is_error(self) -> bool:
        """Whether nothing may be written while this stands."""
        return self.severity == "error"

    def placed(self, place: Callable[[Span], Span]) -> "Diagnostic":
        """Give it with its places as ``place`` names them; without fixes, whose edits are for the text itself."""
        return replace(
            self,
            span=place(self.span),
            related=tuple(Related(place(r.span), r.role) for r in self.related),
            values=tuple(Shown(place(v.span), v.text) for v in self.values),
            fixes=(),
        )


def diagnose(
    code: str,
    span: Span,
    *,
    related: Iterable[Related] = (),
    help: str | None = None,
    fixes: Iterable[Fix] = (),
    values: Iterable[Shown] = (),
    **facts: object,
) -> Diagnostic:
    """Make a diagnostic of ``code`` from its catalogue texts, filled with ``facts``.

    ``help`` replaces the catalogue's help where the place knows better what to write.
    """
    entry = CATALOGUE[code]
    advice = entry.help.format_map(facts) if help is None else help
    return Diagnostic(code, span, entry.message.format_map(facts), advice, tuple(related), tuple(fixes), tuple(values))


def order(diagnostics: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """Sort by file and place and drop repeats, so that a report never depends on the order of checks."""
    unique = dict.fromkeys(diagnostics)
    return tuple(sorted(unique, key=lambda d: (d.span.file, d.span.start, d.span.end, d.code, d.message)))


def write(diagnostics: Iterable[Diagnostic], sources: Mapping[str, Source], width: int = 0) -> str:
    """Render diagnostics as text for a terminal, each with the line it points to.

    Where a ``width`` is given, sentences are broken between words so that they fit, and less is shown of long lines.
    """
    return "\n".join(_write_one(d, sources, width) for d in diagnostics)


def _write_one(d: Diagnostic, sources: Mapping[str, Source], width: int) -> str:
    lines = [f"{d.severity}[{d.code} {d.slug}]: {d.message}"]
    lines += _excerpt(d.span, sources, "", d.values, width)
    for related in d.related:
        lines += _excerpt(related.span, sources, related.role, d.values, width)
    for i, part in enumerate(d.help.split("\n") if d.help else ()):
        lines.append(f"  help: {part}" if i == 0 else f"        {part}")
    parts = [plain(part) for line in lines for part in line.split("\n")]
    if width:
        parts = [fitting for part in parts for fitting in _fitted(part, width)]
    return "".join(part + "\n" for part in parts)


def _fitted(line: str, width: int) -> list[str]:
    """Break a sentence between words; a role that does not fit beside its place goes below it."""
    if line.startswith("    |") or cells(line) <= width:
        return [line]
    place, apart, role = line.partition("  (") if line.startswith("  --> ") else ("", "", line)
    indent = "        " if line.startswith(("  --> ", "        ")) else "          " if line.startswith("  ") else "  "
    if apart:
        role = f"{indent}({role}"
    # A number and its unit stay together.
    glued = re.sub(r"(?<=[0-9]) (?=[%a-zA-Z])", _GLUE, role)
    lines = [line.replace(_GLUE, " ") for line in wrapped(glued, width, more=indent)]
    return [place, *lines] if apart else lines


def _excerpt(span: Span, sources: Mapping[str, Source], role: str, values: Iterable[Shown], width: int) -> list[str]:
    if span == NOWHERE:
        return []
    source = sources.get(span.file)
    if source is None:
        return [f"  --> {span.file}" + (f"  ({role})" if role else "")]
    line, column = source.line_column(span.start)
    head = f"  --> {span.file}:{line}:{column}" + (f"  ({role})" if role else "")
    text = source.line_text(line)
    if not text.strip():
        return [head]
    inside = [v for v in values if v.span.file == span.file and span.start <= v.span.start and v.span.end <= span.end]
    if inside:
        return [head, *(f"    | {part}" for part in _with_values(source, span, inside))]
    most = min(_WIDTH, width - _BESIDE) if width else _WIDTH
    before, marked, after = _window(text, column - 1, span.end - span.start, most)
    marks = "^" * max(1, cells(marked))
    return [head, f"    | {before}{marked}{after}", f"    | {' ' * cells(before)}{marks}"]


def _with_values(source: Source, span: Span, values: Iterable[Shown]) -> list[str]:
    """Show the lines of a place up to its last value, with the values beneath."""
    from .beneath import beneath

    first, _ = source.line_column(span.start)
    last, _ = source.line_column(max(v.span.end for v in values))
    start, stop = source.line_starts[first - 1], source.line_starts[last - 1] + len(source.line_text(last))
    text = source.text[start:stop]
    return beneath(text, [(v.span.start - start, v.span.end - start, v.text) for v in values])


def _window(text: str, at: int, length: int, most: int) -> tuple[str, str, str]:
    """Split a line into what stands before, at and after a place, without the far parts of a long line."""
    start = 0 if len(text) <= most else max(0, min(at - most // 2, len(text) - most))
    stop = start + most
    before = ("... " if start else "") + text[start:at]
    after = text[min(at + length, stop) : stop] + (" ..." if stop < len(text) else "")
    return before, text[at : min(at + length, stop)], after
