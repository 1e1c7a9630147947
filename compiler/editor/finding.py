"""Where names are defined and used, over all files of the workspace."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..syntax import tree
from ..text.source import Source
from .mains import used_file
from .occurrences import FILE, FORMULA, VALUE, WORD, Occurrence, at
from .positions import Position, Range
from .programs import Program
from .reports import Place
from .workspace import Workspace

NAMED = frozenset(["material", "machine", "profile", "law", FORMULA, WORD])
"""Tables of names that texts define; units, dimensions and functions are the language's own."""


@dataclass(frozen=True, slots=True)
class Found:
    """A name at a place of a file, in the program that it was looked for in."""

    program: Program
    source: Source
    occurrence: Occurrence


def at_position(workspace: Workspace, path: Path, position: Position) -> Found | None:
    """Give the name at a place."""
    program, lines = workspace.program(path), workspace.lines(path)
    if program is None or lines is None:
        return None
    source, file = program.source(path), program.file(path)
    if source is None or file is None:
        return None
    found = at(file, lines.offset(position))
    return None if found is None else Found(program, source, found)


def definitions(workspace: Workspace, path: Path, position: Position) -> list[Place]:
    """Give where the name at a place is defined; for a use line, the file that it names."""
    found = at_position(workspace, path, position)
    if found is None:
        return []
    if found.occurrence.table == FILE:
        target = _used(found, workspace)
        return [] if target is None else [(target, Range(Position(0, 0), Position(0, 0)))]
    return [(s.path, workspace.placed(s, o.span.start, o.span.end)) for s, o in defining(found, workspace)]


def _used(found: Found, workspace: Workspace) -> Path | None:
    use = found.occurrence.node
    assert isinstance(use, tree.Use)
    target = used_file(use.path.text, use.library, found.source.path, workspace.texts)
    return target if workspace.texts.exists(target) else None


def defining(found: Found, workspace: Workspace) -> list[tuple[Source, Occurrence]]:
    """List the places that define a name, in its program."""
    o = found.occurrence
    table = FORMULA if o.table == VALUE else o.table
    if table not in NAMED:
        return []
    return [
        (s, d) for s, d in everywhere(found.program, workspace) if d.defines and (d.table, d.name) == (table, o.name)
    ]


def everywhere(program: Program, workspace: Workspace) -> Iterator[tuple[Source, Occurrence]]:
    """List all names of a program with the texts that they stand in."""
    for name, file in program.loaded.files.items():
        source = program.sources[name]
        for o in workspace.occurrences(file):
            yield source, o


def uses(found: Found, workspace: Workspace) -> list[tuple[Source, Occurrence]]:
    """List every place that names the same as a place does, in all programs that share its definition."""
    o = found.occurrence
    key = (FORMULA if o.table == VALUE else o.table, o.name)
    wanted = {(s.path, d.span.start) for s, d in defining(found, workspace)}
    listed: dict[tuple[Path, int, int], tuple[Source, Occurrence]] = {}
    for program in workspace.programs.values():
        named = [(s, d) for s, d in everywhere(program, workspace) if (d.table, d.name) == key]
        if any(d.defines and (s.path, d.span.start) in wanted for s, d in named):
            listed |= {(s.path, d.span.start, d.span.end): (s, d) for s, d in named}
    return [listed[k] for k in sorted(listed)]


def references(workspace: Workspace, path: Path, position: Position, declaration: bool) -> list[Place]:
    """List where the name at a place is used, and defined where ``declaration`` asks for that too."""
    found = at_position(workspace, path, position)
    if found is None:
        return []
    return [
        (s.path, workspace.placed(s, o.span.start, o.span.end))
        for s, o in uses(found, workspace)
        if declaration or not o.defines
    ]
