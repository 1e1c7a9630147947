"""Gauss-Legendre points, the same on every machine."""

import math
from functools import cache


@cache
def gauss_legendre(count: int) -> tuple[tuple[float, float], ...]:
    """Give (point, weight) pairs on 0..1, by Newton's method on the Legendre recurrence.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.29 and 22.7.10.
    """
    pairs = []
    for i in range(count):
        x = math.cos(math.pi * (i + 0.75) / (count + 0.5))
        for _ in range(100):
            p, slope = _legendre(count, x)
            step = p / slope
            x -= step
            if abs(step) < 1e-16:
                break
        _, slope = _legendre(count, x)
        weight = 2.0 / ((1.0 - x * x) * slope * slope)
        pairs.append(((1.0 - x) / 2.0, weight / 2.0))
    return tuple(pairs)


def _legendre(n: int, x: float) -> tuple[float, float]:
    """Give the Legendre polynomial of degree ``n`` >= 1 at ``x`` and its slope."""
    before, now = 1.0, x
    for k in range(2, n + 1):
        before, now = now, ((2 * k - 1) * x * now - (k - 1) * before) / k
    return now, n * (x * now - before) / (x * x - 1.0)
