"""Both sides of a requirement and what is to spare, as people read them."""

from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal

from ..meaning.display import rounded, unit_for, with_unit
from ..meaning.model import GivenValue, Model
from ..meaning.units import TEMPERATURE_POINT, Unit, from_base, parse_unit
from ..network.graph import Network, Requirement
from ..solving.answering import Margin
from ..syntax import tree

MOST_DIGITS = 7


def unit_of_sides(network: Network, requirement: Requirement) -> Unit:
    """Choose the unit of both sides: that of a setting that is one of them, or of a number that is, else the usual."""
    own = [v.decl.unit for v in network.settings if v.node in requirement.sides]
    if own:
        return own[0]
    for side in (requirement.comparison.right, requirement.comparison.left):
        if isinstance(side, tree.Literal) and side.number.unit:
            return unit_for(requirement.dimension, parse_unit(side.number.unit))
    return unit_for(requirement.dimension)


def unit_of_name(model: Model, name: str, given: GivenValue | None) -> Unit:
    """Choose the unit of a name: a setting's own, that in which an input was given, else the usual one."""
    if name in model.settings:
        return model.settings[name].unit
    return unit_for(model.dimensions[name], given.amount.unit if given and given.amount else None)


def sides(left: float, right: float, unit: Unit) -> tuple[str, str]:
    """Write two values in base units with as many digits as it takes to tell them apart."""
    digits = digits_apart(left, right, unit)
    return with_unit(left, unit, digits), with_unit(right, unit, digits)


def digits_apart(left: float, right: float, unit: Unit) -> int:
    """Give how many digits it takes to tell two values in base units apart."""
    for digits in range(4, MOST_DIGITS):
        if with_unit(left, unit, digits) != with_unit(right, unit, digits):
            return digits
    return MOST_DIGITS


def told(relation: str, left: float, right: float, unit: Unit, holds: bool = True) -> str:
    """Write both sides as the text compares them, or that they do not compare so.

    ``left`` is the side that must not be larger, whichever way the text's ``relation`` is written.
    """
    texts = sides(left, right, unit)
    first, second = texts[::-1] if relation in (">", ">=") else texts
    return f"{first} {'' if holds else 'is not '}{relation} {second}"


def spare(share: float, margin: Margin, requirement: Requirement) -> str:
    """Write a margin: in kelvins between temperatures, else as a share of the larger side."""
    if requirement.dimension == TEMPERATURE_POINT:
        return f"{rounded(abs(margin.right - margin.left), 3)} K"
    return f"{rounded(100 * share, 3)} %"


def bound(value: float, unit: Unit, least: bool, digits: int = 4) -> float:
    """Give a bound in ``unit`` with few digits, rounded to its safe side: up where it is the least that does."""
    number = from_base(value, unit)
    # What a rounding error of the last places has moved past a short number is that number.
    short = float(rounded(number, digits)) if abs(number) < 1e7 else number
    if abs(short - number) <= 1e-9 * abs(number):
        return short
    towards = ROUND_CEILING if least else ROUND_FLOOR
    return float(Decimal(number).normalize(Context(prec=digits, rounding=towards)))


def change(here: float, there: float) -> str:
    """Write a change as a percentage of where it starts, with its sign; nothing where it starts at nothing."""
    if not here or not there - here:
        return ""
    share = 100 * (there - here) / abs(here)
    text = rounded(share, 2)
    return f"+{text} %" if share > 0 else f"{text} %"
