"""Where names stand in a file: what each place names, and whether it defines it."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from ..syntax import tree
from ..text.source import Span

FORMULA, WORD, UNIT, VALUE = "formula", "word", "unit", "value"
DIMENSION, FUNCTION, FILE, LAW = "dimension", "function", "file", "law"
"""Tables of names; materials, machines and profiles have one each, called like their keyword."""


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A name at its place: a word of a quantity or grade as ``OWNER:WORD``, a value as what it is given for.

    ``node`` is the statement or item that the name belongs to, ``entity`` the material, machine or profile around it.
    """

    span: Span
    table: str
    name: str
    defines: bool
    node: Any
    entity: tree.Entity | None = None


def occurrences(file: tree.File) -> list[Occurrence]:
    """List the names of a file in the order of the text."""
    found = [o for s in file.statements for o in _statement(s)]
    return sorted(found, key=lambda o: (o.span.start, o.span.end))


def at(file: tree.File, offset: int) -> Occurrence | None:
    """Give what stands at an offset, or ends there; the narrower where several do."""
    for statement in file.statements:
        last = _end(statement)
        if statement.span.start <= offset <= last:
            hit = [o for o in _statement(statement) if o.span.start <= offset <= o.span.end]
            if hit:
                return min(hit, key=lambda o: (o.span.end == offset, o.span.end - o.span.start))
    return None


def _end(statement: tree.Statement) -> int:
    items: tuple[Any, ...] = ()
    if isinstance(statement, tree.Entity | tree.Law):
        items = statement.items
    elif isinstance(statement, tree.Grade):
        items = statement.bands
    end: int = max([statement.span.end, *(i.span.end for i in items)])
    return end


def _statement(s: tree.Statement) -> Iterator[Occurrence]:
    match s:
        case tree.Use():
            yield Occurrence(s.path.span, FILE, s.path.text, False, s)
        case tree.Entity():
            yield Occurrence(s.name.span, s.kind, s.name.text, True, s, s)
            if s.base is not None:
                yield Occurrence(s.base.span, s.kind, s.base.text, False, s, s)
            for item in s.items:
                yield from _entity_item(item, s)
        case tree.Quantity():
            yield Occurrence(s.name.span, FORMULA, s.name.text, True, s)
            if s.dimension is not None:
                yield Occurrence(s.dimension.span, DIMENSION, s.dimension.text, False, s)
            for word in s.words:
                yield Occurrence(word.span, WORD, f"{s.name.text}:{word.text}", True, s)
            yield from _units(s.ranges, s)
        case tree.Setting():
            yield Occurrence(s.name.span, FORMULA, s.name.text, True, s)
            yield Occurrence(s.dimension.span, DIMENSION, s.dimension.text, False, s)
            yield from _units((s.range, s.step), s)
        case tree.Grade():
            yield Occurrence(s.name.span, FORMULA, s.name.text, True, s)
            yield Occurrence(s.quantity.span, FORMULA, s.quantity.text, False, s)
            for band in s.bands:
                yield Occurrence(band.name.span, WORD, f"{s.name.text}:{band.name.text}", True, s)
                yield from _units(band.limit, s)
        case tree.Merit():
            yield Occurrence(s.name.span, FORMULA, s.name.text, True, s)
            yield from _formulas(s.expression, s)
        case tree.Law():
            yield Occurrence(s.name.span, LAW, s.name.text, True, s)
            for part in s.items:
                if isinstance(part, tree.Let):
                    yield Occurrence(part.name.span, FORMULA, part.name.text, True, part)
                    yield from _formulas(part.expression, part)
                else:
                    yield from _formulas(part, part)


def _entity_item(item: tree.EntityItem, entity: tree.Entity) -> Iterator[Occurrence]:
    match item:
        case tree.UsesMaterial():
            yield Occurrence(item.name.span, "material", item.name.text, False, item, entity)
        case tree.UsesMachines():
            for name in item.names:
                yield Occurrence(name.span, "machine", name.text, False, item, entity)
        case tree.Prefer():
            for name in item.names:
                yield Occurrence(name.span, FORMULA, name.text, False, item, entity)
            yield from _units(item.giving, item, entity)
        case tree.Given() | tree.Want() | tree.Pin():
            yield Occurrence(item.name.span, FORMULA, item.name.text, False, item, entity)
            if isinstance(item.value, tree.Word):
                owner = item.name.text
                yield Occurrence(item.value.span, WORD, f"{owner}:{item.value.text}", False, item, entity)
            else:
                yield Occurrence(item.value.span, VALUE, item.name.text, False, item, entity)
            yield from _units(item.value, item, entity)


def _formulas(part: Any, node: Any) -> Iterator[Occurrence]:
    """List the names of formulas and conditions; the variables of integrals name nothing."""
    match part:
        case tree.Reference():
            yield Occurrence(part.span, FORMULA, part.name, False, node)
        case tree.Call():
            yield Occurrence(part.function.span, FUNCTION, part.function.text, False, node)
            yield from _formulas(part.arguments, node)
        case tree.Integral():
            yield from _formulas((part.start, part.stop), node)
            inner = _formulas(part.body, node)
            yield from (o for o in inner if o.table != FORMULA or o.name != part.variable.text)
        case tree.OnScale():
            yield Occurrence(part.quantity.span, FORMULA, part.quantity.text, False, node)
            yield Occurrence(part.scale.span, UNIT, part.scale.text, False, node)
        case tree.IsWord():
            yield Occurrence(part.quantity.span, FORMULA, part.quantity.text, False, node)
            yield Occurrence(part.word.span, WORD, f"{part.quantity.text}:{part.word.text}", False, node)
        case tree.Remedy():
            yield Occurrence(part.name.span, FORMULA, part.name.text, False, node)
        case tree.Number():
            yield from _units(part, node)
        case tuple():
            for one in part:
                yield from _formulas(one, node)
        case tree.Text() | tree.Name() | str() | None:
            return
        case _:
            for field in fields(part) if hasattr(part, "__dataclass_fields__") else ():
                if field.name != "span":
                    yield from _formulas(getattr(part, field.name), node)


def _units(part: Any, node: Any, entity: tree.Entity | None = None) -> Iterator[Occurrence]:
    match part:
        case tree.Number():
            if part.unit:
                yield Occurrence(part.unit_span, UNIT, part.unit, False, node, entity)
        case tree.Exact():
            yield from _units(part.number, node, entity)
        case tree.Spread():
            yield from _units((part.number, part.tolerance), node, entity)
        case tree.Range():
            yield from _units((part.low, part.high), node, entity)
        case tuple():
            for one in part:
                yield from _units(one, node, entity)
