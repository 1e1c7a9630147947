"""TEMP operators by lead, replaced by helper."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np


class Interval(NamedTuple):
    lo: np.ndarray
    hi: np.ndarray


@dataclass(frozen=True, slots=True)
class Operator:
    name: str
    arity: int
    value: Callable
    enclosure: Callable
    slopes: Callable


I = Interval
dn = lambda x: np.nextafter(x, -np.inf)
up = lambda x: np.nextafter(x, np.inf)


def out(lo, hi, n=1):
    for _ in range(n):
        lo, hi = dn(lo), up(hi)
    return I(lo, hi)


def mul(a, b):
    p = [np.where(np.isnan(x), 0.0, x) for x in (a.lo * b.lo, a.lo * b.hi, a.hi * b.lo, a.hi * b.hi)]
    return out(
        np.minimum(np.minimum(p[0], p[1]), np.minimum(p[2], p[3])),
        np.maximum(np.maximum(p[0], p[1]), np.maximum(p[2], p[3])),
    )


def recip(b):
    z = (b.lo <= 0) & (b.hi >= 0)
    lo = np.where(z, -np.inf, 1 / np.where(z, 1, b.hi))
    hi = np.where(z, np.inf, 1 / np.where(z, 1, b.lo))
    lo = np.where((b.lo == 0) & (b.hi > 0), 1 / b.hi, lo)
    return out(lo, hi)


def div(a, b):
    return mul(a, recip(b))


def mono(f, n=2):
    return lambda a: out(f(a.lo), f(a.hi), n)


neg = lambda a: I(-a.hi, -a.lo)


def powi(b, e):
    n = e.lo
    x, y = b.lo**n, b.hi**n
    lo, hi = np.minimum(x, y), np.maximum(x, y)
    z = (b.lo < 0) & (b.hi > 0)
    lo = np.where(z & (n % 2 == 0) & (n > 0), 0, lo)
    lo = np.where(z & (n < 0), -np.inf, lo)
    hi = np.where(z & (n < 0), np.inf, hi)
    return out(lo, hi, 2)


def powg(b, e):
    bl = np.maximum(b.lo, 0)
    p = [bl**e.lo, bl**e.hi, b.hi**e.lo, b.hi**e.hi]
    return out(
        np.minimum(np.minimum(p[0], p[1]), np.minimum(p[2], p[3])),
        np.maximum(np.maximum(p[0], p[1]), np.maximum(p[2], p[3])),
        2,
    )


one = I(np.array([1.0]), np.array([1.0]))
zero = I(np.array([0.0]), np.array([0.0]))


def er(x):
    return np.where(x == 0, 1.0, np.expm1(x) / np.where(x == 0, 1.0, x))


def erd(x):
    xs = np.where(np.abs(x) < 1e-3, 1.0, x)
    return np.where(np.abs(x) < 1e-3, 0.5 + x / 3, (np.exp(xs) * (xs - 1) + 1) / xs**2)


def maxs(a, b):
    c = a.lo >= b.hi
    d = b.lo >= a.hi
    f = lambda yes, no: I(np.where(yes, 1.0, 0.0), np.where(no, 0.0, 1.0))
    return f(c, d), f(d, c)


def mins(a, b):
    return maxs(neg(a), neg(b))


from math import erf

O = lambda n, k, v, e, s: Operator(n, k, v, e, s)
L = [
    O("neg", 1, np.negative, neg, lambda a: (I(-one.lo, -one.lo),)),
    O("add", 2, np.add, lambda a, b: out(a.lo + b.lo, a.hi + b.hi), lambda a, b: (one, one)),
    O("sub", 2, np.subtract, lambda a, b: out(a.lo - b.hi, a.hi - b.lo), lambda a, b: (one, neg(one))),
    O("mul", 2, np.multiply, mul, lambda a, b: (b, a)),
    O(
        "div",
        2,
        np.divide,
        div,
        lambda a, b: (recip(b), neg(mul(a, powi(recip(b), I(np.array([2.0]), None))))),
    ),
    O("powi", 2, np.power, powi, lambda b, e: (mul(e, powi(b, I(e.lo - 1, None))), zero)),
    O(
        "pow",
        2,
        np.power,
        powg,
        lambda b, e: (mul(e, powg(b, I(e.lo - 1, e.hi - 1))), mul(powg(b, e), I(np.log(b.lo), np.log(b.hi)))),
    ),
    O(
        "sqrt",
        1,
        np.sqrt,
        mono(lambda x: np.sqrt(np.maximum(x, 0)), 1),
        lambda a: (recip(I(2 * np.sqrt(np.maximum(a.lo, 0)), 2 * np.sqrt(np.maximum(a.hi, 0)))),),
    ),
    O("exp", 1, np.exp, mono(np.exp), lambda a: (mono(np.exp)(a),)),
    O("log", 1, np.log, mono(np.log), lambda a: (recip(I(np.maximum(a.lo, 0), np.maximum(a.hi, 0))),)),
    O("min", 2, np.minimum, lambda a, b: I(np.minimum(a.lo, b.lo), np.minimum(a.hi, b.hi)), mins),
    O("max", 2, np.maximum, lambda a, b: I(np.maximum(a.lo, b.lo), np.maximum(a.hi, b.hi)), maxs),
    O(
        "abs",
        1,
        np.abs,
        lambda a: I(
            np.where((a.lo < 0) & (a.hi > 0), 0, np.minimum(abs(a.lo), abs(a.hi))),
            np.maximum(abs(a.lo), abs(a.hi)),
        ),
        lambda a: (I(np.where(a.lo >= 0, 1.0, -1.0), np.where(a.hi <= 0, -1.0, 1.0)),),
    ),
    O("tan", 1, np.tan, mono(np.tan), lambda a: (out(1 + np.tan(a.lo) ** 2, 1 + np.tan(a.hi) ** 2, 4),)),
    O("expm1_ratio", 1, er, mono(er, 8), lambda a: (mono(erd, 64)(a),)),
    O(
        "erf",
        1,
        np.vectorize(erf),
        mono(np.vectorize(erf)),
        lambda a: (I(np.zeros_like(a.lo), np.full_like(a.lo, 1.13)),),
    ),
]
OPERATORS: Mapping[str, Operator] = {o.name: o for o in L}
