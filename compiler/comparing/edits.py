"""Edits between two texts, found by what the texts say: layout, comments, order and file make no difference.

A text is taken apart into statements, and those into parts that can be edited one by one: a value, a want, a pin, a
formula of a law, one of the machines named. Any subset of the edits makes a text again (``Change.statements``).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from fractions import Fraction
from typing import Any

from ..syntax import tree
from ..syntax.printing import print_part, print_statement
from ..text.source import NOWHERE, Span

Key = tuple[str, str]
"""The kind and name of a statement."""

FORMULAS = ("let", "require", "valid", "when", "caution", "prepare")


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit: what it is of, both texts (empty where there is none) and both places.

    ``kind`` tells what was edited: ``value``, ``evidence``, ``want``, ``pin``, ``preference``, ``material``,
    ``machine``, ``base``, a formula of a law, ``added``, ``removed``, or the kind of a declaration. ``numbers`` tells
    that only numbers can change: the same laws apply, unless a law looks at the value.
    """

    key: Key
    kind: str
    name: str
    old: str
    new: str
    old_span: Span
    new_span: Span
    before: Any = field(compare=False, repr=False)
    after: Any = field(compare=False, repr=False)

    @property
    def subject(self) -> str:
        """What was edited, as people say it."""
        return " ".join(self.key)

    @property
    def numbers(self) -> bool:
        """Whether the edit stands in a material, machine or profile."""
        return self.key[0] in ("material", "machine", "profile")


@dataclass(frozen=True, slots=True)
class Change:
    """Two texts and the edits that lead from one to the other; ``old`` and ``new`` are their statements by key."""

    old: Mapping[Key, tree.Statement]
    new: Mapping[Key, tree.Statement]
    edits: tuple[Edit, ...]

    def statements(self, made: frozenset[int]) -> tuple[tree.Statement, ...]:
        """Give the old text with some of the edits made, by their numbers."""
        chosen: dict[Key, list[Edit]] = {}
        for i in sorted(made):
            chosen.setdefault(self.edits[i].key, []).append(self.edits[i])
        found = []
        for key, statement in self.old.items():
            whole = _edited(statement, chosen.pop(key, ()))
            if whole is not None:
                found.append(whole)
        return (*found, *(e.after for edits in chosen.values() for e in edits))


def change(old: Mapping[str, tree.File], new: Mapping[str, tree.File]) -> Change:
    """Find the edits between the files of two sides, in the order of the new text, what was removed last."""
    before, after = _statements(old), _statements(new)
    edits: list[Edit] = []
    for key, statement in after.items():
        edits += _edits(key, before.get(key), statement)
    for key, statement in before.items():
        if key not in after:
            edits += _edits(key, statement, None)
    return Change(before, after, tuple(edits))


def _statements(files: Mapping[str, tree.File]) -> dict[Key, tree.Statement]:
    found: dict[Key, tree.Statement] = {}
    for name in sorted(files):
        for s in files[name].statements:
            if not isinstance(s, tree.Use):
                kind = s.kind if isinstance(s, tree.Entity) else type(s).__name__.lower()
                found[kind, s.name.text] = s
    return found


# ---- what two texts say


def said(node: Any) -> Any:
    """Give what a node says, to compare: numbers by their value, places left out."""
    if isinstance(node, tree.Number):
        return Fraction(node.digits), node.unit
    if is_dataclass(node):
        return (type(node).__name__, *(said(getattr(node, f.name)) for f in fields(node) if f.compare))
    if isinstance(node, tuple):
        return tuple(said(n) for n in node)
    return node


def _edits(key: Key, old: Any, new: Any) -> list[Edit]:
    """Find the edits of one statement."""
    if old is None or new is None:
        kind = "added" if old is None else "removed"
        return [Edit(key, kind, "", _head(old), _head(new), _span(old), _span(new), old, new)]
    if old is new or old == new or _unordered(old) == _unordered(new):
        return []
    if isinstance(new, tree.Entity):
        return [*_base(key, old, new), *_parts(key, old.items, new.items)]
    if isinstance(new, tree.Law):
        return _parts(key, old.items, new.items)
    return [Edit(key, key[0], "", _line(old), _line(new), _span(old), _span(new), old, new)]


def _unordered(statement: Any) -> Any:
    """Give what a statement says, whatever the order of its parts."""
    if isinstance(statement, tree.Entity | tree.Law):
        frame: Any = statement
        return said(replace(frame, items=())), sorted(map(repr, map(said, _split(statement.items))))
    return said(statement)


def _base(key: Key, old: tree.Entity, new: tree.Entity) -> list[Edit]:
    if said(old.base) == said(new.base):
        return []
    texts = [f"from {e.base.text}" if e.base else "" for e in (old, new)]
    places = [e.base.span if e.base else e.name.span for e in (old, new)]
    return [Edit(key, "base", "", texts[0], texts[1], places[0], places[1], old.base, new.base)]


def _parts(key: Key, old: Sequence[Any], new: Sequence[Any]) -> list[Edit]:
    """Pair the parts of two blocks: first what says the same, then what has the same name, each in turn."""
    left = _split(old)
    fresh = []
    for item in _split(new):
        match = next((o for o in left if said(o) == said(item)), None)
        if match is None:
            fresh.append(item)
        else:
            left.remove(match)
    found = []
    for item in fresh:
        match = next((o for o in left if _slot(o) == _slot(item)), None)
        if match is not None:
            left.remove(match)
        found.append(_part(key, match, item))
    return [*found, *(_part(key, item, None) for item in left)]


def _split(items: Iterable[Any]) -> list[Any]:
    """List parts; each of the machines that a profile names is a part of its own."""
    found: list[Any] = []
    for item in items:
        found += dict.fromkeys(item.names) if isinstance(item, tree.UsesMachines) else [item]
    return found


def _slot(item: Any) -> tuple[str, str, str]:
    """Tell what parts stand for one another."""
    name = item.name.text if isinstance(item, tree.Given | tree.Want | tree.Pin | tree.Let) else ""
    extra = item.bound if isinstance(item, tree.Want) else item.kind if isinstance(item, tree.Notice) else ""
    # Each machine that is named stands for itself alone.
    return type(item).__name__, item.text if isinstance(item, tree.Name) else name, extra


def _part(key: Key, old: Any, new: Any) -> Edit:
    item = new if new is not None else old
    kind = _kind(item)
    name = item.text if isinstance(item, tree.Name) else _slot(item)[1]
    texts = [_shown(i) if i is not None else "" for i in _essential(old, new)]
    if isinstance(item, tree.Given) and old is not None and new is not None:
        if said(old.value) == said(new.value):
            kind, texts = "evidence", [print_part(i)[len(i.name.text) :].strip() for i in (old, new)]
        elif said(old.evidence) != said(new.evidence):
            texts = [print_part(i)[len(i.name.text) :].strip() for i in (old, new)]
    return Edit(key, kind, name, texts[0], texts[1], _span(old), _span(new), old, new)


def _essential(old: Any, new: Any) -> list[Any]:
    """Leave away the words around a formula where they are the same on both sides, or only one side has it."""
    found = [old, new]
    for name, nothing in (("doc", None), ("otherwise", None), ("remedies", ())):
        whole = [n for n in found if n is not None and hasattr(n, name)]
        if whole and len({repr(said(getattr(n, name))) for n in whole}) == 1:
            found = [n if n is None else replace(n, **{name: nothing}) for n in found]
    return found


def _kind(item: Any) -> str:
    if isinstance(item, tree.Notice):
        return item.kind
    kinds: dict[type, str] = {
        tree.Given: "value",
        tree.UsesMaterial: "material",
        tree.Name: "machine",
        tree.Prefer: "preference",
        tree.SourceNote: "source",
    }
    return kinds.get(type(item), type(item).__name__.lower())


def _shown(item: Any) -> str:
    """Write a part for people, without the name that is told beside it."""
    if isinstance(item, tree.Name):
        return item.text
    if isinstance(item, tree.Given):
        return print_part(replace(item, evidence=None))[len(item.name.text) :].strip()
    return print_part(item)


def _head(statement: Any) -> str:
    return "" if statement is None else print_statement(statement).split("\n")[0].removesuffix(" {")


def _line(statement: tree.Statement) -> str:
    return " ".join(print_statement(statement).split())


def _span(node: Any) -> Span:
    return NOWHERE if node is None else node.span


# ---- making edits


def _edited(statement: Any, edits: Iterable[Edit]) -> Any:
    """Make edits of one statement; None where it is removed."""
    parts = {id(e.before): e for e in edits if e.before is not None and e.kind not in ("base", "removed")}
    whole = statement
    for e in edits:
        if e.kind == "removed" and e.before is statement:
            return None
        if e.kind == "base":
            whole = replace(whole, base=e.after)
        elif e.before is statement:
            whole = e.after
    fresh = [e.after for e in edits if e.before is None and e.kind != "base"]
    if not isinstance(whole, tree.Entity | tree.Law) or not (parts or fresh):
        return whole
    items: list[Any] = []
    for item in whole.items:
        if isinstance(item, tree.UsesMachines):
            items += _machines(item, parts, fresh)
        elif id(item) not in parts:
            items.append(item)
        elif parts[id(item)].after is not None:
            items.append(parts[id(item)].after)
    named = [n for n in fresh if isinstance(n, tree.Name)]
    if named and not any(isinstance(i, tree.UsesMachines) for i in whole.items):
        items.append(tree.UsesMachines(tuple(named), named[0].span))
    frame: Any = whole
    return replace(frame, items=(*items, *(i for i in fresh if not isinstance(i, tree.Name))))


def _machines(item: tree.UsesMachines, parts: Mapping[int, Edit], fresh: Iterable[Any]) -> list[tree.UsesMachines]:
    kept = [n for n in item.names if id(n) not in parts]
    names = (*kept, *(n for n in fresh if isinstance(n, tree.Name)))
    return [replace(item, names=names)] if names else []
