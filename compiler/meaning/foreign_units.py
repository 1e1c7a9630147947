"""Units of other systems: not taken, but told in units that are, so that nobody writes the old number with a new unit.

Inch, foot, ounce and pound by the international yard and pound (0.9144 m, 0.45359237 kg), the pound of force with the
standard gravity of 9.80665 m/s2; the last digits are rounded.
"""

from collections.abc import Mapping

_TOLD: Mapping[str, tuple[str, str]] = {
    word: (symbol, told)
    for words, symbol, told in [
        ("in inch inches", "mm", "1 inch is 25.4 mm"),
        ("ft", "m", "1 foot is 0.3048 m"),
        ("oz", "g", "1 ounce is 28.35 g"),
        ("lb lbs", "kg", "1 pound is 0.4536 kg"),
        ("psi", "MPa", "1 psi is 0.006895 MPa"),
        ("f °f degf fahrenheit", "degC", "take 32 from degrees Fahrenheit and divide by 1.8"),
    ]
    for word in words.split()
}


def told(part: str) -> str:
    """Say how a unit of another system is written here; empty where it is none."""
    symbol, how = _TOLD.get(part.casefold(), ("", ""))
    return f"write it in {symbol}: {how}" if symbol else ""
