"""Giving a name another: in every file of the workspace at once, or not at all."""

import re
from collections import Counter
from pathlib import Path

from ..meaning.functions import CONSTANTS, FUNCTIONS
from ..meaning.near import LONGEST_NAME
from ..syntax import tree
from ..syntax.grammar import keywords
from ..text.diagnostic import Edit
from ..text.fixing import applied
from ..text.source import Source
from .finding import NAMED, Found, at_position, defining, uses
from .occurrences import FORMULA, UNIT, WORD, Occurrence
from .positions import Position, Range
from .reports import TextEdit
from .workspace import Workspace

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(?:\.[A-Za-z_][A-Za-z0-9_]*)*")


class Refused(Exception):
    """Says why something is not done, in a sentence for the author."""


def renameable(workspace: Workspace, path: Path, position: Position) -> tuple[Range, str]:
    """Give the place of the name to be changed and the name as it is; raises Refused."""
    found = _found(workspace, path, position)
    span = found.occurrence.span
    return workspace.placed(found.source, span.start, span.end), found.source.text[span.start : span.end]


def rename(workspace: Workspace, path: Path, position: Position, new: str) -> list[TextEdit]:
    """Give the edits that change a name everywhere; raises Refused.

    The texts as they would be are checked first: a change that brings a fault is not made.
    """
    found = _found(workspace, path, position)
    old = found.source.text[found.occurrence.span.start : found.occurrence.span.end]
    if new == old:
        return []
    _sound_name(new)
    places = uses(found, workspace)
    _no_clash(workspace, found, places, new)
    edits = [TextEdit(s.path, workspace.placed(s, o.span.start, o.span.end), new) for s, o in places]
    _proved(workspace, places, old, new)
    return edits


def _found(workspace: Workspace, path: Path, position: Position) -> Found:
    found = at_position(workspace, path, position)
    if found is None or found.occurrence.table not in NAMED:
        kind = "a unit" if found is not None and found.occurrence.table == UNIT else "no name that a text defines"
        raise Refused(f"this is {kind}; put the cursor on a name")
    defined = defining(found, workspace)
    name = found.source.text[found.occurrence.span.start : found.occurrence.span.end]
    if not defined:
        raise Refused(f"{name} is not defined in any file that is used here")
    for source, _ in defined:
        if not workspace.own(source.path):
            raise Refused(f"{name} is defined in {source.name}, which is no file of this project")
    return found


def _sound_name(new: str) -> None:
    if not _NAME.fullmatch(new):
        raise Refused(f"{new!r} is no name: letters a to z, digits and _, not starting with a digit; dots join names")
    if len(new) > LONGEST_NAME:
        raise Refused(f"a name has at most {LONGEST_NAME} characters, and this one has {len(new)}")
    if new in keywords():
        raise Refused(f"{new} is a word of the language; choose another name")


def _no_clash(workspace: Workspace, found: Found, places: list[tuple[Source, Occurrence]], new: str) -> None:
    """Refuse a name that something else has, in any program that the change reaches."""
    table = found.occurrence.table
    reached = {s.path for s, _ in places}
    owner = found.occurrence.name.partition(":")[0]
    for program in workspace.programs.values():
        if reached.isdisjoint(program.names):
            continue
        for name, file in program.loaded.files.items():
            for o in workspace.occurrences(file):
                taken = f"{owner}:{new}" if table == WORD else new
                if o.defines and o.table == table and o.name == taken:
                    line, _ = program.sources[name].line_column(o.span.start)
                    raise Refused(f"{new} is the name of something else: see line {line} of {name}")
            if table == FORMULA and _binds(file, new):
                raise Refused(f"{new} is the variable of an integral in {name}; choose another name")
    if table == FORMULA and (new in CONSTANTS or new in FUNCTIONS):
        raise Refused(f"{new} is a {'constant' if new in CONSTANTS else 'function'} of the language")


def _binds(node: object, name: str) -> bool:
    if isinstance(node, tree.Integral) and node.variable.text == name:
        return True
    if isinstance(node, tuple):
        return any(_binds(part, name) for part in node)
    parts = getattr(node, "__dataclass_fields__", ())
    return any(_binds(getattr(node, part), name) for part in parts if part != "span")


def _proved(workspace: Workspace, places: list[tuple[Source, Occurrence]], old: str, new: str) -> None:
    """Refuse a change after which the texts would have other faults than before."""
    by_path: dict[Path, list[Occurrence]] = {}
    texts: dict[Path, str] = {}
    for source, o in places:
        by_path.setdefault(source.path, []).append(o)
        texts[source.path] = source.text
    _no_broken_lines(workspace, old)
    trial = workspace.copy()
    for path, found in by_path.items():
        trial.put(path, applied(texts[path], [Edit(o.span, new) for o in found]))
    trial.settle()
    for main, program in trial.programs.items():
        known = workspace.programs.get(main)
        before = Counter((d.code, d.span.file) for d in known.found) if known is not None else Counter()
        for d in program.found:
            before[d.code, d.span.file] -= 1
            if before[d.code, d.span.file] < 0:
                told = program.sources.get(d.span.file)
                where = f"{d.span.file}:{told.line_column(d.span.start)[0]}" if told else d.span.file
                raise Refused(f"{new} cannot stand in the place of {old}: {d.message} ({where})")


def _no_broken_lines(workspace: Workspace, old: str) -> None:
    """Refuse to change a name that may stand in a line that cannot be read."""
    word = re.compile(rf"(?<![\w.]){re.escape(old)}(?![\w.])")
    for program in workspace.programs.values():
        for d in program.found:
            source = program.sources.get(d.span.file)
            if source is None or not d.code.startswith(("M11", "M12")):
                continue
            line, _ = source.line_column(d.span.start)
            if word.search(source.line_text(line)):
                raise Refused(f"line {line} of {source.name} cannot be read and may mean {old}; mend it first")
