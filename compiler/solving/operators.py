"""The operators of a network: plain values, interval enclosures, and enclosures of slopes.

To add one: an entry in the table at the end, and its name in ``meaning/functions.py``.

A slope encloses the partial derivative with regard to each argument over the argument intervals; for min, max and
abs the generalised derivative after Clarke (Optimization and Nonsmooth Analysis, 1983; from memory). So the
mean-value inclusion holds wherever the operator is defined: f(y) - f(x) lies in the slope times (y - x). A slope
without bound has an infinite end. Where an argument is empty or outside the domain, the slope is the entire line;
partly outside, it is that of the part inside. A slope may have fewer dimensions than the arguments, if it
broadcasts.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import TypeVar

import numpy as np

from . import intervals
from .intervals import ENTIRE, Floats, Interval, every, exact, filled, hull, meet, where

__all__ = ["BARE", "OPERATORS", "Interval", "Operator", "exact", "hull", "meet", "power_slope"]

Slopes = tuple[Interval, ...]
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Operator:
    """A numeric operator; its functions take ``arity`` arrays or intervals of any shapes that broadcast.

    ``value`` works on plain floats without rounding control. ``enclosure`` takes intervals and is rounded outwards.
    ``slopes`` takes intervals and encloses the partial derivative with regard to each argument.
    """

    name: str
    arity: int
    value: Callable[..., Floats]
    enclosure: Callable[..., Interval]
    slopes: Callable[..., Slopes]


# ---- special functions


def _terms(coefficients: Iterable[float]) -> list[Floats]:
    # Arrays, not numbers, for speed: see the constants of ``intervals``.
    return [np.array(c) for c in coefficients]


# erf x = x + x P(x^2) for |x| <= 1: the Maclaurin series, Abramowitz and Stegun 7.1.5, less the leading x.
_ERF_SERIES = _terms(
    2 / math.sqrt(math.pi) * (-1) ** n / (math.factorial(n) * (2 * n + 1)) if n else 0.12837916709551257
    for n in range(19)
)
# exp(x^2) (1 - erf x) for 1 <= x <= 6 in powers of 9.6 / (x + 2) - 2.2, which runs from 1 to -1: Chebyshev
# interpolation of degree 16 with 50 digits, relative error 8e-17.
_ERF_TAIL = _terms([
    0.2214295402299318, 0.16189356804102495, 0.038560570425182426, 0.005588816281841403, 0.00019713917772795885,
    -8.07922042879663e-05, -7.340517938287998e-06, 1.9795619759276e-06, 1.6349937383405805e-07,
    -7.005371793736792e-08, -5.886053299221601e-10, 2.625007492297143e-09, -2.68698518348558e-10,
    -7.468711818050684e-11, 2.2135736614933752e-11, 4.775776110782188e-13, -9.369456032869593e-13,
])  # fmt: skip
_TWO_OVER_ROOT_PI = Interval(np.array(1.1283791670955123), np.array(1.1283791670955128))

# The slope of (e^x - 1) / x is the sum of x^n / (n! (n + 2)).
_RATIO_SLOPE_SERIES = _terms(1 / (math.factorial(n) * (n + 2)) for n in range(20))
_RATIO_SLOPE_ERROR = 2.0**-48
_EXP_LIMIT = np.array(709.0)
_EXP_8 = math.exp(8)
_THREE = np.array(3, dtype=np.int64)


def _polynomial(x: Floats, coefficients: list[Floats]) -> Floats:
    total = x * coefficients[-1]
    for c in coefficients[-2:0:-1]:
        total = (total + c) * x
    value: Floats = total + coefficients[0]
    return value


def _erf(x: Floats) -> Floats:
    """Compute the error function to within 1.4 units in the last place, as measured."""
    size = np.abs(x)
    inner = size <= 1
    if every(inner):
        return x + x * _polynomial(x * x, _ERF_SERIES)
    y = np.clip(size, 1.0, 6.0)
    tail = np.exp(-y * y) * _polynomial(9.6 / (y + 2) - 2.2, _ERF_TAIL)
    outer: Floats = np.copysign(1 - tail, x)
    if not np.count_nonzero(inner):
        return outer
    z = np.clip(x, -1.0, 1.0)
    return np.where(inner, z + z * _polynomial(z * z, _ERF_SERIES), outer)


def _erf_enclosure(a: Interval) -> Interval:
    found = intervals.signed(_erf(a.lo), _erf(a.hi), a)
    return Interval(np.maximum(found.lo, -1.0), np.minimum(found.hi, 1.0))


def _ratio(x: Floats) -> Floats:
    """Compute (e^x - 1) / x; for x > 709, where e^x overflows and the quotient may not, by way of e^(x - 8)."""
    zero = x == 0
    ratio = np.expm1(x) / (np.where(zero, 1.0, x) if np.count_nonzero(zero) else x)
    if np.count_nonzero(zero):
        ratio = np.where(zero, 1.0, ratio)
    large = x > _EXP_LIMIT
    if np.count_nonzero(large):
        y = np.minimum(x, 800.0)
        ratio = np.where(large, np.exp(y - 8) * (_EXP_8 / y), ratio)
    return ratio


@intervals.strict
def _ratio_enclosure(a: Interval) -> Interval:
    # One unit in e^x - 1 may be two in the quotient, which adds half a unit: three. With e^(x - 8), less than five.
    units = _THREE if every(a.hi <= _EXP_LIMIT) else np.where(a.hi > _EXP_LIMIT, 5, 3)
    return Interval(intervals.below(_ratio(a.lo), units), intervals.above(_ratio(a.hi), units))


def _ratio_slope(x: Floats) -> Floats:
    """Compute the slope of (e^x - 1) / x to within 8 units in the last place, for x <= 700."""
    near = np.abs(x) <= 1
    series = _polynomial(np.clip(x, -1.0, 1.0), _RATIO_SLOPE_SERIES) if np.count_nonzero(near) else x
    if every(near):
        return series
    y = np.where(near, 2.0, np.maximum(x, -1e300))
    return np.where(near, series, (np.exp(y) * (y - 1) + 1) / (y * y))


# ---- values that are no numpy function


def _whole_power(base: Floats, exponent: Floats) -> Floats:
    if exponent.size == 1 and exponent.ndim <= base.ndim:
        k = exponent.item()
        if k == 1:
            return base
        if k == 2:
            return base * base
        if k == -1:
            return 1 / base
    power: Floats = intervals.raised(base, exponent)
    return power


# ---- slopes

_ONE, _MINUS_ONE, _ZERO = exact(1.0), exact(-1.0), exact(0.0)


def _known(found: Slopes, *arguments: Interval) -> Slopes:
    """Give the entire line where an argument is empty."""
    if all(filled(a) for a in arguments):
        return found
    mask = intervals.all_filled(arguments)
    return tuple(where(mask, s, ENTIRE) for s in found)


def _defined(found: Slopes, *arguments: Interval) -> Slopes:
    """Give the entire line where an argument is empty, or a slope is, which has no value then."""
    found = tuple(s if filled(s) else where(s.lo <= s.hi, s, ENTIRE) for s in found)
    return _known(found, *arguments)


def _neg_slopes(a: Interval) -> Slopes:
    return _known((_MINUS_ONE,), a)


def _add_slopes(a: Interval, b: Interval) -> Slopes:
    return _known((_ONE, _ONE), a, b)


def _sub_slopes(a: Interval, b: Interval) -> Slopes:
    return _known((_ONE, _MINUS_ONE), a, b)


def _mul_slopes(a: Interval, b: Interval) -> Slopes:
    return _known((b, a), a, b)


def _div_slopes(a: Interval, b: Interval) -> Slopes:
    return _known((intervals.div(_ONE, b), intervals.neg(intervals.div(intervals.div(a, b), b))), a, b)


def power_slope(base: Interval, exponent: Interval) -> Interval:
    """Enclose the slope of a power with regard to its base."""
    found = intervals.mul(exponent, intervals.power(base, intervals.sub(exponent, _ONE)))
    return _defined((found,), base, exponent)[0]


def _pow_slopes(base: Interval, exponent: Interval) -> Slopes:
    by_exponent = intervals.mul(intervals.power(base, exponent), intervals.log(base))
    # b^e log b is at least -1 / (exp(1) e), at b = exp(-1 / e). It is taken in all rows, so that none hangs on others.
    floor = np.where(exponent.lo > 0, -0.36787944117144245 / exponent.lo, -np.inf)
    by_exponent = Interval(np.maximum(by_exponent.lo, floor), by_exponent.hi)
    return power_slope(base, exponent), _defined((by_exponent,), base, exponent)[0]


def _powi_slopes(base: Interval, exponent: Interval) -> Slopes:
    n = exponent.lo
    found = intervals.mul(exact(n), intervals.whole_power(base, exact(n - 1)))
    if not every(n > 0):
        # The mean-value inclusion fails across the pole.
        found = where((n < 0) & (base.lo < 0) & (base.hi > 0), ENTIRE, found)
        found = where(n == 0, _ZERO, found)
    return _defined((found, _ZERO), base, exponent)


def _sqrt_slopes(a: Interval) -> Slopes:
    part = meet(a, intervals.NONNEGATIVE)
    low, high = 0.5 / np.sqrt(part.hi + 0.0), 0.5 / np.sqrt(part.lo + 0.0)
    return _known((Interval(intervals.below(low), intervals.above(high)),), part)


def _exp_slopes(a: Interval) -> Slopes:
    return _known((intervals.exp(a),), a)


def _log_slopes(a: Interval) -> Slopes:
    part = meet(a, intervals.NONNEGATIVE)
    part = where(part.hi > 0, part, intervals.EMPTY)
    return _known((intervals.div(_ONE, part),), part)


def _min_slopes(a: Interval, b: Interval) -> Slopes:
    first, second = a.hi < b.lo, b.hi < a.lo
    return _known((_choice(first, second), _choice(second, first)), a, b)


def _max_slopes(a: Interval, b: Interval) -> Slopes:
    first, second = a.lo > b.hi, b.lo > a.hi
    return _known((_choice(first, second), _choice(second, first)), a, b)


def _choice(surely: intervals.Mask, never: intervals.Mask) -> Interval:
    return Interval(surely.astype(np.float64), (~never).astype(np.float64))


def _abs_slopes(a: Interval) -> Slopes:
    return _known((Interval(np.where(a.lo > 0, 1.0, -1.0), np.where(a.hi < 0, -1.0, 1.0)),), a)


def _sin_slopes(a: Interval) -> Slopes:
    return _known((intervals.cos(a),), a)


def _cos_slopes(a: Interval) -> Slopes:
    return _known((intervals.neg(intervals.sin(a)),), a)


def _tan_slopes(a: Interval) -> Slopes:
    tangent = intervals.tan(a)
    return _known((where(np.isinf(tangent.lo), ENTIRE, intervals.add(_ONE, intervals.square(tangent))),), a)


def _erf_slopes(a: Interval) -> Slopes:
    return _known((intervals.mul(_TWO_OVER_ROOT_PI, intervals.exp(intervals.neg(intervals.square(a)))),), a)


def _ratio_slopes(a: Interval) -> Slopes:
    low, high = _ratio_slope(np.minimum(a.lo, 700.0)), _ratio_slope(np.minimum(a.hi, 700.0))
    lo = np.maximum(low * (1 - _RATIO_SLOPE_ERROR) - 5e-324, 0.0)
    hi = np.where(a.hi > 700.0, np.inf, high * (1 + _RATIO_SLOPE_ERROR) + 5e-324)
    return _known((Interval(lo, hi),), a)


# ---- the table


def _table(*operators: Operator) -> Mapping[str, Operator]:
    return {o.name: o for o in operators}


BARE: Mapping[str, Operator] = _table(
    Operator("neg", 1, np.negative, intervals.neg, _neg_slopes),
    Operator("add", 2, np.add, intervals.add, _add_slopes),
    Operator("sub", 2, np.subtract, intervals.sub, _sub_slopes),
    Operator("mul", 2, np.multiply, intervals.mul, _mul_slopes),
    Operator("div", 2, np.divide, intervals.div, _div_slopes),
    Operator("pow", 2, intervals.raised, intervals.power, _pow_slopes),
    Operator("powi", 2, _whole_power, intervals.whole_power, _powi_slopes),
    Operator("sqrt", 1, np.sqrt, intervals.sqrt, _sqrt_slopes),
    Operator("exp", 1, np.exp, intervals.exp, _exp_slopes),
    Operator("log", 1, np.log, intervals.log, _log_slopes),
    Operator("min", 2, np.minimum, intervals.least, _min_slopes),
    Operator("max", 2, np.maximum, intervals.greatest, _max_slopes),
    Operator("abs", 1, np.absolute, intervals.absolute, _abs_slopes),
    Operator("sin", 1, np.sin, intervals.sin, _sin_slopes),
    Operator("cos", 1, np.cos, intervals.cos, _cos_slopes),
    Operator("tan", 1, np.tan, intervals.tan, _tan_slopes),
    Operator("erf", 1, _erf, _erf_enclosure, _erf_slopes),
    Operator("expm1_ratio", 1, _ratio, _ratio_enclosure, _ratio_slopes),
)
"""The operators without a guard against floating-point warnings: for a caller that holds ``np.errstate``."""


def _quiet(f: Callable[..., Result]) -> Callable[..., Result]:
    @wraps(f)
    def quiet(*arguments: object) -> Result:
        with np.errstate(all="ignore"):
            return f(*arguments)

    return quiet


OPERATORS: Mapping[str, Operator] = {
    name: Operator(name, o.arity, _quiet(o.value), _quiet(o.enclosure), _quiet(o.slopes)) for name, o in BARE.items()
}
"""The operators by name. No floating-point warning escapes from them."""
