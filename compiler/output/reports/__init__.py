"""Reports of a check for the programs that show them: one small file a format.

A report says what was looked at and what was found, and nothing of when, where or for how long: the same check gives
the same bytes.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from ...meaning.loading import LIBRARY, library_folder
from ...text.diagnostic import Diagnostic
from ...text.fixing import Repair
from ...text.source import NOWHERE, Source, Span


@dataclass(frozen=True, slots=True)
class Part:
    """One file or folder that was looked at: how it is seen, the ``cases`` that were tried, and what was found.

    ``repairs`` are the fixes that were applied before.
    """

    name: str
    cases: tuple[str, ...]
    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, Source]
    repairs: "tuple[Repair, ...]" = ()

    @property
    def failed(self) -> bool:
        """Whether there is any error."""
        return any(d.is_error for d in self.diagnostics)


@dataclass(frozen=True, slots=True)
class Place:
    """A place as reports name it: a relative URI, and lines and columns from 1 (0 where the whole file is meant)."""

    uri: str
    in_library: bool
    line: int = 0
    column: int = 0
    end_line: int = 0
    end_column: int = 0


def place_of(span: Span, sources: Mapping[str, Source]) -> Place | None:
    """Find a place for a report; None where there is none."""
    if span == NOWHERE:
        return None
    source = sources.get(span.file)
    if source is None:
        return Place(_quoted(span.file.replace(os.sep, "/")), False)
    if span.start == span.end == 0:
        return Place(*_uri(source))
    return exact_place(span, sources)


def exact_place(span: Span, sources: Mapping[str, Source]) -> Place | None:
    """Find the place of an edit, which is never a whole file; None where its text is not at hand."""
    source = sources.get(span.file)
    if source is None:
        return None
    uri, in_library = _uri(source)
    line, column = source.line_column(span.start)
    end_line, end_column = source.line_column(max(span.end, span.start))
    return Place(uri, in_library, line, column, end_line, end_column)


def _uri(source: Source) -> tuple[str, bool]:
    """Give the URI of a file: below the library, or as seen from the working folder."""
    path = Path(os.path.abspath(source.path))
    library = library_folder().resolve()
    if source.name.startswith(LIBRARY) and path.resolve().is_relative_to(library):
        return _quoted(path.resolve().relative_to(library).as_posix()), True
    return _quoted(relative(path)), False


def _quoted(path: str) -> str:
    """Write a path as a URI has it; bytes of a name that are no text stay those bytes."""
    return quote(path, errors="surrogateescape")


def relative(path: Path) -> str:
    """Write a path as it is seen from the working folder; never a whole path, which would name this machine."""
    try:
        return Path(os.path.relpath(path)).as_posix()
    except ValueError:
        # On another drive there is no way from here.
        return path.name


def report_text(path: Path, parts: Sequence[Part]) -> str:
    """Write a report in the format that the ending of its name says."""
    return ENDINGS[path.suffix.lower()](parts).encode("utf-8", "replace").decode("utf-8")


def as_json(parts: Sequence[Part]) -> str:
    """Write a report as JSON of our own."""
    from .plain import plain

    return plain(parts)


def as_sarif(parts: Sequence[Part]) -> str:
    """Write a report as SARIF."""
    from .sarif import sarif

    return sarif(parts)


def as_junit(parts: Sequence[Part]) -> str:
    """Write a report as JUnit XML."""
    from .junit import junit

    return junit(parts)


Write = Callable[[Sequence[Part]], str]

FORMATS: Mapping[str, Write] = {"json": as_json, "sarif": as_sarif}
"""The formats that are asked for by name."""
ENDINGS: Mapping[str, Write] = {".xml": as_junit, ".sarif": as_sarif, ".json": as_json}
"""What the name of a report may end with."""
