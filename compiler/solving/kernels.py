"""Enclosures that are rounded late: the arithmetic of a tape.

An operation is evaluated at the ends of its arguments and rounded to nearest; that its results are a few rounding
errors off is only counted, in *units* of 2^-53, and made good when an end has to be certain. A *raw* enclosure with
``k`` units is a pair of ends such that every value lies between them once each is moved outwards by ``k`` roundings,
``widen``. Products, quotients, roots and sums of one sign pass relative errors on, so the units add up there and
nothing else has to be done; a difference, the lesser of two, a power, an exponential or a logarithm takes widened
arguments.

The units of a term hang only on how it is made, and each of its rows only on the same row of its arguments: where a
row is out of the ordinary (a zero divisor, an argument outside the domain, an overflow, a product that underflows),
the careful functions of ``intervals`` are asked, with widened arguments, and what they say is taken as raw. So a row
comes out the same, bit by bit, along with any others, and through the short cuts of ``plans``.

Why ``widen`` is enough: let u = 2^-53. An operation is within a factor 1 / (1 + u) to 1 + u of the exact result where
it neither underflows nor overflows. After k of them the exact end is at least lo (1 - u)^k >= lo (1 - k u), and at
most hi (1 + u)^k < hi (1 + (k + 1/2) u) for k <= MOST_UNITS. ``widen`` multiplies by 1 - E and 1 + E with E at least
(k + 2) u, and its own rounding takes less than u + u E of that. For k = 1, E = 2u is enough: the product differs by
one to two units in the last place from an end, and rounding it stops at the number next to the end, which is as far as
a correctly rounded result can be off. A library function is off by up to two units in the last place: 4 u. Zero is
raw only where it is exact, and stays. Sums that underflow are exact, and all other results of the kind are refused.
Source of the rounding analysis: Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed., SIAM 2002, chapter 2
and lemma 3.1 (from memory).
"""

from collections.abc import Callable
from functools import reduce

import numpy as np

from . import intervals
from .intervals import Floats, Interval, Mask, every, filled, where
from .operators import BARE

Units = tuple[int, ...]
Raw = Callable[..., Interval]
"""Takes the units of the arguments and the raw arguments."""

MOST_UNITS = 48
"""A term with more units than these is widened at once."""

_POW = BARE["pow"].enclosure
_SMALL = np.array(1e-290)
_ONE = np.array(1.0)
_INFINITY = np.array(np.inf)
_ZERO = np.array(0.0)


def factors(units: int) -> tuple[float, float]:
    """Give what the lower and the upper end of a positive enclosure are multiplied by to widen it."""
    error = 0 if units == 0 else 1 if units == 1 else (units + 3) // 2
    return 1 - error * 2.0**-52, 1 + error * 2.0**-52


_FACTORS = [tuple(np.array(f) for f in factors(k)) for k in range(2 * MOST_UNITS + 16)]


def widen(a: Interval, units: int) -> Interval:
    """Move raw ends outwards, so that they enclose."""
    if not units:
        return a
    down, up = _FACTORS[units]
    return Interval(np.minimum(a.lo * down, a.lo * up), np.maximum(a.hi * down, a.hi * up))


def _settled(
    ok: Mask, lo: Floats, hi: Floats, careful: Callable[..., Interval], units: Units, *a: Interval
) -> Interval:
    """Take ``lo`` and ``hi`` in ordinary rows, and in the others what the careful function says."""
    if every(ok):
        return Interval(lo, hi)
    return where(ok, Interval(lo, hi), careful(*[widen(x, k) for x, k in zip(a, units, strict=True)]))


def _bounded(lo: Floats, hi: Floats) -> Mask:
    """Tell where ends are numbers, and none is an infinity on the wrong side; one on the right side is a limit."""
    found: Mask = (lo < _INFINITY) & (hi > -_INFINITY)
    return found


# ---- sums


def _add(units: Units, a: Interval, b: Interval) -> Interval:
    lo, hi = a.lo + b.lo, a.hi + b.hi
    if any(units):
        wide_a, wide_b = (widen(x, k) for x, k in zip((a, b), units, strict=True))
        lo = np.where(_agree(a.lo, b.lo), lo, wide_a.lo + wide_b.lo)
        hi = np.where(_agree(a.hi, b.hi), hi, wide_a.hi + wide_b.hi)
    ok = _bounded(lo, hi)
    return _settled(ok, lo, hi, intervals.add, units, a, b)


def _agree(a: Floats, b: Floats) -> Mask:
    """Tell where two numbers have one sign, or one of them is zero: their sum cancels nothing."""
    found: Mask = ((a >= _ZERO) & (b >= _ZERO)) | ((a <= _ZERO) & (b <= _ZERO))
    return found


def _sub(units: Units, a: Interval, b: Interval) -> Interval:
    lo, hi = a.lo - b.hi, a.hi - b.lo
    ok = _bounded(lo, hi)
    return _settled(ok, lo, hi, intervals.sub, units, a, b)


# ---- products


def _mul(units: Units, a: Interval, b: Interval) -> Interval:
    pairs = [(a.lo, b.lo), (a.lo, b.hi), (a.hi, b.lo), (a.hi, b.hi)]
    corners = [x * y for x, y in pairs]
    lo, hi = _least(corners), _most(corners)
    sizes = [np.abs(c) for c in corners]
    ok = (_least(sizes) >= _SMALL) & (_most(sizes) < _INFINITY)
    if every(ok):
        return Interval(lo, hi)
    none = [(x == _ZERO) | (y == _ZERO) for x, y in pairs]
    # Zero times infinity is zero.
    corners = [np.where(n, _ZERO, c) for n, c in zip(none, corners, strict=True)]
    lo, hi = _least(corners), _most(corners)
    ok = reduce(np.logical_and, [n | (s >= _SMALL) for n, s in zip(none, sizes, strict=True)])
    ok &= _bounded(lo, hi) & (a.lo <= a.hi) & (b.lo <= b.hi)
    return _settled(ok, lo, hi, intervals.mul, units, a, b)


def _square(units: Units, a: Interval) -> Interval:
    size = intervals.absolute(a)
    return _mul(units * 2, size, size)


def _div(units: Units, a: Interval, b: Interval) -> Interval:
    pairs = [(a.lo, b.lo), (a.lo, b.hi), (a.hi, b.lo), (a.hi, b.hi)]
    corners = [x / y for x, y in pairs]
    lo, hi = np.minimum(corners[0], corners[1]), np.maximum(corners[2], corners[3])
    sizes = [np.abs(c) for c in corners]
    ok = (_least(sizes) >= _SMALL) & (_most(sizes) < _INFINITY) & (b.lo > _ZERO)
    if every(ok):
        return Interval(lo, hi)
    ok = reduce(np.logical_and, [(x == _ZERO) | (s >= _SMALL) for s, (x, _) in zip(sizes, pairs, strict=True)])
    ok &= _bounded(lo, hi) & (b.lo > _ZERO) & (b.hi < _INFINITY) & (a.lo <= a.hi)
    return _settled(ok, lo, hi, intervals.div, units, a, b)


def _least(values: list[Floats]) -> Floats:
    p, q, r, s = values
    found: Floats = np.minimum(np.minimum(p, q), np.minimum(r, s))
    return found


def _most(values: list[Floats]) -> Floats:
    p, q, r, s = values
    found: Floats = np.maximum(np.maximum(p, q), np.maximum(r, s))
    return found


# ---- exact operations


def _neg(units: Units, a: Interval) -> Interval:
    return intervals.neg(a)


def _abs(units: Units, a: Interval) -> Interval:
    return intervals.absolute(a)


def _min(units: Units, a: Interval, b: Interval) -> Interval:
    lo, hi = np.minimum(a.lo, b.lo), np.minimum(a.hi, b.hi)
    return _settled((a.lo <= a.hi) & (b.lo <= b.hi), lo, hi, intervals.least, units, a, b)


def _max(units: Units, a: Interval, b: Interval) -> Interval:
    lo, hi = np.maximum(a.lo, b.lo), np.maximum(a.hi, b.hi)
    return _settled((a.lo <= a.hi) & (b.lo <= b.hi), lo, hi, intervals.greatest, units, a, b)


# ---- functions


def _sqrt(units: Units, a: Interval) -> Interval:
    ok = (a.lo >= _ZERO) & (a.lo < _INFINITY) & (a.hi >= _ZERO)
    return _settled(ok, np.sqrt(a.lo), np.sqrt(a.hi), intervals.sqrt, units, a)


def _exp(units: Units, a: Interval) -> Interval:
    lo, hi = np.exp(a.lo), np.exp(a.hi)
    return _settled((lo >= _SMALL) & _bounded(lo, hi), lo, hi, intervals.exp, units, a)


def _log(units: Units, a: Interval) -> Interval:
    ok = (a.lo > _ZERO) & (a.lo < _INFINITY) & (a.hi > _ZERO)
    return _settled(ok, np.log(a.lo), np.log(a.hi), intervals.log, units, a)


def _power(units: Units, base: Interval, exponent: Interval) -> Interval:
    return _powered(_POW, units, base, exponent)


def _powi(units: Units, base: Interval, exponent: Interval) -> Interval:
    return _powered(BARE["powi"].enclosure, units, base, exponent)


def _powered(careful: Callable[..., Interval], units: Units, base: Interval, exponent: Interval) -> Interval:
    """Raise to a power at the corner that is least and the one that is greatest, for exponents of one sign."""
    rising = exponent.lo >= _ZERO
    part = base
    if careful is _POW and not every(base.lo >= _ZERO):
        part = Interval(np.maximum(base.lo, _ZERO), base.hi)
    ends = part
    if not every(rising):
        ends = Interval(np.where(rising, part.lo, part.hi), np.where(rising, part.hi, part.lo))
    one_sign = (rising | (exponent.hi <= _ZERO)) & (exponent.lo <= exponent.hi)
    lo = np.power(ends.lo, np.where(ends.lo >= _ONE, exponent.lo, exponent.hi))
    hi = np.power(ends.hi, np.where(ends.hi >= _ONE, exponent.hi, exponent.lo))
    ok = (part.lo >= _ZERO) & (part.hi > _ZERO) & one_sign
    ok &= (lo >= _SMALL) & (hi >= _SMALL) & _bounded(lo, hi)
    if not every(ok):
        # Zero to a positive power is zero; to a negative one it is a limit, but for the base [0, 0].
        exact = [(p >= _SMALL) | ((x == _ZERO) & (exponent.lo > _ZERO)) for p, x in ((lo, ends.lo), (hi, ends.hi))]
        ok = (part.lo >= _ZERO) & (part.hi >= _ZERO) & one_sign
        ok &= exact[0] & exact[1] & _bounded(lo, hi)
    return _settled(ok, lo, hi, careful, units, base, exponent)


# ---- functions that enclose by themselves


def _chosen(units: Units, a: Interval, b: Interval) -> Interval:
    """Give the slope of the lesser of a and b with regard to a: one where a is less, zero where it is more."""
    lo, hi = (a.hi < b.lo).astype(np.float64), (a.lo <= b.hi).astype(np.float64)
    return _settled((a.lo <= a.hi) & (b.lo <= b.hi), lo, hi, lambda *_: intervals.ENTIRE, units, a, b)


def _bare(name: str) -> Raw:
    return lambda units, *arguments: BARE[name].enclosure(*arguments)


def _bare_slope(name: str, at: int) -> Raw:
    return lambda units, *arguments: BARE[name].slopes(*arguments)[at]


RAW: dict[str, Raw] = {
    "add": _add,
    "sub": _sub,
    "mul": _mul,
    "square": _square,
    "div": _div,
    "neg": _neg,
    "abs": _abs,
    "min": _min,
    "max": _max,
    "sqrt": _sqrt,
    "exp": _exp,
    "log": _log,
    "pow": _power,
    "powi": _powi,
    "chosen": _chosen,
    "widen": lambda units, a: widen(a, units[0]),
}
"""The operations on raw enclosures by name."""

RAW |= {f"bare {name}": _bare(name) for name in BARE}
RAW |= {f"slope {name} {at}": _bare_slope(name, at) for name, o in BARE.items() for at in range(o.arity)}

__all__ = ["MOST_UNITS", "RAW", "Raw", "Units", "factors", "filled", "widen"]
