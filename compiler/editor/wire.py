"""Between plain values and those of the Language Server Protocol."""

from pathlib import Path

from lsprotocol import types
from pygls.uris import from_fs_path, to_fs_path

from .. import __version__
from .hovering import Hover
from .positions import Position, Range
from .reports import Report

SOURCE = "meltwright"
VERSION = __version__


def path_of(uri: str) -> Path | None:
    """Give the file of an address; None for what is no file."""
    if not uri.lower().startswith("file:"):
        return None
    found = to_fs_path(uri)
    return Path(found) if found else None


class Addresses:
    """The addresses of files, as the editor itself writes them where it has named them."""

    def __init__(self) -> None:
        self._known: dict[Path, str] = {}

    def met(self, uri: str) -> Path | None:
        """Take note of an address; gives its file with links followed."""
        path = path_of(uri)
        if path is None:
            return None
        resolved = path.resolve()
        self._known[resolved] = uri
        return resolved

    def of(self, path: Path) -> str:
        """Give the address of a file."""
        return self._known.get(path) or from_fs_path(str(path)) or path.as_uri()


def position(p: types.Position) -> Position:
    """Take a place over."""
    return Position(p.line, p.character)


def lsp_position(p: Position) -> types.Position:
    """Give a place."""
    return types.Position(p.line, p.column)


def lsp_range(r: Range) -> types.Range:
    """Give a stretch."""
    return types.Range(lsp_position(r.start), lsp_position(r.end))


def location(path: Path, r: Range, addresses: Addresses) -> types.Location:
    """Give a stretch of a file."""
    return types.Location(addresses.of(path), lsp_range(r))


def diagnostic(r: Report, addresses: Addresses) -> types.Diagnostic:
    """Give a report; its help stands below its message."""
    severity = types.DiagnosticSeverity.Error if r.is_error else types.DiagnosticSeverity.Warning
    related = [
        types.DiagnosticRelatedInformation(location(path, where, addresses), role) for (path, where), role in r.related
    ]
    message = f"{r.message}\nhelp: {r.help}" if r.help else r.message
    return types.Diagnostic(
        range=lsp_range(r.range),
        message=message,
        severity=severity,
        code=r.code,
        source=SOURCE,
        related_information=related or None,
        data={"slug": r.slug},
    )


def hover(h: Hover | None) -> types.Hover | None:
    """Give what is known of a place."""
    if h is None:
        return None
    return types.Hover(types.MarkupContent(types.MarkupKind.Markdown, h.markdown), lsp_range(h.range))
