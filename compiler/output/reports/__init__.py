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
from ...text.source import NOWHERE, Source, Span


@dataclass(frozen=True, slots=True)
class Part:
    """One file or folder that was looked at: how it is seen, the ``cases`` that were tried, and what was found."""

    name: str
    cases: tuple[str, ...]
    diagnostics: tuple[Diagnostic, ...]
    sources: Mapping[str, Source]

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
        return Place(quote(span.file.replace(os.sep, "/")), False)
    uri, in_library = _uri(source)
    if span.start == span.end == 0:
        return Place(uri, in_library)
    line, column = source.line_column(span.start)
    end_line, end_column = source.line_column(max(span.end, span.start))
    return Place(uri, in_library, line, column, end_line, end_column)


def _uri(source: Source) -> tuple[str, bool]:
    """Give the URI of a file: below the library, or as seen from the working folder."""
    path = Path(os.path.abspath(source.path))
    library = library_folder().resolve()
    if source.name.startswith(LIBRARY) and path.resolve().is_relative_to(library):
        return quote(path.resolve().relative_to(library).as_posix()), True
    return quote(relative(path)), False


def relative(path: Path) -> str:
    """Write a path as it is seen from the working folder; never a whole path, which would name this machine."""
    try:
        return Path(os.path.relpath(path)).as_posix()
    except ValueError:
        # On another drive there is no way from here.
        return path.name


def report_text(path: Path, parts: Sequence[Part]) -> str:
    """Write a report in the format that the ending of its name says."""
    return _format(path)(parts)


def _format(path: Path) -> Callable[[Sequence[Part]], str]:
    if path.suffix.lower() == ".sarif":
        from .sarif import sarif

        return sarif
    from .junit import junit

    return junit


ENDINGS = (".xml", ".sarif")
"""What the name of a report may end with."""
