"""The chain rule through one operation, with the enclosure of its own value at hand.

``exp`` is its own slope, a quotient's is made from the quotient, and so on: that saves evaluating each slope afresh.
Where an argument is not known to be positive the operator's own slopes are taken. Rounding is outwards, but losses to
underflow are left: ``slopes.LEVEL`` counts what is so small as nothing.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from .intervals import Interval, Mask, every, where
from .operators import BARE, power_slope

Slope = Interval | None
"""The slope of a node with regard to some variables (variables, rows); None where it depends on none of them."""

_STEP = np.array(2.0**-52)
_ONE = np.array(1.0)
_HALF = np.array(0.5)
_SMALL = np.array(1e-290)
"""Above this an inverse is well within the largest number."""

_ADD, _MULTIPLY = BARE["add"].enclosure, BARE["mul"].enclosure


def chain(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> Slope:
    """Give the slope of an operation from its value, its arguments and their slopes."""
    if name == "add":
        return _sum(slopes[0], slopes[1])
    if name == "sub":
        return _sum(slopes[0], _negative(slopes[1]))
    if name == "neg":
        return _negative(slopes[0])
    partials = _PARTIALS.get(name, _afresh)(name, value, arguments, slopes)
    total: Slope = None
    for partial, slope in zip(partials, slopes, strict=True):
        if slope is not None and partial is not None:
            total = _sum(total, _product(partial, slope))
    return total


# ---- partial slopes, None where the argument has none

_Partials = Sequence[Slope]


def _afresh(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return BARE[name].slopes(*arguments)


def _by_row(sure: Mask, quick: _Partials, name: str, arguments: Sequence[Interval]) -> _Partials:
    """Take quick partial slopes in the rows where they are ``sure``, so that no row hangs on the others."""
    if every(sure):
        return quick
    afresh = BARE[name].slopes(*arguments)
    return [None if q is None else where(sure, q, a) for q, a in zip(quick, afresh, strict=True)]


def _of_mul(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return arguments[1], arguments[0]


def _of_div(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    divisor = arguments[1]
    inverse = _inverse(divisor)
    quick = inverse, None if slopes[1] is None else _negative(_product(inverse, value))
    return _by_row(divisor.lo > _SMALL, quick, name, arguments)


def _of_power(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    """The slope with regard to the base alone where the exponent does not depend on the variables."""
    return (power_slope(*arguments), None) if slopes[1] is None else BARE[name].slopes(*arguments)


def _of_exp(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return (value,)


def _of_log(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return _by_row(arguments[0].lo > _SMALL, (_inverse(arguments[0]),), name, arguments)


def _of_sqrt(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    inverse = _inverse(value)
    quick = Interval(inverse.lo * _HALF, inverse.hi * _HALF)
    return _by_row(value.lo > 0, (quick,), name, arguments)


_PARTIALS: Mapping[str, Callable[[str, Interval, Sequence[Interval], Sequence[Slope]], _Partials]] = {
    "mul": _of_mul,
    "div": _of_div,
    "pow": _of_power,
    "exp": _of_exp,
    "log": _of_log,
    "sqrt": _of_sqrt,
}


# ---- arithmetic


def _inverse(x: Interval) -> Interval:
    """Enclose 1/x of a positive interval."""
    lo, hi = _ONE / x.hi, _ONE / x.lo
    return Interval(lo - lo * _STEP, hi + hi * _STEP)


def _product(a: Interval, b: Interval) -> Interval:
    """Enclose a product; one with an exact zero is zero."""
    if every(a.lo >= 0):
        lo, hi = np.minimum(a.lo * b.lo, a.hi * b.lo), np.maximum(a.lo * b.hi, a.hi * b.hi)
    else:
        corners = a.lo * b.lo, a.lo * b.hi, a.hi * b.lo, a.hi * b.hi
        lo = np.minimum(np.minimum(corners[0], corners[1]), np.minimum(corners[2], corners[3]))
        hi = np.maximum(np.maximum(corners[0], corners[1]), np.maximum(corners[2], corners[3]))
    lo, hi = lo - np.abs(lo) * _STEP, hi + np.abs(hi) * _STEP
    # An infinite factor: the careful product knows what zero times infinity is.
    finite = np.isfinite(hi - lo)
    return Interval(lo, hi) if every(finite) else where(finite, Interval(lo, hi), _MULTIPLY(a, b))


def _sum(a: Slope, b: Slope) -> Slope:
    if a is None or b is None:
        return b if a is None else a
    lo, hi = a.lo + b.lo, a.hi + b.hi
    found = Interval(lo - np.abs(lo) * _STEP, hi + np.abs(hi) * _STEP)
    # The careful sum knows what is beyond the largest number.
    held = found.lo <= found.hi
    return found if every(held) else where(held, found, _ADD(a, b))


def _negative(a: Slope) -> Slope:
    return None if a is None else Interval(-a.hi, -a.lo)
