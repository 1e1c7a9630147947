"""What was typed, read as a value of the language; mistakes are told as in a file, at their place in what was typed."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ..meaning.display import shown
from ..meaning.entities import take
from ..meaning.laws import Names
from ..meaning.model import GivenValue, Model, QuantityDecl
from ..meaning.units import parse_unit
from ..syntax import tree
from ..syntax.reading import read
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source, Span

_ENDS = re.compile(r"[\r\n\v\f\x1c-\x1e\x85\u2028\u2029]")
_EQUALS = re.compile(r"\s*([A-Za-z_][\w.]*)\s*(=)")


@dataclass(frozen=True, slots=True)
class Typed:
    """A text that was typed, and where it stands in what a diagnostic shows."""

    text: str
    file: str
    start: int = 0


@dataclass(frozen=True, slots=True)
class Taken:
    """A value that was understood, and a note on how it was, where that is not plain."""

    given: GivenValue
    note: str = ""


def one_line(text: str) -> str:
    """Turn all that ends a line into spaces, and what is no character into a question mark."""
    return _ENDS.sub(" ", text.encode("utf-8", "replace").decode("utf-8"))


def typed_lines(file: str, texts: Sequence[str]) -> tuple[list[Typed], Source]:
    """Place several texts in one source, a line each."""
    lines = [one_line(t) for t in texts]
    starts = [sum(len(line) + 1 for line in lines[:i]) for i in range(len(lines))]
    return [Typed(t, file, s) for t, s in zip(lines, starts, strict=True)], Source(file, Path(file), "\n".join(lines))


def read_named(
    typed: Typed, owner: str, model: Model, faults: list[Diagnostic], typical: Mapping[str, GivenValue]
) -> Taken | None:
    """Read ``NAME = VALUE``, with evidence after it if there is any; a bare number has the unit of what is typical."""
    equals = _EQUALS.match(typed.text)
    if equals is None:
        place = Span(typed.file, typed.start, typed.start + len(typed.text))
        advice = "write a quantity, =, and what is known of it, like: gap = 6 ± 0.5 mm"
        faults.append(diagnose("M806", place, wanted="NAME = VALUE", advice=advice))
        return None
    at = equals.start(2)
    # The language has no sign there; a space keeps all places where they are.
    text = f"{typed.text[:at]} {typed.text[at + 1 :]}"
    known = typical.get(equals[1])
    return _read(replace(typed, text=text), f"{owner} asked {{\n  ", owner, model, faults, unit_of(known))


def read_value(
    typed: Typed, quantity: QuantityDecl, model: Model, faults: list[Diagnostic], before: str = "", hint: str = ""
) -> Taken | None:
    """Read the value of a quantity, with evidence after it if there is any.

    ``before`` is what stands before it, like ``6 mm ±``; ``hint`` the unit of a bare number, else the declared one.
    """
    head = f"{quantity.owner} asked {{\n  {quantity.name} {before} "
    return _read(typed, head, quantity.owner, model, faults, hint)


def _read(typed: Typed, head: str, owner: str, model: Model, faults: list[Diagnostic], hint: str = "") -> Taken | None:
    found: list[Diagnostic] = []
    taken = _understood(typed, head, owner, model, found, hint)

    def moved(span: Span) -> Span:
        if span.file != typed.file:
            return span
        first, last = (min(max(at - len(head), 0), len(typed.text)) + typed.start for at in (span.start, span.end))
        return Span(span.file, first, last)

    faults += [f.placed(moved) for f in found]
    return None if found or taken is None else replace(taken, given=replace(taken.given, span=moved(taken.given.span)))


def _understood(typed: Typed, head: str, owner: str, model: Model, faults: list[Diagnostic], hint: str) -> Taken | None:
    file, found = read(Source(typed.file, Path(typed.file), f"{head}{typed.text}\n}}\n"))
    faults += found
    if found:
        return None
    items = [i for s in file.statements if isinstance(s, tree.Entity) for i in s.items]
    whole = Span(typed.file, len(head), len(head) + len(typed.text))
    if len(file.statements) != 1 or len(items) != 1 or not isinstance(items[0], tree.Given):
        advice = "write a number and its unit, with a tolerance if it has one, or a word of the quantity"
        faults.append(diagnose("M806", whole, wanted="one value", advice=advice))
        return None
    item = items[0]
    quantity = model.quantities.get(item.name.text)
    value = with_unit(item.value, usual_unit(quantity, hint) if quantity is not None else "")
    given = _checked(replace(item, value=value), owner, model, faults)
    if hint == "%" and _bare(item.value):
        share = _checked(replace(item, value=with_unit(item.value, hint)), owner, model, [])
        if given is not None and given.amount is not None:
            return Taken(given, f"{given.text}, that is {shown(given.amount.stated, parse_unit(hint))} %")
        if share is not None:
            faults.clear()
            return Taken(share, f"{share.text}, as no unit was written")
    if given is None:
        return None
    return Taken(given, f"{given.text}, as no unit was written" if value != item.value and _bare(item.value) else "")


def _checked(item: tree.Given, owner: str, model: Model, faults: list[Diagnostic]) -> GivenValue | None:
    """Check a value as one of a material or machine."""
    entity = tree.Entity(owner, tree.Name("asked", item.name.span), None, (), item.span)
    values: dict[str, GivenValue] = {}
    take(item, entity, values, names_of(model), faults)
    return values.get(item.name.text)


def _bare(value: tree.Value) -> bool:
    """Tell whether the number of a value has no unit, in its tolerance neither, but for one in per cent."""
    match value:
        case tree.Exact(number):
            return not number.unit
        case tree.Range(low, high):
            return not low.unit and not high.unit
        case tree.Spread(number, tolerance):
            return not number.unit and tolerance.unit in ("", "%")
    return False


def unit_of(typical: GivenValue | None) -> str:
    """Give the unit of a typical value, where there is one and it has a unit."""
    return typical.amount.unit.symbol if typical is not None and typical.amount is not None else ""


def names_of(model: Model) -> Names:
    """Give the names of a model as the checks want them."""
    others = dict.fromkeys(model.grades, "grade") | dict.fromkeys(model.merits, "merit")
    return Names(model.quantities, model.settings, model.lets, others)


def usual_unit(quantity: QuantityDecl, hint: str = "") -> str:
    """Give the unit of a bare number: that of a typical value, else of the declaration; none for plain numbers."""
    declared = quantity.ranges[0][2].symbol if quantity.ranges else ""
    return (hint or declared) if declared else ""


def with_unit(value: tree.Value, unit: str) -> tree.Value:
    """Give a value its unit where it is written without any, and say a unit of both numbers once, behind them."""
    match value:
        case tree.Exact(number) if not number.unit:
            return replace(value, number=replace(number, unit=unit))
        case tree.Range(low, high) if not low.unit and not high.unit:
            return replace(value, high=replace(high, unit=unit))
        case tree.Spread(number, tolerance) if not number.unit and not tolerance.unit and unit == "%":
            return replace(value, number=replace(number, unit=unit), tolerance=replace(tolerance, unit=unit))
        case tree.Spread(number, tolerance) if not number.unit and not tolerance.unit:
            return replace(value, tolerance=replace(tolerance, unit=unit))
        case tree.Spread(number, tolerance) if not number.unit and tolerance.unit == "%" and unit not in ("", "%"):
            return replace(value, number=replace(number, unit=unit))
        case tree.Spread(number, tolerance) if number.unit not in ("", "%") and tolerance.unit in ("", number.unit):
            return replace(value, number=replace(number, unit=""), tolerance=replace(tolerance, unit=number.unit))
    return value
