"""What a file holds, as an outline."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..syntax import tree
from ..syntax.printing import print_value
from ..text.source import Source, Span
from .positions import Range
from .workspace import Workspace


@dataclass(frozen=True, slots=True)
class Symbol:
    """A named part of a file: ``range`` is all of it, ``name_range`` its name."""

    name: str
    kind: str
    detail: str
    range: Range
    name_range: Range
    inner: tuple["Symbol", ...] = ()


def outline(workspace: Workspace, path: Path) -> list[Symbol]:
    """List the statements of a file and what they hold."""
    program = workspace.program(path)
    source, file = (program.source(path), program.file(path)) if program is not None else (None, None)
    if source is None or file is None:
        return []
    starts = [s.span.start for s in file.statements] + [len(source.text)]
    return [
        _statement(s, source, after, workspace)
        for s, after in zip(file.statements, starts[1:], strict=True)
        if not isinstance(s, tree.Use)
    ]


def _statement(s: tree.Statement, source: Source, after: int, workspace: Workspace) -> Symbol:
    assert not isinstance(s, tree.Use)
    end = s.span.end
    kind = s.kind if isinstance(s, tree.Entity) else type(s).__name__.lower()
    inner: list[Symbol] = []
    if isinstance(s, tree.Entity | tree.Law | tree.Grade):
        closing = source.text.rfind("}", s.span.end, after)
        parts = s.bands if isinstance(s, tree.Grade) else s.items
        end = max([end, closing + 1, *(p.span.end for p in parts)])
        for name, sort, detail, span, name_span in _parts(s):
            place = workspace.placed(source, span.start, span.end)
            inner.append(Symbol(name, sort, detail, place, workspace.placed(source, name_span.start, name_span.end)))
    whole = workspace.placed(source, s.span.start, end)
    at = workspace.placed(source, s.name.span.start, s.name.span.end)
    detail = f"from {s.base.text}" if isinstance(s, tree.Entity) and s.base is not None else ""
    return Symbol(s.name.text, kind, detail, whole, at, tuple(inner))


def _parts(s: tree.Entity | tree.Law | tree.Grade) -> Iterator[tuple[str, str, str, Span, Span]]:
    if isinstance(s, tree.Grade):
        for band in s.bands:
            yield band.name.text, "band", "", band.span, band.name.span
        return
    for item in s.items:
        match item:
            case tree.Given():
                yield item.name.text, "value", print_value(item.value), item.span, item.name.span
            case tree.Want():
                yield item.name.text, "want", f"at {item.bound} {print_value(item.value)}", item.span, item.name.span
            case tree.Pin():
                yield item.name.text, "pin", print_value(item.value), item.span, item.name.span
            case tree.UsesMaterial():
                yield item.name.text, "material", "material", item.span, item.name.span
            case tree.UsesMachines():
                for name in item.names:
                    yield name.text, "machine", "machine", name.span, name.span
            case tree.Let():
                yield item.name.text, "let", "", item.span, item.name.span
