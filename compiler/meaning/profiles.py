"""Profiles: what they name, give, want, prefer and pin, checked and inherited."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Edit, Fix, Related, diagnose
from ..text.fixing import put_in, write_for
from ..text.joining import listed
from .declaring import listed_twice
from .entities import lineage, replacing, take, takes, unknown_entity
from .laws import Names, unknown_word
from .loading import LIBRARY
from .memory import Memory
from .model import (
    EntityDecl,
    GivenValue,
    GradeDecl,
    MeritDecl,
    PinDecl,
    ProfileDecl,
    WantDecl,
)
from .near import brief, suggest
from .pinning import not_a_setting, pin_of
from .units import Dimension
from .valuing import amount_in, amount_of, base_of, in_unit, mismatch, text_of, unit_of

DEFAULT_SHARE = 0.02
"""How much of an earlier merit a later one may cost where the author does not say."""


_T = TypeVar("_T", tree.UsesMaterial, tree.UsesMachines, tree.Prefer)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What profiles may refer to."""

    names: Names
    grades: Mapping[str, GradeDecl]
    merits: Mapping[str, MeritDecl]
    materials: Mapping[str, EntityDecl]
    machines: Mapping[str, EntityDecl]
    dimensions: Mapping[str, Dimension]

    def told(self, name: str) -> object:
        """Tell all that a check of a profile reads of a name."""
        declared = self.names.settings.get(name), self.grades.get(name), self.dimensions.get(name)
        grade = declared[1]
        graded = self.dimensions.get(grade.quantity) if grade else None
        known = name in self.materials, name in self.machines, name in self.merits
        return self.names.told(name), declared, graded, known


@dataclass(slots=True)
class _Draft:
    """The own items of one profile, sorted; a later profile in the line overrides part by part."""

    material: tree.UsesMaterial | None = None
    machines: tree.UsesMachines | None = None
    prefer: tree.Prefer | None = None
    values: dict[str, GivenValue] = field(default_factory=dict)
    pins: dict[str, PinDecl] = field(default_factory=dict)
    wants: dict[tuple[str, str], WantDecl] = field(default_factory=dict)
    share: float | None = None


def resolve_profiles(
    entities: Mapping[str, tree.Entity], around: Surroundings, faults: list[Diagnostic], memory: Memory
) -> dict[str, ProfileDecl]:
    """Resolve all profiles."""
    told = cache(around.told)

    def draft(entity: tree.Entity, own: list[Diagnostic]) -> _Draft:
        return _draft(entity, around, own)

    drafts = {name: memory.recall(e, draft, faults, told) for name, e in entities.items()}
    resolved = {}
    for name, entity in entities.items():
        whole = _Draft()
        for ancestor in reversed(lineage(entity, entities, faults)):
            own = drafts[ancestor]
            whole.material = own.material or whole.material
            whole.machines = own.machines or whole.machines
            whole.prefer = own.prefer or whole.prefer
            whole.share = whole.share if own.share is None else own.share
            whole.values |= {k: replacing(v, whole.values.get(k)) for k, v in own.values.items()}
            whole.pins |= own.pins
            whole.wants |= own.wants
        profile = _profile(entity, whole, around, faults)
        if profile is not None:
            resolved[name] = profile
    return resolved


def _profile(entity: tree.Entity, draft: _Draft, around: Surroundings, faults: list[Diagnostic]) -> ProfileDecl | None:
    name = entity.name.text
    parts = (("material", draft.material, around.materials), ("machines", draft.machines, around.machines))
    for part, found, known in parts:
        if found is None:
            advice = f"add a line: {part} {_likely(known)}"
            if not known:
                advice = f"define one with {part.removesuffix('s')} NAME {{ ... }}, and name it here: {part} NAME"
            line = f"{part} {_likely(known)}"
            fixes = [put_in(entity.span, f"\n  {line}", f"add: {line}")] if known else []
            faults.append(diagnose("M402", entity.name.span, name=name, part=part, advice=advice, fixes=fixes))
    if draft.material is None or draft.machines is None:
        return None
    return ProfileDecl(
        name,
        draft.material.name.text,
        tuple(dict.fromkeys(draft.machines.names)),
        draft.values,
        draft.pins,
        tuple(draft.wants.values()),
        draft.prefer.names if draft.prefer else (),
        DEFAULT_SHARE if draft.share is None else draft.share,
        entity.name.span,
    )


def _likely(known: Mapping[str, EntityDecl]) -> str:
    """Name an entity for an example: one that the author wrote himself where there is one."""
    own = [n for n, e in known.items() if not e.span.file.startswith(LIBRARY)]
    return next(iter(own or known), "NAME")


def _draft(entity: tree.Entity, around: Surroundings, faults: list[Diagnostic]) -> _Draft:
    draft = _Draft()
    for item in entity.items:
        match item:
            case tree.UsesMaterial():
                draft.material = _once(draft.material, item, "material line", faults)
                _known(item.name, "material", around.materials, faults)
            case tree.UsesMachines():
                draft.machines = _once(draft.machines, item, "machines line", faults)
                listed_twice(item.names, faults)
                for machine in item.names:
                    _known(machine, "machine", around.machines, faults)
            case tree.Prefer():
                draft.prefer = _once(draft.prefer, item, "prefer line", faults)
                draft.share = _share(item, faults)
                listed_twice(item.names, faults)
                for merit in item.names:
                    if merit.text not in around.merits and merit.text not in around.names.failed:
                        known = f"the merits are: {listed(around.merits, 'and')}" if around.merits else ""
                        otherwise = known or "declare it: merit NAME = FORMULA"
                        hint = suggest(merit.text, merit.span, around.merits, otherwise)
                        faults.append(diagnose("M237", merit.span, name=brief(merit.text), **hint))
            case tree.Want():
                _want(item, draft, around, faults)
            case tree.Pin():
                _pin(item, item.reason.text if item.reason else "", draft, around, faults)
            case tree.Given():
                _given(item, entity, draft, around, faults)
    return draft


def _once(first: _T | None, item: _T, part: str, faults: list[Diagnostic]) -> _T:
    if first is None:
        return item
    related = [Related(first.span, "first said here")]
    faults.append(diagnose("M226", item.span, part=part, related=related))
    return first


def _known(name: tree.Name, kind: str, known: Mapping[str, EntityDecl], faults: list[Diagnostic]) -> None:
    if name.text not in known:
        faults.append(unknown_entity(name, kind, known))


def _share(item: tree.Prefer, faults: list[Diagnostic]) -> float | None:
    if item.giving is None:
        return None
    unit = unit_of(item.giving, faults)
    share = base_of(item.giving, unit, faults) if unit else None
    if unit is None or share is None:
        return None
    if unit.symbol != "%" or not 0 <= share <= 1:
        found = f"{item.giving.digits} {item.giving.unit}".rstrip()
        fix = write_for(item.giving.span, found, f"{item.giving.digits} %")
        fixes = [fix] if unit.symbol != "%" and 0 <= float(item.giving.digits) <= 100 else []
        faults.append(diagnose("M238", item.giving.span, found=found, fixes=fixes))
        return None
    return share


def _given(
    item: tree.Given, entity: tree.Entity, draft: _Draft, around: Surroundings, faults: list[Diagnostic]
) -> None:
    name = item.name.text
    setting = around.names.settings.get(name)
    if setting is None:
        kind = around.names.kinds.get(name, "")
        if not kind and _names_entity(item, draft, around, faults):
            return
        if kind in ("grade", "merit", "let"):
            value = text_of(item.value)
            what = f"derived by law {around.names.lets[name][0].law}" if kind == "let" else f"a {kind}"
            grade = around.grades.get(name)
            bounds = ("least", "most") if grade is not None and grade.more_is_better else ("most", "least")
            advice = "bound it: " + ", or: ".join(f"{name} at {bound} {value}" for bound in bounds)
            fixes = [put_in(item.name.span, f" at {b}", f"write {name} at {b} {value}") for b in bounds]
            fixes = fixes if item.evidence is None else []
            faults.append(diagnose("M245", item.name.span, name=name, what=what, advice=advice, fixes=fixes))
            amount_of(item.value, faults)
        else:
            take(item, entity, draft.values, around.names, faults)
    elif not setting.given:
        line = f'pin {name} = {text_of(item.value)} because "..."'
        fix = write_for(item.span, f"{name} {text_of(item.value)}", line)
        faults.append(diagnose("M235", item.name.span, name=name, value=text_of(item.value), fixes=[fix]))
        amount_in(item.value, setting.dimension, faults)
    else:
        _pin(tree.Pin(item.name, item.value, None, item.span), None, draft, around, faults)


def _names_entity(item: tree.Given, draft: _Draft, around: Surroundings, faults: list[Diagnostic]) -> bool:
    """Take a line as the one that names the material or machine where its value is one; report its first word."""
    if not isinstance(item.value, tree.Word):
        return False
    named, value = tree.Name(item.value.text, item.value.span), item.value.text
    if draft.material is None and value in around.materials:
        word, draft.material = "material", tree.UsesMaterial(named, item.span)
    elif draft.machines is None and value in around.machines:
        word, draft.machines = "machines", tree.UsesMachines((named,), item.span)
    else:
        return False
    hint = suggest(item.name.text, item.name.span, [word], f"write: {word} {value}")
    fixes = hint["fixes"] or [write_for(item.name.span, item.name.text, word)]
    faults.append(diagnose("M214", item.name.span, name=brief(item.name.text), near=hint["near"], fixes=fixes))
    return True


def _pin(item: tree.Pin, reason: str | None, draft: _Draft, around: Surroundings, faults: list[Diagnostic]) -> None:
    """Take a pin; ``reason`` is None for a setting that is declared ``given`` and needs none."""
    name = item.name.text
    setting = around.names.settings.get(name)
    if setting is None:
        if name not in around.names.failed:
            faults.append(not_a_setting(item, around.names))
            # What is wrong with the value has another cause.
            amount_of(item.value, faults)
        return
    if name in draft.pins:
        related = [Related(draft.pins[name].span, "first fixed here")]
        faults.append(diagnose("M411", item.name.span, name=name, related=related))
        return
    if reason == "":
        fix = put_in(item.span, ' because "..."', "say why it is pinned")
        faults.append(diagnose("M236", item.span, pin=f"pin {name} = {text_of(item.value)}", fixes=[fix]))
    line = "{name} {value}" if reason is None else 'pin {name} = {value} because "..."'
    pin = pin_of(item, reason or "", setting, line, faults)
    if pin is not None:
        draft.pins[name] = pin


def _want(item: tree.Want, draft: _Draft, around: Surroundings, faults: list[Diagnostic]) -> None:
    name = item.name.text
    grade = around.grades.get(name)
    wanted = around.dimensions.get(grade.quantity if grade else name)
    text = f"{name} at {item.bound} {text_of(item.value)}"
    kind = around.names.kinds.get(name)
    if kind == "failed" or (kind == "grade" and grade is None):
        return
    if kind in (None, "word") or (kind == "quantity" and name not in around.names.lets):
        _unknown_want(item, around, faults)
        return
    if (name, item.bound) in draft.wants:
        related = [Related(draft.wants[name, item.bound].span, "first said here")]
        faults.append(diagnose("M226", item.span, part="want", related=related))
        return
    word, amount = "", None
    if isinstance(item.value, tree.Word):
        words = [b.name for b in grade.bands] if grade else []
        if item.value.text not in words:
            if grade is None:
                advice = in_unit(wanted) if wanted is not None else "write a number and its unit"
                found = f"the word {brief(item.value.text)}"
                fault = diagnose("M232", item.value.span, name=name, wanted="a number", found=found, advice=advice)
                faults.append(fault)
            else:
                faults.append(unknown_word(item.value.text, name, words, item.value))
            return
        word = item.value.text
    else:
        amount = amount_in(item.value, wanted, faults)
        if amount is None:
            return
        if not isinstance(item.value, tree.Exact):
            advice = f"write 'at least' the one end and 'at most' the other, in two lines of {name}"
            facts: dict[str, Any] = {
                "name": f"a bound of {name}",
                "wanted": "one number",
                "found": f"the range {amount.text}",
            }
            faults.append(diagnose("M232", item.value.span, advice=advice, fixes=_two_bounds(item), **facts))
            return
        if wanted is not None and amount.unit.dimension != wanted:
            faults.append(mismatch(name, wanted, amount, item.value.span))
            return
    draft.wants[name, item.bound] = WantDecl(name, item.bound, word, amount, item.soft, text, item.span)


def _two_bounds(item: tree.Want) -> list[Fix]:
    """Write a want between two values as two wants."""
    if not isinstance(item.value, tree.Range):
        return []
    low, high = item.value.low, item.value.high
    ends = (("least", low if low.unit else replace(low, unit=high.unit)), ("most", high))
    soft = " if possible" if item.soft else ""
    lines = [f"{item.name.text} at {bound} {text_of(tree.Exact(number))}{soft}" for bound, number in ends]
    return [Fix(f"write two lines: {lines[0]}, and: {lines[1]}", (Edit(item.span, "\n  ".join(lines)),))]


def _unknown_want(item: tree.Want, around: Surroundings, faults: list[Diagnostic]) -> None:
    name = item.name.text
    if name in around.names.quantities:
        owner = around.names.quantities[name].owner
        faults.append(diagnose("M233", item.name.span, name=name, owner=owner))
        return
    known = [*around.grades, *around.merits, *around.names.lets, *around.names.settings]
    otherwise = "want a grade, a merit, a derived quantity or a setting"
    hint = suggest(name, item.name.span, known, otherwise, lambda n: _can_be(item.value, n, around))
    faults.append(diagnose("M214", item.name.span, name=brief(name), **hint))
    # What is wrong with the value has another cause.
    amount_of(item.value, faults)


def _can_be(value: tree.Value, name: str, around: Surroundings) -> bool:
    """Tell whether a name can be wanted to be at most or at least this value."""
    grade = around.grades.get(name)
    if isinstance(value, tree.Word):
        return grade is not None and value.text in {b.name for b in grade.bands}
    return takes(value, around.dimensions.get(grade.quantity if grade else name))
