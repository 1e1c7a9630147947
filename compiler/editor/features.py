"""What an editor may ask for: each message is answered by a module of its own, in plain values."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lsprotocol import types

from . import wire
from .completing import complete
from .finding import definitions, references
from .hinting import hints
from .hovering import hover
from .laying_out import layout_edits
from .mending import mend_all, mendings
from .outlining import outline
from .positions import Position
from .renaming import rename, renameable

if TYPE_CHECKING:
    from .server import Face


def register(face: "Face") -> None:
    """Register all features."""
    addresses = face.addresses

    def at_position(ask: Callable[[Path, Position, Any], Any]) -> Callable[[Any, Path], Any]:
        return lambda params, path: ask(path, wire.position(params.position), params)

    face.ask(types.TEXT_DOCUMENT_HOVER, at_position(lambda path, at, _: wire.hover(hover(face.workspace, path, at))))
    face.ask(
        types.TEXT_DOCUMENT_DEFINITION,
        at_position(lambda path, at, _: wire.locations(definitions(face.workspace, path, at), addresses)),
    )
    face.ask(
        types.TEXT_DOCUMENT_REFERENCES,
        at_position(
            lambda path, at, params: wire.locations(
                references(face.workspace, path, at, params.context.include_declaration), addresses
            )
        ),
    )
    face.ask(
        types.TEXT_DOCUMENT_COMPLETION,
        at_position(lambda path, at, _: wire.completion(complete(face.workspace, path, at))),
        types.CompletionOptions(trigger_characters=[" ", ".", '"', "/"]),
    )
    face.ask(
        types.TEXT_DOCUMENT_PREPARE_RENAME,
        at_position(lambda path, at, _: wire.prepared(*renameable(face.workspace, path, at))),
    )
    face.ask(
        types.TEXT_DOCUMENT_RENAME,
        at_position(
            lambda path, at, params: wire.workspace_edit(
                rename(face.workspace, path, at, params.new_name), addresses, face.versions
            )
        ),
        types.RenameOptions(prepare_provider=True),
    )
    face.ask(
        types.TEXT_DOCUMENT_DOCUMENT_SYMBOL,
        lambda params, path: [wire.symbol(s) for s in outline(face.workspace, path)],
    )
    face.ask(
        types.TEXT_DOCUMENT_CODE_ACTION,
        lambda params, path: _actions(face, params, path),
        types.CodeActionOptions(code_action_kinds=[types.CodeActionKind.QuickFix, types.CodeActionKind.SourceFixAll]),
    )
    face.ask(
        types.TEXT_DOCUMENT_FORMATTING,
        lambda params, path: [wire.text_edit(e) for e in layout_edits(face.workspace, path)],
    )
    face.ask(
        types.TEXT_DOCUMENT_INLAY_HINT,
        lambda params, path: [wire.hint(h) for h in hints(face.workspace, path, wire.range_of(params.range))],
    )


def _actions(face: "Face", params: types.CodeActionParams, path: Path) -> list[types.CodeAction]:
    """Give the kinds of actions that are asked for; to mend all at once only where that is."""
    only = [str(getattr(kind, "value", kind)) for kind in params.context.only or ()]
    found: list[types.CodeAction] = []
    if not only or any(k in ("", "quickfix") for k in only):
        of = mendings(face.workspace, path, wire.range_of(params.range))
        found += [wire.action(m, face.addresses, face.versions) for m in of]
    if any("source.fixAll".startswith(k) for k in only):
        found += wire.mend_all(mend_all(face.workspace, path), face.addresses, face.versions)
    return found
