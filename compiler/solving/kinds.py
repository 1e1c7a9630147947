"""What is known of a term in a whole batch: its sign and how small and large its ends are.

A kind makes sure that the short form of an operation comes to the same as the careful one: no overflow, no
underflow, no zero divisor. Kinds of variables are seen and checked in each batch; those of other terms follow from
them, or are seen and checked as well where that tells more.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from .intervals import Interval

_LEAST, _MOST = 1e-280, 1e280
_NARROWEST = 2.0**-54
SEEN_LEAST = 1e-130
"""Numbers but zero that are seen are at least so large, or of no kind."""
_SLACK = 4.0


class Kind(NamedTuple):
    """All ends are of a sign (1 not negative, -1 not positive, 0 any) and no larger than ``most``.

    Those that are not zero are at least ``least``, in size; none is zero if ``strict``.
    """

    sign: int
    strict: bool
    least: float
    most: float


Known = Kind | None


def _kind(sign: int, strict: bool, least: float, most: float) -> Known:
    """Leave room for rounding; nothing is known of what may get too large or too small."""
    return Kind(sign, strict, least * 0.999, most * 1.001) if least >= _LEAST and most <= _MOST else None


def kind_of_fixed(value: Interval) -> Known:
    """Tell the kind of a term that does not move."""
    lo, hi = float(value.lo[0]), float(value.hi[0])
    if not (math.isfinite(lo) and math.isfinite(hi)):
        return None
    sign = 1 if lo >= 0 else -1 if hi <= 0 else 0
    sizes = [abs(end) for end in (lo, hi) if end]
    return _kind(sign, len(sizes) == 2, min(sizes, default=1.0), max(sizes, default=1.0))


class Seen(NamedTuple):
    """The least and the greatest end that were seen, and the smallest size of one that is not zero."""

    least: float
    most: float
    nearest: float

    def __or__(self, other: object) -> "Seen":
        """Take in what else was seen."""
        assert isinstance(other, Seen)
        return Seen(min(self.least, other.least), max(self.most, other.most), min(self.nearest, other.nearest))


def seen(least: float, most: float, nearest: float) -> Seen:
    """Note what was seen; nothing is known of ends that are not finite."""
    finite = math.isfinite(least) and math.isfinite(most)
    return Seen(least, most, nearest) if finite else Seen(-math.inf, math.inf, 0.0)


def kind_of_seen(found: Seen) -> Known:
    """Tell the kind of a term whose ends were seen, with room for others."""
    least, most, nearest = found
    if not (math.isfinite(least) and math.isfinite(most)) or nearest < (
        1e-250 if least > 0 or most < 0 else SEEN_LEAST
    ):
        return None
    sign = 1 if least >= 0 else -1 if most <= 0 else 0
    size = max(abs(least), abs(most)) * _SLACK or 1.0
    if least > 0 or most < 0:
        return _kind(sign, True, nearest / _SLACK, size)
    return _kind(sign, False, SEEN_LEAST, size)


def cancels(a: Known, b: Known) -> bool:
    """Tell whether each end of one has another sign than that of the other, and none is zero."""
    return a is not None and b is not None and a.sign * b.sign < 0 and a.strict and b.strict


def bounds(kind: Kind) -> tuple[float, float]:
    """Give the numbers that the ends of a kind lie between."""
    near = kind.least if kind.strict else 0.0
    return {1: (near, kind.most), -1: (-kind.most, -near), 0: (-kind.most, kind.most)}[kind.sign]


def kind_of(operation: str, kinds: Sequence[Known], fixed: Sequence[Interval | None]) -> Known:
    """Tell the kind of an operation from those of its arguments, if the careful functions are never needed."""
    if None in kinds:
        return None
    a = kinds[0]
    b = kinds[-1]
    assert a is not None and b is not None
    match operation:
        case "widen" | "neg":
            return _kind(a.sign if operation == "widen" else -a.sign, a.strict, a.least, a.most)
        case "abs":
            return _kind(1, a.strict, a.least, a.most) if a.sign else _kind(1, False, a.least, a.most)
        case "add" | "sub":
            return _sum(a, b if operation == "add" else Kind(-b.sign, b.strict, b.least, b.most))
        case "mul":
            return _kind(a.sign * b.sign, a.strict and b.strict, a.least * b.least, a.most * b.most)
        case "square":
            return _kind(1, a.strict and a.sign != 0, a.least * a.least, a.most * a.most)
        case "div":
            if not (b.strict and b.sign == 1):
                return None
            return _kind(a.sign, a.strict, a.least / b.most, a.most / b.least)
        case "min" | "max":
            return _choice(1 if operation == "max" else -1, a, b)
        case "sqrt":
            return _kind(1, a.strict, math.sqrt(a.least), math.sqrt(a.most)) if a.sign == 1 else None
        case "exp":
            low, high = bounds(a)
            return _kind(1, True, math.exp(low), math.exp(high)) if max(-low, high) < 600 else None
        case "log":
            if not (a.strict and a.sign == 1):
                return None
            # The logarithm of the number next to one is 1e-16.
            return _kind(
                1 if a.least > 1 else -1 if a.most < 1 else 0,
                False,
                1e-17,
                max(abs(math.log(a.least)), abs(math.log(a.most)), 1.0),
            )
        case "pow" | "powi":
            return _power(a, fixed[1])
        case "chosen":
            return Kind(1, False, 1.0, 1.0)
        case "slope abs 0":
            return Kind(0, True, 1.0, 1.0)
    return None


def certifies(operation: str, kinds: Sequence[Known], fixed: Sequence[Interval | None]) -> bool:
    """Tell whether a result with no end zero, too small or too large shows that no careful function was needed."""
    if not kinds or None in kinds:
        return False
    a, b = kinds[0], kinds[-1]
    assert a is not None and b is not None
    match operation:
        case "exp":
            return True
        case "mul" | "square":
            return a.strict and b.strict and a.sign != 0 and b.sign != 0
        case "div":
            return a.strict and b.strict and a.sign != 0 and b.sign == 1
        case "pow" | "powi":
            e = fixed[1]
            return a.strict and a.sign == 1 and e is not None and bool(e.lo[0] > 0 or e.hi[0] < 0)
    return False


def _sum(a: Kind, b: Kind) -> Known:
    if a.sign and a.sign == b.sign:
        strict = a.strict or b.strict
        least = max(k.least for k in (a, b) if k.strict) if strict else min(a.least, b.least)
        return _kind(a.sign, strict, least, a.most + b.most)
    # Both are whole multiples of the last place of the smaller.
    return _kind(0, False, min(a.least, b.least) * _NARROWEST, a.most + b.most)


def _choice(way: int, a: Kind, b: Kind) -> Known:
    """Tell the kind of the greater, or the lesser if ``way`` is -1."""
    signs = (a.sign, b.sign)
    sign = way if way in signs else -way if signs == (-way, -way) else 0
    strict = any(k.strict and k.sign == way for k in (a, b)) or (a.strict and b.strict)
    return _kind(sign, strict, min(a.least, b.least), max(a.most, b.most))


def _power(base: Kind, exponent: Interval | None) -> Known:
    if exponent is None or base.sign != 1:
        return None
    least, most = float(exponent.lo[0]), float(exponent.hi[0])
    if not (least > 0 or (most < 0 and base.strict)):
        return None
    ends = [_raised(x, e) for x in (base.least, base.most) for e in (least, most)]
    return _kind(1, base.strict, min(ends), max(ends))


def _raised(x: float, exponent: float) -> float:
    """Raise to a power; infinity or zero where that is too large or too small."""
    logarithm = exponent * math.log(x)
    return math.exp(logarithm) if abs(logarithm) < 700 else math.inf if logarithm > 0 else 0.0
