"""How numbers are shown: the unit that the trade uses for each dimension, and few but enough digits."""

import math
from decimal import Decimal
from functools import cache, lru_cache

from .units import (
    HARDNESS,
    NUMBER,
    TEMPERATURE_POINT,
    UNITLESS,
    Dimension,
    Unit,
    coherent_unit,
    from_base,
    parse_unit,
)

MOST_KEPT = 20_000
"""Numbers whose texts are kept: many are the same on many machines."""

_TRADE = (
    "mm", "mm/s", "mm/s2", "mm3/s", "s", "1/s", "g", "N", "MPa", "W", "J", "g/cm3", "Pa*s", "K", "J/kg/K", "W/m/K",
    "mm2/s", "kJ/mol", "kJ/kg", "W/m2/K", "N/mm", "g/min", "1/K", "N*mm", "mm/MPa", "1/MPa",
)  # fmt: skip


@cache
def _table() -> dict[Dimension, Unit]:
    table = {NUMBER: UNITLESS, TEMPERATURE_POINT: parse_unit("degC")}
    for text in _TRADE:
        unit = parse_unit(text)
        table.setdefault(unit.dimension, unit)
    length = parse_unit("mm").dimension
    power = length
    for exponent in range(2, 7):
        power = power.times(length)
        table.setdefault(power, parse_unit(f"mm{exponent}"))
    return table


@cache
def trade_unit(dimension: Dimension) -> Unit:
    """Give the unit in which a derived quantity is shown."""
    return _table().get(dimension) or coherent_unit(dimension)


def shown(value: float, unit: Unit, digits: int = 4) -> str:
    """Write a number in base units in ``unit``, without the unit."""
    return _shortly(value, unit.factor, unit.offset, digits) or rounded(from_base(value, unit), digits)


@lru_cache(maxsize=MOST_KEPT)
def _shortly(value: float, factor: float, offset: float, digits: int) -> str:
    """Write a number as ``shown`` does, without its exact quotient; an empty text where that is needed.

    Few digits seldom need it: where both ends of the rounding error look alike, so does what lies between them.
    """
    near = (value - offset) / factor
    error = 1e-15 * (abs(value) + abs(offset)) / factor
    low, high = near - error, near + error
    if (low > _SMALL and high < _LARGE) or (low > -_LARGE and high < -_SMALL):
        text = _written(low, digits)
        return text if text == _written(high, digits) else ""
    return "" if value or offset else "0"


_SMALL, _LARGE = 2e-12, 9e6


def rounded(number: float, digits: int = 4) -> str:
    """Write a number with so many significant digits, without needless zeros or signs."""
    if not math.isfinite(number):
        return "unbounded"
    if number == 0 or abs(number) < 1e-12:
        return "0"
    return _written(number, digits)


def _written(number: float, digits: int) -> str:
    text = "%.*g" % (digits, number)  # noqa: UP031 (faster than a format string)
    if "e" not in text:
        return text
    if 10**digits <= abs(number) < 1e7:
        return f"{number:.0f}"
    mantissa, exponent = text.split("e")
    return f"{mantissa}e{int(exponent)}"


def with_unit(value: float, unit: Unit, digits: int = 4) -> str:
    """Write a number in base units in ``unit``, with the unit."""
    text = shown(value, unit, digits)
    return f"{text} {unit.symbol}" if unit.symbol else text


def unit_for(dimension: Dimension, hint: Unit | None = None) -> Unit:
    """Give the unit to show a value in: that in which it was written, else the trade's."""
    if hint is not None and hint.dimension == dimension:
        return hint
    if dimension == HARDNESS:
        return UNITLESS
    return trade_unit(dimension)


def plain(number: Decimal) -> str:
    """Write a number without exponent and without needless zeros."""
    text = f"{number:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
