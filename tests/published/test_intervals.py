"""Published interval results.

The vectors are facts restated from ITF1788, the interval test framework for IEEE 1788-2015 by Heimlich, whose cases
come from libieeep1788 by Nehmeier; both under the Apache-2.0 licence. Their bounds are the tightest ones; ours may
lie further out by what each operator promises, and never further in.
"""

import numpy as np
import pytest
from meltwright.solving import operators
from meltwright.solving.operators import OPERATORS, Interval

INF = np.inf
LARGEST = float.fromhex("0x1.fffffffffffffp+1023")
EMPTY = (INF, -INF)
ENTIRE = (-INF, INF)
Bounds = tuple[float, float]


def box(bounds: Bounds) -> Interval:
    lo, hi = np.array(bounds, dtype=np.float64)
    return Interval(np.array([lo]), np.array([hi]))


def bounds(interval: Interval) -> Bounds:
    return float(np.ravel(interval.lo)[0]), float(np.ravel(interval.hi)[0])


def enclose(name: str, *arguments: Bounds) -> Bounds:
    return bounds(OPERATORS[name].enclosure(*map(box, arguments)))


def x(text: str) -> float:
    return float.fromhex(text)


# Operator, arguments, tightest bounds, and how many units in the last place ours may lie outside.
VECTORS: list[tuple[str, tuple[Bounds, ...], Bounds, int]] = [
    ("add", ((1, 2), (3, 4)), (4, 6), 1),
    ("add", ((1, 2), (3, INF)), (4, INF), 1),
    ("add", ((-INF, 2), (3, INF)), ENTIRE, 0),
    ("sub", ((1, 2), (3, 4)), (-3, -1), 1),
    ("mul", ((1, 5), (-5, -1)), (-25, -1), 1),
    ("mul", ((0, 0), (1, INF)), (0, 0), 0),
    ("mul", ((-10, -5), (-INF, 3)), (-30, INF), 1),
    ("mul", ((1, INF), (-INF, 3)), ENTIRE, 0),
    ("div", ((-2, -1), (-10, -3)), (x("0x1.9999999999999p-4"), x("0x1.5555555555556p-1")), 1),
    ("div", ((-30, 15), (3, 5)), (-10, 5), 1),
    ("div", ((-30, -15), (-3, -0.0)), (5, INF), 1),
    ("div", ((0, 0), (-INF, 3)), (0, 0), 0),
    ("div", ((-2, -1), (0, 10)), (-INF, x("-0x1.9999999999999p-4")), 1),
    ("div", ((1, 1), (-50, -10)), (x("-0x1.999999999999Ap-4"), x("-0x1.47AE147AE147Ap-6")), 1),
    ("powi", ((-50, -10), (-1, -1)), (x("-0x1.999999999999Ap-4"), x("-0x1.47AE147AE147Ap-6")), 2),
    ("powi", ((-5, 3), (2, 2)), (0, 25), 1),
    ("powi", ((13.1, 13.1), (3, 3)), (x("0x1.1902E978D4FDEp+11"), x("0x1.1902E978D4FDFp+11")), 2),
    ("powi", ((3, 5), (-3, -3)), (x("0x1.0624DD2F1A9FBp-7"), x("0x1.2F684BDA12F69p-5")), 2),
    ("powi", ((0, 0), (-7, -7)), EMPTY, 0),
    ("sqrt", ((-1, 1),), (0, 1), 1),
    ("sqrt", ((0.1, 0.1),), (x("0x1.43D136248490Fp-2"), x("0x1.43D136248491p-2")), 1),
    ("log", ((-0.0, LARGEST),), (-INF, x("0x1.62E42FEFA39Fp+9")), 3),
]


@pytest.mark.parametrize(("name", "arguments", "tightest", "units"), VECTORS)
def test_conformance_vector(name: str, arguments: tuple[Bounds, ...], tightest: Bounds, units: int) -> None:
    lo, hi = enclose(name, *arguments)
    if tightest == EMPTY:
        assert (lo, hi) == EMPTY
        return
    for outer, inner in ((-lo, -tightest[0]), (hi, tightest[1])):
        assert outer >= inner
        if not np.isinf(inner):
            assert outer - inner <= units * np.spacing(abs(inner))


def test_meet_and_hull() -> None:
    assert bounds(operators.meet(box((1, 3)), box((2.1, 4)))) == (2.1, 3)
    assert bounds(operators.hull(box((1, 3)), box((2.1, 4)))) == (1, 4)


def test_the_divisor_zero_departs_from_the_standard() -> None:
    # IEEE 1788-2015 has the empty interval; ours must not let a law divide by zero and prove something by it.
    assert enclose("div", (1, 2), (0, 0)) == ENTIRE
    assert enclose("div", (0, 0), (0, 0)) == ENTIRE


def test_dependency() -> None:
    # Moore, Kearfott and Cloud, Introduction to Interval Analysis, SIAM 2009: X - X and X (1 - X) on [0, 1].
    assert enclose("sub", (0, 1), (0, 1)) == pytest.approx((-1, 1), abs=3e-16)
    assert enclose("mul", (0, 1), enclose("sub", (1, 1), (0, 1))) == pytest.approx((0, 1), abs=6e-16)


def test_newton_steps() -> None:
    # Moore's interval Newton method (Interval Analysis, 1966) for x^2 = 2 on [1, 2]; steps recomputed from the method.
    steps = [(1.375, 1.4375), (1.4140625, 1.4144176), (1.414213559, 1.414213566)]
    x_now = box((1, 2))
    for step in steps:
        middle = operators.exact((x_now.lo + x_now.hi) / 2)
        two = operators.exact([2.0])
        power = OPERATORS["powi"]
        rest = OPERATORS["sub"].enclosure(power.enclosure(middle, two), two)
        (slope, _) = power.slopes(x_now, two)
        shift = OPERATORS["div"].enclosure(rest, slope)
        x_now = operators.meet(x_now, OPERATORS["sub"].enclosure(middle, shift))
        assert bounds(x_now) == pytest.approx(step, abs=1e-7 if step[0] > 1.41 else 1e-14)
    assert x_now.lo[0] ** 2 < 2 < x_now.hi[0] ** 2
