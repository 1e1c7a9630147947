"""The functions that an expression may call: their arguments and the dimension of their result.

To add one: an entry here, its operator in ``compiler/solving/operators.py``, its line in ``grammar/README.md``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from .units import HARDNESS, NUMBER, TEMPERATURE_DIFFERENCE, TEMPERATURE_POINT, Dimension

Rule = Callable[[tuple[Dimension, ...]], Dimension | None]
"""From the dimensions of the arguments to that of the result; None where they do not fit."""


@dataclass(frozen=True, slots=True)
class Function:
    """A built-in function; ``most`` is None where it takes any number of arguments from ``least`` on."""

    name: str
    least: int
    most: int | None
    rule: Rule
    wants: str


def _numbers(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    return NUMBER if all(d == NUMBER for d in dimensions) else None


def _alike(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    first = dimensions[0]
    return first if first.kind != "hardness" and all(d == first for d in dimensions) else None


def _plain(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    return dimensions[0] if dimensions[0].kind == "plain" else None


def _root(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    return dimensions[0].to_power(Fraction(1, 2)) if dimensions[0].kind == "plain" else None


def _absolute(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    return TEMPERATURE_DIFFERENCE if dimensions[0] == TEMPERATURE_POINT else None


def _reading(dimensions: tuple[Dimension, ...]) -> Dimension | None:
    return NUMBER if dimensions[0] == HARDNESS else None


_ALL = (
    Function("min", 2, None, _alike, "values of one dimension"),
    Function("max", 2, None, _alike, "values of one dimension"),
    Function("abs", 1, 1, _plain, "a value that is no point and no reading"),
    Function("sqrt", 1, 1, _root, "a value that is no point and no reading"),
    Function("exp", 1, 1, _numbers, "a plain number"),
    Function("log", 1, 1, _numbers, "a plain number"),
    Function("log10", 1, 1, _numbers, "a plain number"),
    Function("tan", 1, 1, _numbers, "an angle"),
    Function("erf", 1, 1, _numbers, "a plain number"),
    Function("expm1_ratio", 1, 1, _numbers, "a plain number"),
    Function("absolute", 1, 1, _absolute, "a temperature point"),
    Function("reading", 1, 1, _reading, "a hardness"),
)
FUNCTIONS: Mapping[str, Function] = {f.name: f for f in _ALL}

CONSTANTS: Mapping[str, tuple[float, Dimension, str]] = {
    "pi": (3.141592653589793, NUMBER, "circle constant"),
    "gas_constant": (
        8.31446261815324,
        Dimension((Fraction(2), Fraction(1), Fraction(-2), Fraction(-1), Fraction(-1))),
        "molar gas constant, exact in the SI of 2019: 8.31446261815324 J/mol/K",
    ),
}
"""Named constants: value in base units, dimension, and what they are."""
