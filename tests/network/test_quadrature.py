"""Gauss-Legendre points against numpy, against mpmath at 40 digits, and against polynomials they must integrate."""

import mpmath
import numpy as np
import pytest
from meltwright.network.quadrature import gauss_legendre


@pytest.mark.parametrize("count", range(1, 33))
def test_points_and_weights_as_numpy_has_them(count: int) -> None:
    points, weights = np.polynomial.legendre.leggauss(count)
    found = sorted(gauss_legendre(count))
    assert [p for p, _ in found] == pytest.approx((points + 1) / 2, rel=1e-13, abs=1e-16)
    assert [w for _, w in found] == pytest.approx(weights / 2, rel=1e-11)


@pytest.mark.parametrize("count", [2, 5, 8, 20, 32])
def test_points_are_roots_and_weights_are_right_at_40_digits(count: int) -> None:
    """Weight 2 / ((1 - x^2) P'(x)^2): Abramowitz and Stegun, 25.4.29."""
    with mpmath.workdps(40):
        for point, weight in gauss_legendre(count):
            x = mpmath.findroot(lambda t: mpmath.legendre(count, t), mpmath.mpf(2 * point - 1))
            slope = mpmath.diff(lambda t: mpmath.legendre(count, t), x)
            assert abs((x + 1) / 2 - point) < mpmath.mpf("1e-15")
            assert abs(1 / ((1 - x**2) * slope**2) / weight - 1) < mpmath.mpf("1e-12")


@pytest.mark.parametrize("count", [1, 2, 3, 8, 16])
def test_polynomials_up_to_twice_the_points_are_exact(count: int) -> None:
    for power in range(2 * count):
        total = sum(weight * point**power for point, weight in gauss_legendre(count))
        assert total == pytest.approx(1 / (power + 1), rel=1e-13)
