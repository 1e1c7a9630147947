"""Drying against diffusion out of a cylinder.

Sources: Crank, The Mathematics of Diffusion, 2nd ed., ch. 5 (from memory): the mean is the sum of 4 / zero^2
exp(-zero^2 D t / r^2), summed here with scipy's Bessel zeros and compared with the equation itself solved on a grid;
Arrhenius' law, computed. Usual drying times of a few hours to a day are common practice, no source.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import jn_zeros

ZEROS = jn_zeros(0, 2000)


def left(fourier: float) -> float:
    """Mean that is left in a cylinder whose surface is held dry, by the exact series."""
    return float((4 / ZEROS**2 * np.exp(-(ZEROS**2) * fourier)).sum())


def fourier_of_need(derive, ratio: float) -> float:
    """Give the need as diffusivity times time over radius squared, for water over what is allowed."""
    values = {
        "diameter": "1.75 mm",
        "spreading": "20 um2/s",
        "moisture": f"{0.0005 * ratio!r}",
        "moisture_allowed": "0.0005",
    }
    return derive("drying_need", values) * 20e-12 / (0.875e-3) ** 2


def test_the_series_against_the_equation_itself():
    """Diffusion in a cylinder on a grid of shells, by scipy: the same mean as the series within 0.1 %."""
    cells = 400
    edges = np.linspace(0, 1, cells + 1)
    volumes = np.diff(edges**2)

    def slope(_: float, water: np.ndarray) -> np.ndarray:
        steps = np.diff(water) * cells
        flows = 2 * edges * np.concatenate(([0.0], steps, [-2 * cells * water[-1]]))
        return np.diff(flows) / volumes

    solved = solve_ivp(slope, (0, 0.3), np.ones(cells), method="LSODA", lband=1, uband=1, t_eval=[0.02, 0.1, 0.3])
    for fourier, water in zip(solved.t, solved.y.T, strict=True):
        assert float(water @ volumes) == pytest.approx(left(float(fourier)), rel=2e-3)


@pytest.mark.parametrize("ratio", [3, 5, 10, 30])
def test_time_for_much_water_against_the_series(derive, ratio):
    """From three times what is allowed on the law is within 4 % of the exact time."""
    exact = brentq(lambda fourier: left(fourier) - 1 / ratio, 1e-6, 5)
    assert fourier_of_need(derive, ratio) == pytest.approx(exact, rel=0.04)


@pytest.mark.parametrize("ratio", [1.02, 1.1, 1.3, 1.5, 1.75, 2, 2.2, 2.5, 2.8])
def test_time_for_little_water_is_hardly_short_and_not_long_by_half(derive, ratio):
    """Where the first term alone would be too short, or zero: as the law says, 2 % short or two fifths long at most."""
    exact = brentq(lambda fourier: left(fourier) - 1 / ratio, 1e-6, 5)
    assert 0.98 * exact <= fourier_of_need(derive, ratio) <= 1.41 * exact


@pytest.mark.parametrize("ratio", [0.3, 1])
def test_dry_filament_needs_no_drying(derive, ratio):
    assert fourier_of_need(derive, ratio) == 0


@pytest.mark.parametrize(
    ("energy", "heat", "times"), [(45, 80, 2.9557), (45, 50, 0.7096), (60, 70, 1.8840), (45, 55, 0.9127)]
)
def test_heat_quickens(derive, energy, heat, times):
    """Arrhenius' law from 57 degC."""
    reference = 57 + 273.15
    exact = math.exp(energy * 1e3 / 8.31446261815324 * (1 / reference - 1 / (heat + 273.15)))
    values = {
        "moisture_spread": "10 um2/s",
        "drying_reference": "57 degC",
        "moisture_energy": f"{energy} kJ/mol",
        "drying.temperature": f"{heat} degC",
    }
    assert derive("spreading", values) == pytest.approx(10e-12 * exact, rel=1e-9)


def test_a_wet_filament_is_not_dry_after_an_hour_but_after_a_day(holds):
    """1.75 mm with 0.3 %, 0.05 % allowed and 20 um2/s: 2.6 h by the series."""
    exact = brentq(lambda fourier: left(fourier) - 1 / 6, 1e-6, 5) * (0.875e-3) ** 2 / 20e-12 / 3600
    assert exact == pytest.approx(2.6, abs=0.05)
    values = {"diameter": "1.75 mm", "spreading": "20 um2/s", "moisture": "0.003", "moisture_allowed": "0.0005"}
    for hours, held in ((1, False), (2.5, False), (3, True), (24, True)):
        assert holds("drying_time", {**values, "drying.time": f"{hours} h"}) == (held,)
