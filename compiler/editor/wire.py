"""Between plain values and those of the Language Server Protocol."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from lsprotocol import types
from pygls.uris import from_fs_path, to_fs_path

from .. import __version__
from .completing import Offer
from .hinting import Hint
from .hovering import Hover
from .mending import Mending
from .outlining import Symbol
from .positions import Position, Range
from .reports import Place, Report, TextEdit

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


def range_of(r: types.Range) -> Range:
    """Take a stretch over."""
    return Range(position(r.start), position(r.end))


def locations(places: Sequence[Place], addresses: Addresses) -> list[types.Location]:
    """Give stretches of files."""
    return [location(path, where, addresses) for path, where in places]


_OFFERED = {
    "keyword": types.CompletionItemKind.Keyword,
    "unit": types.CompletionItemKind.Unit,
    "file": types.CompletionItemKind.File,
    "word": types.CompletionItemKind.EnumMember,
    "quantity": types.CompletionItemKind.Field,
    "setting": types.CompletionItemKind.Property,
    "let": types.CompletionItemKind.Variable,
    "grade": types.CompletionItemKind.Enum,
    "merit": types.CompletionItemKind.Event,
    "material": types.CompletionItemKind.Class,
    "machine": types.CompletionItemKind.Class,
    "profile": types.CompletionItemKind.Class,
    "function": types.CompletionItemKind.Function,
    "constant": types.CompletionItemKind.Constant,
    "dimension": types.CompletionItemKind.TypeParameter,
}
_OUTLINED = {
    "material": types.SymbolKind.Class,
    "machine": types.SymbolKind.Class,
    "profile": types.SymbolKind.Module,
    "quantity": types.SymbolKind.Field,
    "setting": types.SymbolKind.Property,
    "grade": types.SymbolKind.Enum,
    "band": types.SymbolKind.EnumMember,
    "merit": types.SymbolKind.Event,
    "law": types.SymbolKind.Namespace,
    "let": types.SymbolKind.Variable,
    "value": types.SymbolKind.Constant,
    "want": types.SymbolKind.Boolean,
    "pin": types.SymbolKind.Key,
}


def completion(offers: Sequence[Offer]) -> types.CompletionList:
    """Give what may be written, the likeliest first."""
    return types.CompletionList(is_incomplete=False, items=[_item(o) for o in offers])


def _item(o: Offer) -> types.CompletionItem:
    about = types.MarkupContent(types.MarkupKind.Markdown, o.about) if o.about else None
    return types.CompletionItem(
        label=o.text,
        kind=_OFFERED[o.kind],
        detail=o.detail or None,
        documentation=about,
        sort_text=f"{o.sort}{o.text}",
        text_edit=types.TextEdit(lsp_range(o.range), o.text),
    )


def prepared(where: Range, name: str) -> types.PrepareRenamePlaceholder:
    """Give the name that is to be changed."""
    return types.PrepareRenamePlaceholder(range=lsp_range(where), placeholder=name)


def text_edit(e: TextEdit) -> types.TextEdit:
    """Give an edit of one file."""
    return types.TextEdit(lsp_range(e.range), e.text)


Versions = Mapping[Path, int | None]
"""The version of each open text; None for an editor that takes edits without."""


def workspace_edit(edits: Sequence[TextEdit], addresses: Addresses, versions: Versions | None) -> types.WorkspaceEdit:
    """Give edits of several files, each for the version of its text that was looked at."""
    if versions is None:
        plain: dict[str, list[types.TextEdit]] = {}
        for e in edits:
            plain.setdefault(addresses.of(e.path), []).append(text_edit(e))
        return types.WorkspaceEdit(changes=plain)
    files: dict[Path, list[types.TextEdit | types.AnnotatedTextEdit | types.SnippetTextEdit]] = {}
    for e in edits:
        files.setdefault(e.path, []).append(text_edit(e))
    changes: list[types.TextDocumentEdit | types.CreateFile | types.RenameFile | types.DeleteFile] = [
        types.TextDocumentEdit(
            types.OptionalVersionedTextDocumentIdentifier(addresses.of(path), versions.get(path)), of
        )
        for path, of in files.items()
    ]
    return types.WorkspaceEdit(document_changes=changes)


def symbol(s: Symbol) -> types.DocumentSymbol:
    """Give a part of an outline."""
    return types.DocumentSymbol(
        name=s.name,
        kind=_OUTLINED[s.kind],
        range=lsp_range(s.range),
        selection_range=lsp_range(s.name_range),
        detail=s.detail or None,
        children=[symbol(i) for i in s.inner],
    )


def action(m: Mending, addresses: Addresses, versions: Versions | None) -> types.CodeAction:
    """Give a quick fix."""
    return types.CodeAction(
        title=m.cure.title,
        kind=types.CodeActionKind.QuickFix,
        diagnostics=[diagnostic(m.report, addresses)],
        is_preferred=m.preferred or None,
        edit=workspace_edit(m.cure.edits, addresses, versions),
    )


def mend_all(edits: Sequence[TextEdit], addresses: Addresses, versions: Versions | None) -> list[types.CodeAction]:
    """Give the action that mends all that leaves no doubt; none where there is nothing."""
    if not edits:
        return []
    edit = workspace_edit(edits, addresses, versions)
    return [types.CodeAction("Mend all that leaves no doubt", kind=types.CodeActionKind.SourceFixAll, edit=edit)]


def hint(h: Hint) -> types.InlayHint:
    """Give a hint."""
    about = types.MarkupContent(types.MarkupKind.Markdown, h.about)
    return types.InlayHint(position=lsp_position(h.position), label=h.text, tooltip=about, padding_left=True)
