"""Whether a condition on inputs is true: for all their values, for none, or for some."""

from collections.abc import Mapping

from ..meaning.model import GivenValue
from ..meaning.units import UNITS, parse_unit, to_base_text
from ..syntax import tree


def applies(test: tree.Test, values: Mapping[str, GivenValue]) -> bool | None:
    """Decide a test; None where it is true for some values of the inputs only."""
    match test:
        case tree.OnScale():
            given = values.get(test.quantity.text)
            scale = UNITS[test.scale.text].scale
            return given is not None and given.amount is not None and given.amount.unit.scale == scale
        case tree.IsWord():
            given = values.get(test.quantity.text)
            return given is not None and given.word == test.word.text
        case tree.Comparison():
            left, right = _bounds(test.left, values), _bounds(test.right, values)
            if left is None or right is None:
                return None
            return _compare(left, test.relation, right)


def _compare(left: tuple[float, float], relation: str, right: tuple[float, float]) -> bool | None:
    if relation in (">", ">="):
        left, right, relation = right, left, relation.replace(">", "<")
    strict = relation == "<"
    if left[1] < right[0] or (left[1] == right[0] and not strict):
        return True
    if left[0] > right[1] or (left[0] == right[1] and strict):
        return False
    return None


def _bounds(e: tree.Expression, values: Mapping[str, GivenValue]) -> tuple[float, float] | None:
    """Give the range of a number or a named input; a when is checked to have nothing else (M242)."""
    match e:
        case tree.Literal():
            unit = parse_unit(e.number.unit) if e.number.unit else None
            value = to_base_text(e.number.digits, unit) if unit else float(e.number.digits)
            return value, value
        case tree.Negation():
            inner = _bounds(e.operand, values)
            return (-inner[1], -inner[0]) if inner else None
        case tree.Reference():
            given = values.get(e.name)
            amount = given.amount if given else None
            return (amount.low, amount.high) if amount else None
    return None
