"""Batched intervals: arrays of bounds, with arithmetic that is rounded outwards.

Every function takes intervals whose bounds have any shapes that broadcast, and encloses the exact range of one
operation. Infinite bounds are limits, and 0 * inf is 0 in products, as IEEE 1788-2015 has it. An argument partly
outside the domain is cut down to it; one wholly outside, or empty, gives the empty interval.

How far outwards: ``+ - * / sqrt`` are correctly rounded by the machine, so the next number is enough, and a sum or
difference that is zero is exact and stays so. The library functions may differ from the exact value by up to one
unit in the last place, other processors included, and get two. Where that is done by a relative step, it may come
to one unit more at the upper end of a binade. All rests on rounding to nearest, with which every process starts;
a process that a foreign library has switched to another rounding gets bounds that enclose nothing.

The functions here do not guard against floating-point warnings; ``operators`` does.
"""

from collections.abc import Callable
from functools import reduce, wraps
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Constants are arrays, not numbers: numpy takes half as long with small batches.
LARGEST = np.array(np.finfo(np.float64).max)
_SMALL = np.array(1e-290)
_QUANTUM = np.array(5e-324)
_TWO_QUANTA = np.array(1e-323)
# A little more than half a unit reaches, rounded to nearest, the next number, if the step does not underflow: Rump,
# Zimmermann, Boldo and Melquiond, Computing predecessor and successor in rounding to nearest, BIT 49, 2009.
NEXT = np.array(2.0**-53 * (1 + 2.0**-52))
# Three quarters reach it down to 2^-1021, under which sums are exact; below a power of two it is the number after.
_NEXT_SUM = np.array(0.75 * 2.0**-52)
# Twice as much comes to two units at the lower end of a binade and three at the upper.
TWO_UNITS = np.array(1.5 * 2.0**-52)
_TWO = np.array(2, dtype=np.int64)
_ZERO_BITS = np.array(0, dtype=np.int64)
_INFINITE_BITS = np.array(np.inf).view(np.int64)
_ZERO = np.array(0.0)
_INFINITY = np.array(np.inf)


def raised(base: Floats, exponent: Floats) -> Floats:
    """Raise to powers, an exponent to every base: for one exponent -1, 1/2 or 2 to many, numpy rounds otherwise."""
    found: Floats = np.power(base, np.full(np.broadcast_shapes(np.shape(base), np.shape(exponent)), exponent))
    return found


class Interval(NamedTuple):
    """Closed intervals, one an element: ``lo <= hi``. The empty interval is ``lo = +inf``, ``hi = -inf``."""

    lo: Floats
    hi: Floats


ENTIRE = Interval(np.array(-np.inf), np.array(np.inf))
EMPTY = Interval(np.array(np.inf), np.array(-np.inf))
NONNEGATIVE = Interval(_ZERO, np.array(np.inf))


def exact(x: ArrayLike) -> Interval:
    """Give the interval that holds ``x`` alone. A bound that is not a number makes it empty to what follows."""
    value = np.asarray(x, dtype=np.float64)
    return Interval(value, value)


def hull(a: Interval, b: Interval) -> Interval:
    """Give the smallest interval that holds both."""
    return Interval(np.minimum(a.lo, b.lo), np.maximum(a.hi, b.hi))


def meet(a: Interval, b: Interval) -> Interval:
    """Give what both have in common; empty where that is nothing."""
    lo, hi = np.maximum(a.lo, b.lo), np.minimum(a.hi, b.hi)
    held = lo <= hi
    return Interval(lo, hi) if every(held) else where(held, Interval(lo, hi), EMPTY)


def every(mask: Mask) -> bool:
    """Say whether all elements are true; several times as fast as ``mask.all()`` for small arrays."""
    answer: bool = np.count_nonzero(mask) == mask.size
    return answer


def filled(a: Interval) -> bool:
    """Say whether no element is empty."""
    return every(a.lo <= a.hi)


def where(mask: Mask, a: Interval, b: Interval) -> Interval:
    """Take ``a`` where ``mask`` is true, else ``b``."""
    return Interval(np.where(mask, a.lo, b.lo), np.where(mask, a.hi, b.hi))


def all_filled(arguments: tuple[Interval, ...]) -> Mask:
    """Give the elements at which no argument is empty."""
    return reduce(np.logical_and, [a.lo <= a.hi for a in arguments])


def strict(f: Callable[..., Interval]) -> Callable[..., Interval]:
    """Make ``f`` give the empty interval where an argument is empty, and never see one."""

    @wraps(f)
    def guarded(*arguments: Interval) -> Interval:
        for a in arguments:
            if not filled(a):
                break
        else:
            return f(*arguments)
        one = exact(1.0)
        safe = [where(a.lo <= a.hi, a, one) for a in arguments]
        return where(all_filled(arguments), f(*safe), EMPTY)

    return guarded


# ---- rounding


def _mended(lo: Floats, hi: Floats, low: Floats, high: Floats, *arguments: Interval) -> Interval:
    """Mend bounds, rounded from ``low`` and ``high``, that overflow or empty arguments have spoilt."""
    lo = np.where(np.isnan(lo), np.where(low == np.inf, LARGEST, -np.inf), lo)
    hi = np.where(np.isnan(hi), np.where(high == -np.inf, -LARGEST, np.inf), hi)
    return where(all_filled(arguments), Interval(lo, hi), EMPTY)


def relative(low: Floats, high: Floats, step: Floats, *arguments: Interval) -> Interval:
    """Round outwards by a relative step. Zeros stay: for results that cannot underflow."""
    down, up = np.abs(low), np.abs(high)
    down *= step
    up *= step
    lo, hi = low - down, high + up
    return Interval(lo, hi) if every(lo <= hi) else _mended(lo, hi, low, high, *arguments)


def _positive(low: Floats, high: Floats, *arguments: Interval) -> Interval:
    """Round outwards to the next number: for positive results well away from underflow."""
    lo, hi = low - low * NEXT, high + high * NEXT
    return Interval(lo, hi) if every(lo <= hi) else _mended(lo, hi, low, high, *arguments)


def signed(low: Floats, high: Floats, *arguments: Interval) -> Interval:
    """Round outwards by two units, or three. Zeros stay: for functions that are zero only where they are exact."""
    down, up = np.abs(low), np.abs(high)
    lo = low - (down * TWO_UNITS + np.minimum(down, _TWO_QUANTA))
    hi = high + (up * TWO_UNITS + np.minimum(up, _TWO_QUANTA))
    return Interval(lo, hi) if every(lo <= hi) else _mended(lo, hi, low, high, *arguments)


def below(x: Floats, units: NDArray[np.int64] = _TWO) -> Floats:
    """Give the number ``units`` places below ``x``, or zero: ``x`` is not negative, nor minus zero."""
    found: Floats = np.maximum(x.view(np.int64) - units, _ZERO_BITS).view(np.float64)
    return found


def above(x: Floats, units: NDArray[np.int64] = _TWO) -> Floats:
    """Give the number ``units`` places above ``x``, at most infinity: ``x`` is not negative, nor minus zero."""
    found: Floats = np.minimum(x.view(np.int64) + units, _INFINITE_BITS).view(np.float64)
    return found


# ---- arithmetic


def neg(a: Interval) -> Interval:
    """Enclose -a, exactly."""
    return Interval(-a.hi, -a.lo)


def add(a: Interval, b: Interval) -> Interval:
    """Enclose a + b."""
    return relative(a.lo + b.lo, a.hi + b.hi, _NEXT_SUM, a, b)


def sub(a: Interval, b: Interval) -> Interval:
    """Enclose a - b."""
    return relative(a.lo - b.hi, a.hi - b.lo, _NEXT_SUM, a, b)


def mul(a: Interval, b: Interval) -> Interval:
    """Enclose a * b. A product with an exact zero is exactly zero."""
    low = a.lo * b.lo
    if every(a.lo > _ZERO) and every(low > _SMALL):
        return _positive(low, a.hi * b.hi, a, b)
    return _span([low, a.lo * b.hi, a.hi * b.lo, a.hi * b.hi], a, b)


def div(a: Interval, b: Interval) -> Interval:
    """Enclose a / b.

    A divisor with zero inside gives the entire line (zero where ``a`` is zero), one with zero at an end a half line.
    The divisor [0, 0] gives the entire line, not the empty interval as in IEEE 1788-2015: nothing may be proved by it.
    """
    low = a.lo / b.hi
    if every(b.lo > _ZERO) and every(low > _SMALL):
        return _positive(low, a.hi / b.lo, a, b)
    # Neither is so if zero is within, both if the divisor is empty.
    if every((b.lo > _ZERO) != (b.hi < _ZERO)):
        return _span([a.lo / b.lo, low, a.hi / b.lo, a.hi / b.hi], a, b)
    return _quotient(a, b)


@strict
def _quotient(a: Interval, b: Interval) -> Interval:
    # A zero at an end of the divisor is approached from within.
    b_lo, b_hi = b.lo + 0.0, -(0.0 - b.hi)
    side = exact(np.where(b.hi > 0, 1.0, -1.0))
    found = _span([a.lo / b_lo, a.lo / b_hi, a.hi / b_lo, a.hi / b_hi], a, side)
    inside = (b.lo < 0) & (b.hi > 0) & ((a.lo != 0) | (a.hi != 0))
    return where(inside | ((b.lo == 0) & (b.hi == 0)), ENTIRE, found)


def _span(corners: list[Floats], a: Interval, b: Interval) -> Interval:
    """Enclose products or quotients from their corners; ``b`` has the signs of the second factor."""
    low, high = _extremes(corners)
    down = np.abs(low)
    # An empty factor always makes it infinite, 0 * inf not a number.
    finite = every(down < _INFINITY)
    if not finite:
        low, high = _extremes([np.where(np.isnan(c), 0.0, c) for c in corners])
        down = np.abs(low)
    up = np.abs(high)
    lo, hi = low - down * NEXT, high + up * NEXT
    if np.count_nonzero(np.minimum(down, up) < _SMALL):
        lo, hi = _with_underflow(lo, hi, low, high, a, b)
    return Interval(lo, hi) if finite else _mended(lo, hi, low, high, a, b)


def _with_underflow(lo: Floats, hi: Floats, low: Floats, high: Floats, a: Interval, b: Interval) -> Interval:
    """Step further where the relative step may have come to nothing, unless signs show that a zero is exact."""
    a_below, a_above, b_below, b_above = a.lo < _ZERO, a.hi > _ZERO, b.lo < _ZERO, b.hi > _ZERO
    below_zero = (a_below & b_above) | (a_above & b_below)
    above_zero = (a_above & b_above) | (a_below & b_below)
    down, up = np.abs(low), np.abs(high)
    lost = (down < _SMALL) & ((low != _ZERO) | below_zero)
    lo = np.where(lost, low - (down * NEXT + _QUANTUM), lo) if np.count_nonzero(lost) else lo
    lost = (up < _SMALL) & ((high != _ZERO) | above_zero)
    return Interval(lo, np.where(lost, high + (up * NEXT + _QUANTUM), hi) if np.count_nonzero(lost) else hi)


def _extremes(corners: list[Floats]) -> tuple[Floats, Floats]:
    p, q, r, s = corners
    return np.minimum(np.minimum(p, q), np.minimum(r, s)), np.maximum(np.maximum(p, q), np.maximum(r, s))


def least(a: Interval, b: Interval) -> Interval:
    """Enclose the lesser of a and b, exactly."""
    lo, hi = np.minimum(a.lo, b.lo), np.minimum(a.hi, b.hi)
    # Of the empty interval and an unbounded one, both may come out as minus infinity.
    return Interval(lo, hi) if every(lo <= hi) and every(hi > -_INFINITY) else _mended(lo, hi, lo, hi, a, b)


def greatest(a: Interval, b: Interval) -> Interval:
    """Enclose the greater of a and b, exactly."""
    lo, hi = np.maximum(a.lo, b.lo), np.maximum(a.hi, b.hi)
    return Interval(lo, hi) if every(lo <= hi) and every(lo < _INFINITY) else _mended(lo, hi, lo, hi, a, b)


def absolute(a: Interval) -> Interval:
    """Enclose |a|, exactly."""
    return Interval(np.maximum(np.maximum(a.lo, -a.hi), _ZERO), np.maximum(-a.lo, a.hi))


def square(a: Interval) -> Interval:
    """Enclose a * a."""
    size = a if every(a.lo >= _ZERO) else absolute(a)
    return mul(size, size)


# ---- roots and powers


def sqrt(a: Interval) -> Interval:
    """Enclose the square root; domain a >= 0."""
    if not every(a.lo >= _ZERO):
        a = meet(a, NONNEGATIVE)
    return relative(np.sqrt(a.lo), np.sqrt(a.hi), NEXT, a)


def power(base: Interval, exponent: Interval) -> Interval:
    """Enclose base to any real exponent; domain base > 0, and base = 0 where the exponent is positive."""
    if every(base.lo > _ZERO):
        return _positive_power(base, exponent)
    base = meet(base, NONNEGATIVE)
    # At the base [0, 0] no limit counts, only the value: it is zero or undefined.
    null = base.hi == 0
    found = _positive_power(Interval(base.lo + 0.0, np.where(null, 1.0, base.hi)), exponent)
    found = where(null, exact(0.0), found)
    return where(null & ~(exponent.hi > 0), EMPTY, found)


@strict
def _positive_power(base: Interval, exponent: Interval) -> Interval:
    """Enclose a power by the two corners that bound it: it rises or falls along each edge of the box."""
    rising = exponent.lo >= _ZERO
    first, last = _edges(base, rising)
    if exponent.lo is exponent.hi:
        return Interval(below(raised(first, exponent.lo)), above(raised(last, exponent.lo)))
    low = raised(first, np.where(first >= 1, exponent.lo, exponent.hi))
    high = raised(last, np.where(last >= 1, exponent.hi, exponent.lo))
    mixed = ~rising & (exponent.hi > 0)
    if np.count_nonzero(mixed):
        low = np.where(mixed, np.minimum(low, raised(base.lo, exponent.hi)), low)
        high = np.where(mixed, np.maximum(high, raised(base.hi, exponent.hi)), high)
    return Interval(below(low), above(high))


def _edges(base: Interval, rising: Mask) -> tuple[Floats, Floats]:
    """Give the ends of the base at which a power is least and greatest."""
    if rising.size == 1:
        return (base.lo, base.hi) if rising.item() else (base.hi, base.lo)
    return np.where(rising, base.lo, base.hi), np.where(rising, base.hi, base.lo)


def whole_power(base: Interval, exponent: Interval) -> Interval:
    """Enclose base to an exact whole exponent, ``exponent.lo``; domain base != 0 where that is negative."""
    n = exponent.lo
    if n.size == 1 and n.ndim <= base.lo.ndim:
        k = n.item()
        if k == 1:
            return base
        if k == 2:
            return square(base)
        if k == -1:
            positive = base.lo > _ZERO
            inverse = div(exact(1.0), base)
            return inverse if every(positive) else where(positive, inverse, _whole_power(base, exponent))
    return _whole_power(base, exponent)


@strict
def _whole_power(base: Interval, exponent: Interval) -> Interval:
    n = exponent.lo
    rising = n > 0
    if every(base.lo > _ZERO):
        first, last = _edges(base, rising)
        found = Interval(below(raised(first, n)), above(raised(last, n)))
    else:
        odd = np.mod(n, 2) == 1
        found = where(odd, _odd_power(base, n, rising), _even_power(absolute(base), n, rising))
        undefined = ~rising & (n != 0) & (base.lo == 0) & (base.hi == 0)
        found = where(undefined, EMPTY, found)
    constant = n == 0
    return where(constant, exact(1.0), found) if np.count_nonzero(constant) else found


def _even_power(size: Interval, n: Floats, rising: Mask) -> Interval:
    first, last = _edges(size, rising)
    high = above(raised(last + 0.0, n))
    return Interval(below(raised(first + 0.0, n)), np.where(rising & (last == 0), 0.0, high))


def _odd_power(base: Interval, n: Floats, rising: Mask) -> Interval:
    lo_size, hi_size = np.abs(base.lo), np.abs(base.hi)
    low, high = raised(lo_size, n), raised(hi_size, n)
    lo_ends = _signed_ends(base.lo < 0, lo_size, low, rising)
    hi_ends = _signed_ends(~(base.hi > 0), hi_size, high, rising)
    found = Interval(np.where(rising, lo_ends.lo, hi_ends.lo), np.where(rising, hi_ends.hi, lo_ends.hi))
    return where(~rising & (base.lo < 0) & (base.hi > 0), ENTIRE, found)


def _signed_ends(negative: Mask, size: Floats, powered: Floats, rising: Mask) -> Interval:
    """Enclose a signed odd power, given the power of the size."""
    near, far = below(powered), above(powered)
    far = np.where(rising & (size == 0), 0.0, far)
    return Interval(np.where(negative, -far, near), np.where(negative, -near, far))


# ---- exponential, logarithm, circular functions


def exp(a: Interval) -> Interval:
    """Enclose e to the power a."""
    lo, hi = below(np.exp(a.lo)), above(np.exp(a.hi))
    return Interval(lo, hi) if every(lo <= hi) else _mended(lo, hi, lo, hi, a)


def log(a: Interval) -> Interval:
    """Enclose the natural logarithm; domain a > 0."""
    if not every(a.lo > _ZERO):
        a = meet(a, NONNEGATIVE)
        a = where(a.hi > 0, a, EMPTY)
    return relative(np.log(a.lo), np.log(a.hi), TWO_UNITS, a)


# The nearest numbers, both a little less than pi and two pi: as wide as these is treated as that wide.
_HALF_TURN = np.array(np.pi)
_TURN = np.array(2 * np.pi)


@strict
def sin(a: Interval) -> Interval:
    """Enclose the sine of an angle in radians."""
    return _wave(a, np.sin, np.cos)


@strict
def cos(a: Interval) -> Interval:
    """Enclose the cosine of an angle in radians."""
    return _wave(a, np.cos, _falling_sine)


def _falling_sine(x: Floats) -> Floats:
    slope: Floats = -np.sin(x)
    return slope


def _wave(a: Interval, f: Callable[[Floats], Floats], slope: Callable[[Floats], Floats]) -> Interval:
    """Enclose a wave from its ends, and from the signs of its slope there, which are never wrong."""
    ends, width = (f(a.lo), f(a.hi)), a.hi - a.lo
    rises, rises_last = slope(a.lo) > 0, slope(a.hi) > 0
    both = (width >= _TURN) | ((rises == rises_last) & (width >= _HALF_TURN)) | ~(width >= 0)
    crest, trough = both | (rises & ~rises_last), both | (~rises & rises_last)
    found = signed(np.minimum(*ends), np.maximum(*ends), a)
    lo = np.where(trough, -1.0, np.maximum(found.lo, -1.0))
    return Interval(lo, np.where(crest, 1.0, np.minimum(found.hi, 1.0)))


@strict
def tan(a: Interval) -> Interval:
    """Enclose the tangent of an angle in radians; the entire line where a pole may be inside."""
    # The cosine changes its sign at each pole, and never comes out as zero.
    pole = ((np.cos(a.lo) > 0) != (np.cos(a.hi) > 0)) | ~(a.hi - a.lo < _HALF_TURN)
    return where(pole, ENTIRE, signed(np.tan(a.lo), np.tan(a.hi), a))
