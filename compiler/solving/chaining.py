"""The chain rule through one operation, with the enclosure of its own value at hand.

``exp`` is its own slope, a quotient's is made from the quotient, and so on: that saves evaluating each slope afresh.
Where an argument is not known to be positive the operator's own slopes are taken. Rounding is outwards, but losses to
underflow are left: ``slopes.LEVEL`` counts what is so small as nothing.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from .intervals import Interval, every
from .operators import BARE

Slope = Interval | None
"""The slope of a node with regard to some variables (variables, rows); None where it depends on none of them."""

_STEP = np.array(2.0**-52)
_ONE = np.array(1.0)
_HALF = np.array(0.5)
_MULTIPLY = BARE["mul"].enclosure


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


def _of_mul(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return arguments[1], arguments[0]


def _of_div(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    divisor = arguments[1]
    if not every(divisor.lo > 0):
        return _afresh(name, value, arguments, slopes)
    inverse = _inverse(divisor)
    return inverse, None if slopes[1] is None else _negative(_product(inverse, value))


def _of_power(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    """``e x^e / x`` with regard to a positive base; with regard to the exponent only where that is a variable."""
    base, exponent = arguments
    if slopes[1] is not None or not every(base.lo > 0) or not every(np.isfinite(value.hi)):
        return _afresh(name, value, arguments, slopes)
    return _product(_product(_inverse(base), value), exponent), None


def _of_exp(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    return (value,)


def _of_log(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    positive = every(arguments[0].lo > 0)
    return (_inverse(arguments[0]),) if positive else _afresh(name, value, arguments, slopes)


def _of_sqrt(name: str, value: Interval, arguments: Sequence[Interval], slopes: Sequence[Slope]) -> _Partials:
    if not every(value.lo > 0):
        return _afresh(name, value, arguments, slopes)
    inverse = _inverse(value)
    return (Interval(inverse.lo * _HALF, inverse.hi * _HALF),)


_PARTIALS: Mapping[str, Callable[[str, Interval, Sequence[Interval], Sequence[Slope]], _Partials]] = {
    "mul": _of_mul,
    "div": _of_div,
    "pow": _of_power,
    "powi": _of_power,
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
    return Interval(lo, hi) if every(np.isfinite(hi - lo)) else _MULTIPLY(a, b)


def _sum(a: Slope, b: Slope) -> Slope:
    if a is None or b is None:
        return b if a is None else a
    lo, hi = a.lo + b.lo, a.hi + b.hi
    return Interval(lo - np.abs(lo) * _STEP, hi + np.abs(hi) * _STEP)


def _negative(a: Slope) -> Slope:
    return None if a is None else Interval(-a.hi, -a.lo)
