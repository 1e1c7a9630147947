"""How numbers are shown: the unit that the trade uses for each dimension, and few but enough digits."""

import math
from functools import cache

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
    return rounded(from_base(value, unit), digits)


def rounded(number: float, digits: int = 4) -> str:
    """Write a number with so many significant digits, without needless zeros or signs."""
    if not math.isfinite(number):
        return "unbounded"
    if number == 0 or abs(number) < 1e-12:
        return "0"
    if abs(number) >= 10**digits and abs(number) < 1e7:
        return f"{number:.0f}"
    text = f"{number:.{digits}g}"
    if "e" in text:
        mantissa, exponent = text.split("e")
        mantissa = mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa
        return f"{mantissa}e{int(exponent)}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_unit(value: float, unit: Unit, digits: int = 4) -> str:
    """Write a number in base units in ``unit``, with the unit."""
    return f"{shown(value, unit, digits)} {unit.symbol}".rstrip()


def unit_for(dimension: Dimension, hint: Unit | None = None) -> Unit:
    """Give the unit to show a value in: that in which it was written, else the trade's."""
    if hint is not None and hint.dimension == dimension:
        return hint
    if dimension == HARDNESS:
        return UNITLESS
    return trade_unit(dimension)
