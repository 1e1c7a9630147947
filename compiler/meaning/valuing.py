"""From written values to amounts in base units."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Fix, diagnose
from ..text.fixing import put_in, write_for
from ..text.joining import listed
from ..text.source import Span
from .display import plain, trade_unit
from .foreign_units import told
from .model import Amount
from .near import brief
from .units import (
    HARDNESS,
    NUMBER,
    TEMPERATURE_DIFFERENCE,
    TEMPERATURE_POINT,
    UNITLESS,
    UNITS,
    Dimension,
    Unit,
    UnknownUnit,
    describe,
    difference_unit,
    is_spelling_of,
    parse_unit,
    to_base_text,
    with_article,
)

MOST_DIGITS = 40
"""Characters of the longest number before its exponent."""
MOST_EXPONENT = 200
"""Size of the largest exponent of ten that may be written."""
_SHARES = "%"


def unit_of(number: tree.Number, faults: list[Diagnostic]) -> Unit | None:
    """Give the unit of a number, or report that there is none of that name."""
    if not number.unit:
        return UNITLESS
    try:
        return parse_unit(number.unit)
    except UnknownUnit as error:
        known = [s for s in error.suggestions if s]
        part = error.part or number.unit
        foreign = told(part)
        if foreign:
            # Another unit after the same number would be another value.
            faults.append(diagnose("M215", number.unit_span, unit=part, near=foreign))
            return None
        fixes = _unit_fixes(number, part, known)
        # Of a unit in parts the whole is told, so that it can be written as it stands.
        whole = [fix.edits[0].text for fix in fixes] or known
        advice = f"did you mean {' or '.join(whole)}?" if known else "grammar/README.md lists how units are written"
        faults.append(diagnose("M215", number.unit_span, unit=part, near=advice, fixes=fixes))
        return None


def _unit_fixes(number: tree.Number, part: str, known: Sequence[str]) -> list[Fix]:
    """Write each suggestion for the part at fault; safe where one alone is just another spelling of it."""
    safe = len(known) == 1 and is_spelling_of(part, known[0])
    wholes = [number.unit.replace(part, symbol, 1) for symbol in known]
    return [write_for(number.unit_span, number.unit, w, safe) for w in wholes if _dimension_of(w) is not None]


def _dimension_of(unit: str) -> Dimension | None:
    try:
        return parse_unit(unit).dimension
    except UnknownUnit:
        return None


def amount_in(value: tree.Value, wanted: Dimension | None, faults: list[Diagnostic]) -> Amount | None:
    """Convert a value as ``amount_of`` does; a unit that is put right must be of the dimension that is ``wanted``."""
    found: list[Diagnostic] = []
    amount = amount_of(value, found)
    faults += [f if wanted is None else _fitted(f, wanted, value) for f in found]
    return amount


def _fitted(fault: Diagnostic, wanted: Dimension, value: tree.Value) -> Diagnostic:
    """Put fixes first that write a unit of the dimension that is wanted; no other is safe.

    Where none of the units that look alike is one, those of that dimension are looked through.
    """
    if fault.code == "M302":
        return replace(fault, fixes=tuple(f for f in fault.fixes if _dimension_of(f.edits[0].text) in (wanted, None)))
    if fault.code != "M215" or fault.help.startswith("write it in "):
        return fault
    possible = {wanted, TEMPERATURE_DIFFERENCE if wanted == TEMPERATURE_POINT else wanted}
    good = [f for f in fault.fixes if _dimension_of(f.edits[0].text) in possible]
    if good:
        others = [replace(f, safe=False) for f in fault.fixes if f not in good]
        return replace(fault, fixes=(*good, *others))
    written = next((n.unit for n in _numbers(value) if n.unit_span == fault.span), "")
    close = _like(written, [symbol for symbol, unit in UNITS.items() if unit.dimension in possible])
    if close:
        fixes = tuple(write_for(fault.span, written, symbol) for symbol in close)
        return replace(fault, help=f"did you mean {listed(close)}?", fixes=fixes)
    return replace(fault, fixes=tuple(replace(f, safe=False) for f in fault.fixes))


def _numbers(value: tree.Value) -> tuple[tree.Number, ...]:
    match value:
        case tree.Exact():
            return (value.number,)
        case tree.Spread():
            return value.number, value.tolerance
        case tree.Range():
            return value.low, value.high
    return ()


def _like(written: str, symbols: Sequence[str]) -> list[str]:
    from difflib import get_close_matches

    return get_close_matches(written, symbols, n=2, cutoff=0.75)


def base_of(number: tree.Number, unit: Unit, faults: list[Diagnostic]) -> float | None:
    """Convert a number to base units; report one that no double can hold."""
    value = _finite(number, unit)
    if value is None:
        faults.append(diagnose("M119", number.span, number=brief(number.digits)))
    return value


def _finite(number: tree.Number, unit: Unit) -> float | None:
    mantissa, _, exponent = number.digits.lower().partition("e")
    if len(mantissa) > MOST_DIGITS or len(exponent) > 5 or abs(int(exponent or "0")) > MOST_EXPONENT:
        return None
    try:
        return to_base_text(number.digits, unit)
    except OverflowError:
        return None


def amount_of(value: tree.Value, faults: list[Diagnostic]) -> Amount | None:
    """Convert a written value; words and faults give None (faults are reported, words are not)."""
    if isinstance(value, tree.Word):
        return None
    # Many values are written alike; only those at fault have to be looked at in their own place.
    return _sound(value) or _amount(value, faults)


@lru_cache(maxsize=8192)
def _sound(value: tree.Exact | tree.Spread | tree.Range) -> Amount | None:
    """Convert a value that has no fault, whatever its place."""
    faults: list[Diagnostic] = []
    amount = _amount(value, faults)
    return amount if not faults else None


def _amount(value: tree.Exact | tree.Spread | tree.Range, faults: list[Diagnostic]) -> Amount | None:
    if isinstance(value, tree.Exact):
        unit = unit_of(value.number, faults)
        stated = base_of(value.number, unit, faults) if unit else None
        if unit is None or stated is None:
            return None
        return Amount(stated, stated, stated, unit, text_of(value))
    if isinstance(value, tree.Range):
        return _range(value, faults)
    return _spread(value, faults)


def _range(value: tree.Range, faults: list[Diagnostic]) -> Amount | None:
    unit = unit_of(value.high, faults)
    low_unit = unit_of(value.low, faults) if value.low.unit else unit
    if unit is None or low_unit is None:
        return None
    if low_unit.dimension != unit.dimension or low_unit.scale != unit.scale:
        left, right = (_kind_of(u) for u in (low_unit, unit))
        facts: dict[str, Any] = {"left": left, "right": right, "verb": "the ends of one range"}
        units = [(value.low, value.high.unit), (value.high, value.low.unit)]
        fixes = [write_for(n.unit_span, n.unit, u) for n, u in units if n.unit and u]
        faults.append(diagnose("M302", value.span, advice="write both ends in one unit", fixes=fixes, **facts))
        return None
    low, high = base_of(value.low, low_unit, faults), base_of(value.high, unit, faults)
    if low is None or high is None:
        return None
    if low > high:
        turned = f"{_plain(value.high)} .. {_plain(value.low)}"
        if not value.low.unit:
            turned = f"{value.high.digits} .. {value.low.digits} {value.high.unit}".rstrip()
        facts = {"low": _plain(value.low), "high": _plain(value.high), "turned": turned}
        fix = write_for(value.span, text_of(value), turned, safe=True)
        faults.append(diagnose("M221", value.span, fixes=[fix], **facts))
        return None
    return _bounded(value, low + (high - low) / 2, low, high, unit, faults)


def _spread(value: tree.Spread, faults: list[Diagnostic]) -> Amount | None:
    number, tolerance = value.number, value.tolerance
    if tolerance.unit == _SHARES and not number.unit:
        faults.append(_two_readings(value))
        return None
    relative = tolerance.unit == _SHARES and number.unit != _SHARES
    bare = not number.unit
    unit = unit_of(tolerance if bare else number, faults)
    if unit is None:
        return None
    stated = base_of(number, unit, faults)
    if stated is None:
        return None
    if tolerance.digits.startswith("-"):
        whole = brief(_plain(tolerance))
        fix = write_for(tolerance.span, whole, _plain(tolerance).lstrip("-"), safe=True)
        faults.append(diagnose("M224", tolerance.span, help=fix.title, fixes=[fix]))
        return None
    tolerance_unit = unit if not tolerance.unit or bare else unit_of(tolerance, faults)
    if tolerance_unit is None:
        return None
    tolerance_unit = difference_unit(tolerance_unit)
    width = base_of(tolerance, tolerance_unit, faults)
    if width is None:
        return None
    if relative:
        width = abs(stated) * width if unit.dimension.kind == "plain" else None
    elif tolerance_unit.dimension != difference_unit(unit).dimension or tolerance_unit.scale != unit.scale:
        width = None
    if width is None:
        found = "a tolerance in per cent" if relative else f"a tolerance that is {_kind_of(tolerance_unit)}"
        symbol = difference_unit(unit).symbol
        advice = f"give the tolerance in {symbol}" if symbol else "leave its unit away"
        facts: dict[str, Any] = {"left": _kind_of(unit), "right": found, "verb": "combined"}
        if not relative:
            # A share is another number in any unit, so only a wrong unit can be put right.
            better = f"{tolerance.digits} {symbol}".rstrip()
            advice = f"{advice}: {brief(better)}"
            facts["fixes"] = [write_for(tolerance.span, _plain(tolerance), better)]
        faults.append(diagnose("M302", tolerance.span, advice=advice, **facts))
        return None
    return _bounded(value, stated, stated - width, stated + width, unit, faults)


def _two_readings(value: tree.Spread) -> Diagnostic:
    """Report ``50 ± 5 %``: the sign may stand for both numbers, or for a share of the first."""
    number, tolerance = value.number.digits, value.tolerance.digits
    readings = [f"{number} % ± {tolerance} %"]
    if _finite(value.number, UNITLESS) is not None and _finite(value.tolerance, UNITLESS) is not None:
        readings.append(f"{number} ± {float(number) * float(tolerance) / 100:.6g}")
    written = text_of(value)
    fixes = [write_for(value.span, written, reading) for reading in readings]
    return diagnose("M247", value.span, value=brief(written), readings=", or ".join(readings), fixes=fixes)


def _bounded(
    value: tree.Spread | tree.Range, stated: float, low: float, high: float, unit: Unit, faults: list[Diagnostic]
) -> Amount | None:
    """Make an amount of ends that no double may be too small for."""
    if not math.isfinite(low) or not math.isfinite(high) or not math.isfinite(stated):
        faults.append(diagnose("M119", value.span, number="the end of this range"))
        return None
    return Amount(stated, low, high, unit, text_of(value))


def _kind_of(unit: Unit) -> str:
    return f"a reading in {unit.symbol}" if unit.scale else with_article(unit.dimension)


def _plain(number: tree.Number) -> str:
    return f"{number.digits} {number.unit}".rstrip()


def text_of(value: tree.Value) -> str:
    """Write a value in one way, whatever the spaces of the text were."""
    if isinstance(value, tree.Word):
        return value.text
    if isinstance(value, tree.Exact):
        return _plain(value.number)
    if isinstance(value, tree.Range):
        return f"{_plain(value.low)} .. {_plain(value.high)}"
    return f"{_plain(value.number)} ± {_plain(value.tolerance)}"


def believable(value: tree.Value, fits: Callable[[Amount], bool], units: Sequence[Unit]) -> list[str]:
    """Give what may have been meant by a number that is not believable: other units, or another decimal point."""
    if not isinstance(value, tree.Exact) or "e" in value.number.digits.lower():
        return []
    number = value.number
    found = [replace(number, unit=unit.symbol) for unit in units if unit.symbol != number.unit]
    shifted = [plain(Decimal(number.digits).scaleb(places)) for places in (-1, 1, -2, 2)]
    found += [replace(number, digits=digits) for digits in shifted]
    amounts = [(n, amount_of(tree.Exact(n), [])) for n in found]
    return [_plain(n) for n, a in amounts if a is not None and fits(a)][:2]


def mismatch(name: str, wanted: Dimension, amount: Amount, span: Span, advice: str = "") -> Diagnostic:
    """Report an amount of the wrong dimension."""
    found, wanted_text = with_article(amount.unit.dimension), with_article(wanted)
    facts: dict[str, Any] = {"name": name, "wanted": wanted_text, "found": found, "found_text": amount.text}
    symbol, own = example_unit(wanted), amount.unit.symbol
    fixes: list[Fix] = []
    if not own and not advice and symbol:
        advice = f"write its unit too: {amount.text} {symbol}"
        fixes = [put_in(span, f" {symbol}", f"write {amount.text} {symbol} for {amount.text}")]
    elif own and amount.text.count(own) == 1 and amount.text.endswith(own):
        other = f"{amount.text.removesuffix(own)}{symbol}".rstrip()
        fixes = [write_for(span, amount.text, other)]
    return diagnose("M301", span, advice=advice or in_unit(wanted), fixes=fixes, **facts)


def in_unit(dimension: Dimension) -> str:
    """Say how values of a dimension are written."""
    if dimension == NUMBER:
        return "write it without a unit, or in %"
    if dimension == TEMPERATURE_POINT:
        return "write it in degC; K is for differences"
    if dimension == HARDNESS:
        return "write it in shore_a or shore_d"
    return f"write it in {example_unit(dimension)}, or in another unit of {describe(dimension)}"


def example_unit(dimension: Dimension) -> str:
    """Give a unit in which a value of a dimension can be written."""
    if dimension == HARDNESS:
        return "shore_a"
    return trade_unit(dimension).symbol
