"""Materials and machines: their values checked, inherited, and the trail kept."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.fixing import put_in, write_for
from ..text.joining import listed
from .declaring import in_ranges
from .laws import Names, unknown_word
from .loading import LIBRARY
from .memory import Memory
from .model import Amount, EntityDecl, Evidence, GivenValue, QuantityDecl
from .near import brief, suggest
from .units import HARDNESS, Dimension
from .valuing import amount_in, amount_of, believable, example_unit, in_unit, mismatch, text_of

NOT_GIVEN = Evidence("assumed", "no evidence given", stated=False)


def resolve(
    entities: Mapping[str, tree.Entity], names: Names, faults: list[Diagnostic], memory: Memory
) -> dict[str, EntityDecl]:
    """Resolve all entities of one kind; each is checked once, however many inherit from it."""
    told = cache(names.told)

    def own_values(entity: tree.Entity, faults: list[Diagnostic]) -> dict[str, GivenValue]:
        return _own_values(entity, names, faults)

    own = {name: memory.recall(e, own_values, faults, told, _elsewhere) for name, e in entities.items()}
    resolved: dict[str, EntityDecl] = {}
    whole: dict[str, dict[str, GivenValue]] = {}
    for name, entity in entities.items():
        line = lineage(entity, entities, faults)
        known = next((at for at, ancestor in enumerate(line) if ancestor in whole), len(line))
        values = whole[line[known]] if known < len(line) else {}
        for ancestor in reversed(line[:known]):
            values = values | {k: replacing(v, values.get(k)) for k, v in own[ancestor].items()}
            whole[ancestor] = values
        resolved[name] = EntityDecl(entity.kind, name, tuple(line), values, entity.name.span)
    return resolved


def _elsewhere(entity: tree.Entity, values: dict[str, GivenValue]) -> dict[str, GivenValue]:
    """Give the values of an entity that says the same at another place."""
    spans = {i.name.text: i.span for i in entity.items if isinstance(i, tree.Given)}
    return {n: GivenValue(n, v.amount, v.word, v.evidence, v.entity, spans[n]) for n, v in values.items()}


def replacing(value: GivenValue, older: GivenValue | None) -> GivenValue:
    """Give a value with what it replaces, where there is anything."""
    v = value
    return GivenValue(v.name, v.amount, v.word, v.evidence, v.entity, v.span, older) if older is not None else v


def lineage(entity: tree.Entity, entities: Mapping[str, tree.Entity], faults: list[Diagnostic]) -> list[str]:
    """List an entity and what it inherits from, nearest first; report an unknown base or a circle."""
    line = {entity.name.text: entity}
    current = entity
    while current.base is not None:
        base = current.base
        if base.text not in entities:
            if current is entity:
                faults.append(unknown_entity(base, entity.kind, entities))
            break
        if base.text in line:
            # Every member of the circle comes by here; the first by name reports for all.
            if base.text == entity.name.text == min(line):
                names = list(line) if len(line) <= 8 else [*list(line)[:4], "...", *list(line)[-3:]]
                chain = " -> ".join([*names, base.text])
                related = [Related(e.base.span, f"{n} inherits here") for n, e in line.items() if e.base][1:6]
                first = entity.base or base
                faults.append(diagnose("M213", first.span, name=base.text, chain=chain, related=related))
            break
        current = line[base.text] = entities[base.text]
    return list(line)


def unknown_entity(name: tree.Name, kind: str, known: Iterable[str]) -> Diagnostic:
    """Report the name of a material, machine or profile that there is not."""
    missing = f"is a use line missing for the file that defines this {kind}?"
    return diagnose(
        "M212", name.span, kind=kind, name=brief(name.text), **suggest(name.text, name.span, known, missing)
    )


def _own_values(entity: tree.Entity, names: Names, faults: list[Diagnostic]) -> dict[str, GivenValue]:
    values: dict[str, GivenValue] = {}
    for item in entity.items:
        if isinstance(item, tree.Given):
            take(item, entity, values, names, faults)
    return values


def take(
    item: tree.Given,
    entity: tree.Entity,
    values: dict[str, GivenValue],
    names: Names,
    faults: list[Diagnostic],
) -> None:
    """Check one given value and add it to ``values``."""
    name = item.name.text
    quantity = names.quantities.get(name)
    if quantity is None:
        if name not in names.failed:
            faults.append(_unknown(item, entity, names))
            # What is wrong with the value has another cause.
            amount_of(item.value, faults)
    elif quantity.owner != entity.kind:
        faults.append(diagnose("M220", item.name.span, name=name, owner=quantity.owner, kind=entity.kind))
        amount_of(item.value, faults)
    elif name in values:
        related = [Related(values[name].span, "first given here")]
        faults.append(diagnose("M211", item.name.span, name=name, related=related))
    else:
        value = _value(item, entity, quantity, faults)
        if value is not None:
            values[name] = value


def _unknown(item: tree.Given, entity: tree.Entity, names: Names) -> Diagnostic:
    name = item.name.text
    kind = names.kinds.get(name)
    if kind == "let":
        what = f"derived by law {listed((let.law for let in names.lets[name]), 'and')}"
        advice = "leave it out; to give it instead, declare it with quantity"
        return diagnose("M245", item.name.span, name=name, what=what, advice=advice)
    if kind is not None:
        advice = "write it in a profile" if kind == "setting" else "write it in a profile, with 'at most' or 'at least'"
        return diagnose("M245", item.name.span, name=name, what=f"a {kind}", advice=advice)
    mine = [q.name for q in names.quantities.values() if q.owner == entity.kind]
    if entity.kind == "profile":
        mine += list(names.settings)

    def meant(other: str) -> bool:
        """Tell whether the value suits another name, which may be given and is not yet."""
        if other in names.settings and not names.settings[other].given:
            return False
        given = any(isinstance(i, tree.Given) and i.name.text == other for i in entity.items)
        return not given and takes(item.value, names.dimension(other))

    what = "settings" if entity.kind == "profile" else "quantities"
    otherwise = (
        f"meltwright library {what} lists the names that the library has; check that the file that declares it is "
        "used, or declare it with quantity"
    )
    return diagnose("M214", item.name.span, name=brief(name), **suggest(name, item.name.span, mine, otherwise, meant))


def takes(value: tree.Value, wanted: Dimension | Iterable[str] | None) -> bool:
    """Tell whether a value is one of the words that are wanted, or has the dimension that is."""
    if isinstance(value, tree.Word):
        return wanted is not None and not isinstance(wanted, Dimension) and value.text in wanted
    amount = amount_of(value, [])
    return amount is not None and amount.unit.dimension == wanted


def _value(
    item: tree.Given, entity: tree.Entity, quantity: QuantityDecl, faults: list[Diagnostic]
) -> GivenValue | None:
    if item.evidence is None and entity.name.span.file.startswith(LIBRARY):
        fix = put_in(item.span, ' assumed "..."', "say how it is known")
        faults.append(diagnose("M223", item.span, name=quantity.name, fixes=[fix]))
    if isinstance(item.value, tree.Word):
        if not quantity.words:
            advice = in_unit(quantity.dimension) if quantity.dimension else "write a number"
            faults.append(_wrong_sort(item, quantity.name, "a number", f"the word {item.value.text}", advice))
            return None
        if item.value.text not in quantity.words:
            faults.append(unknown_word(item.value.text, quantity.name, quantity.words, item.value))
            return None
        return _given(item, entity, None, item.value.text)
    if quantity.dimension is None:
        advice = f"write {listed(quantity.words)}"
        faults.append(_wrong_sort(item, quantity.name, "a word", text_of(item.value), advice))
        return None
    amount = checked_amount(item.value, quantity, faults)
    return _given(item, entity, amount, "") if amount is not None else None


def _given(item: tree.Given, entity: tree.Entity, amount: Amount | None, word: str) -> GivenValue:
    evidence = _evidence(item.evidence.kind, item.evidence.text.text) if item.evidence else NOT_GIVEN
    return GivenValue(item.name.text, amount, word, evidence, entity.name.text, item.span)


@lru_cache(maxsize=4096)
def _evidence(kind: str, text: str) -> Evidence:
    """Make evidence; what many values are known by is one object."""
    return Evidence(kind, text)


def _wrong_sort(item: tree.Given, name: str, wanted: str, found: str, advice: str) -> Diagnostic:
    return diagnose("M232", item.value.span, name=name, wanted=wanted, found=found, advice=advice)


def checked_amount(value: tree.Value, quantity: QuantityDecl, faults: list[Diagnostic]) -> Amount | None:
    """Convert a value and check its dimension and that it is believable."""
    amount = amount_in(value, quantity.dimension, faults)
    if amount is None or quantity.dimension is None:
        return None
    if amount.unit.dimension != quantity.dimension:
        fault = mismatch(quantity.name, quantity.dimension, amount, value.span)
        if fault.fixes and not _believable_in(value, quantity):
            fault = replace(fault, help=in_unit(quantity.dimension), fixes=())
        faults.append(fault)
        return None
    if not in_ranges(quantity, amount.low, amount.high, amount.unit):
        related = [Related(quantity.span, "declared here")]
        facts: dict[str, Any] = {"value": amount.text, "name": quantity.name, "range": shown_ranges(quantity)}
        better = believable(value, lambda a: _fits(a, quantity), [unit for _, _, unit in quantity.ranges])
        if better:
            facts["help"] = f"check the number and its unit; {listed(better)} would be believable"
        fixes = [write_for(value.span, amount.text, text) for text in better]
        faults.append(diagnose("M222", value.span, related=related, fixes=fixes, **facts))
        return None
    return amount


def _believable_in(value: tree.Value, quantity: QuantityDecl) -> bool:
    """Tell whether a number of another dimension, or of none, would be believable in the quantity's own unit."""
    if not isinstance(value, tree.Exact) or quantity.dimension is None:
        return True
    unit = example_unit(quantity.dimension)
    amount = amount_of(tree.Exact(tree.Number(value.number.digits, unit)), [])
    return amount is not None and _fits(amount, quantity)


def _fits(amount: Amount, quantity: QuantityDecl) -> bool:
    same = amount.unit.dimension == quantity.dimension
    return same and in_ranges(quantity, amount.low, amount.high, amount.unit)


def shown_ranges(quantity: QuantityDecl) -> str:
    """Write the believable ranges of a quantity."""
    from .units import from_base

    parts: Iterable[str] = (
        f"{from_base(low, unit):.6g} .. {from_base(high, unit):.6g} {unit.symbol}".rstrip()
        for low, high, unit in quantity.ranges
    )
    shown = " or ".join(parts)
    return shown if quantity.dimension != HARDNESS or shown else "a reading on a hardness scale"
