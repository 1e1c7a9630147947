"""Cures as edits of the author's own text; the library's files are never edited.

What a changed value was known by is no longer true of it: its evidence becomes an assumption that says what is planned.
"""

from collections.abc import Sequence
from functools import cached_property

from ..meaning.loading import LIBRARY
from ..meaning.model import EntityDecl, Model, ProfileDecl
from ..solving.curing import Change
from ..solving.levers import Lever
from ..syntax import tree
from ..text.diagnostic import Edit, Fix
from ..text.fixing import laid_fix
from ..text.source import Span
from .cures import Sentence, purpose

_INDENT = "  "


def fixes(model: Model, profile: ProfileDecl, sentences: Sequence[Sentence]) -> list[Fix]:
    """Make the fixes of cures, as far as they are edits of the author's own text; nobody but the author may choose."""
    texts = _Texts(model, profile)
    found = []
    for sentence in sentences:
        changes = [change for cure in sentence.cures for change in cure.changes]
        edits = [texts.edits(change) for change in changes]
        if all(edits):
            found.append(Fix(sentence.exact, _joined([e for several in edits for e in several])))
        if len(changes) == 1 and changes[0].lever.free:
            found += texts.freed(changes[0].lever)
    return [laid_fix(fix, model.sources) for fix in found]


def _joined(edits: Sequence[Edit]) -> tuple[Edit, ...]:
    """Put the edits of a fix in the order of the text, each once, those at one empty place together."""
    texts: dict[Span, list[str]] = {}
    for edit in dict.fromkeys(edits):
        texts.setdefault(edit.span, []).append(edit.text)
    places = sorted(texts, key=lambda s: (s.file, s.start, s.end))
    return tuple(Edit(place, "".join(texts[place])) for place in places)


class _Texts:
    """The author's texts as trees, to find where a line has its value."""

    def __init__(self, model: Model, profile: ProfileDecl) -> None:
        self._model = model
        self._profile = profile

    def edits(self, change: Change) -> list[Edit]:
        """Give the edits that make a change; none where it is not one of the author's own lines."""
        lever, new = change.lever, change.rung.text
        item = self._items.get(lever.span)
        if lever.kind in ("input", "word"):
            return self._valued(change)
        if not new:
            edit = self.left_out(lever.span)
            return [edit] if edit else []
        if isinstance(item, tree.Want | tree.Pin | tree.Given):
            return [Edit(item.value.span, new)]
        return []

    def freed(self, pin: Lever) -> list[Fix]:
        """Offer to leave out a pin: the value that would cure it is one that the free setting has."""
        edit = self.left_out(pin.span)
        return [Fix(f"leave {pin.name} free instead of pin {pin.name} = {pin.old}", (edit,))] if edit else []

    def left_out(self, span: Span) -> Edit | None:
        """Leave out an item."""
        return Edit(span, "") if span in self._items else None

    def _valued(self, change: Change) -> list[Edit]:
        """Change the value of an input where its entity gives it, else give it there."""
        lever, entity = change.lever, self._entity(change)
        item = self._items.get(lever.span)
        if isinstance(item, tree.Given) and entity is not None and any(i is item for i in entity.items):
            if item.evidence is None:
                return [Edit(item.value.span, change.rung.text)]
            between = self._between(item)
            return [Edit(item.value.span.to(item.evidence.span), f"{change.rung.text}{between}{_assumed(change)}")]
        return [self._added(entity, change)] if entity is not None else []

    def _between(self, item: tree.Given) -> str:
        """Give the blanks between a value and its evidence, where they stand on one line."""
        text = self._model.sources[item.span.file].text
        blank = text[item.value.span.end : item.evidence.span.start] if item.evidence else ""
        return blank if blank and not blank.strip(" ") else _INDENT

    def _added(self, entity: tree.Entity, change: Change) -> Edit:
        """Give a line to an entity, after its last one and in line with it."""
        source = self._model.sources[entity.name.span.file]
        name, value = change.lever.name, f"{change.rung.text}  {_assumed(change)}"
        given = [i for i in entity.items if isinstance(i, tree.Given)]
        if entity.items:
            at, start = entity.items[-1].span.end, entity.items[-1].span.start
            indent = source.text[source.text.rfind("\n", 0, start) + 1 : start]
        else:
            at, indent = source.text.index("{", entity.span.end) + 1, _INDENT
        column = given[-1].value.span.start - given[-1].span.start if given else 0
        line = f"\n{indent if not indent.strip() else _INDENT}{name.ljust(column - len(_INDENT))}{_INDENT}{value}"
        closed = source.text[at:].lstrip(" ").startswith("}")
        return Edit(Span(source.name, at, at), f"{line}\n" if closed else line)

    def _entity(self, change: Change) -> tree.Entity | None:
        """Find the entity of the author's that is to give an input."""
        owner = self._model.quantities[change.lever.name].owner
        decl: EntityDecl | ProfileDecl | None = self._profile
        if owner == "machine":
            decl = self._model.machines.get(change.lever.machine)
        elif owner == "material":
            decl = self._model.materials.get(self._profile.material)
        return self._entities.get(decl.span) if decl is not None else None

    @cached_property
    def _entities(self) -> dict[Span, tree.Entity]:
        from ..syntax.reading import read

        own = [source for name, source in self._model.sources.items() if not name.startswith(LIBRARY)]
        statements = [s for source in own for s in read(source)[0].statements]
        return {s.name.span: s for s in statements if isinstance(s, tree.Entity)}

    @cached_property
    def _items(self) -> dict[Span, tree.EntityItem]:
        return {item.span: item for entity in self._entities.values() for item in entity.items}


def _assumed(change: Change) -> str:
    """Say how a value is known that is to be."""
    return f'assumed "planned: {purpose(change)}"'
