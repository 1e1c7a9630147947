"""What an editor may ask for, each answered by a module of its own."""

from pathlib import Path
from typing import TYPE_CHECKING

from lsprotocol import types

from . import wire
from .hovering import hover

if TYPE_CHECKING:
    from .server import Face


def register(face: "Face") -> None:
    """Register all features."""

    def hovering(params: types.HoverParams, path: Path) -> types.Hover | None:
        return wire.hover(hover(face.workspace, path, wire.position(params.position)))

    face.ask(types.TEXT_DOCUMENT_HOVER, hovering)
