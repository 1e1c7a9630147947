"""The dimension of a node from those of its arguments; expressions were checked before, so nothing is refused here."""

from collections.abc import Sequence
from fractions import Fraction

from ..meaning.units import NUMBER, TEMPERATURE_POINT, Dimension

_KEEPS = frozenset({"neg", "min", "max", "abs"})


def dimension_of(operator: str, arguments: Sequence[Dimension], exponent: float) -> Dimension:
    """Give the dimension of an operation; ``exponent`` is the constant of a power, else of no account.

    A temperature point in a product stands for its absolute temperature, a hardness for the number read.
    """
    first = arguments[0]
    match operator:
        case "add" | "sub":
            points = [a for a in arguments if a == TEMPERATURE_POINT]
            return _plain(first) if len(points) == 2 or not points else TEMPERATURE_POINT
        case "mul":
            return _plain(first).times(_plain(arguments[1]))
        case "div":
            return _plain(first).over(_plain(arguments[1]))
        case "powi" | "pow":
            return NUMBER if _plain(first) == NUMBER else _plain(first).to_power(Fraction(exponent))
        case "sqrt":
            return _plain(first).to_power(Fraction(1, 2))
    return first if operator in _KEEPS else NUMBER


def _plain(dimension: Dimension) -> Dimension:
    return dimension if dimension.kind == "plain" else Dimension(dimension.powers)
