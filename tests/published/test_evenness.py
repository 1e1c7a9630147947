"""How a springy feed settles after a change of speed.

Sources: Hagen and Poiseuille's resistance and Hooke's compliance in series, computed; the pressure followed through a
step of speed by scipy for melts that do and do not thin.
"""

import math

import pytest
from scipy.integrate import solve_ivp

AREA = math.pi / 4 * 1.75e-3**2
RESISTANCE = 8 * 500 * 0.6e-3 / (math.pi * 0.2e-3**4)
"""500 Pa s through 0.4 mm by 0.6 mm, in Pa s/m3."""


@pytest.mark.parametrize(
    ("modulus", "length", "time"), [(26, 50, 2.21), (26, 400, 17.7), (2000, 50, 0.0287), (2000, 400, 0.230)]
)
def test_settling_time(derive, modulus, length, time):
    """Resistance times the rod's compliance, area times length over modulus, computed."""
    flow = 2e-9
    values = {
        "diameter": "1.75 mm",
        "modulus": f"{modulus} MPa",
        "guide_length": f"{length} mm",
        "friction": "0.1",
        "bend": "0 deg",
        "melt_pressure": f"{RESISTANCE * flow!r} Pa",
        "peak_flow": f"{flow!r} m3/s",
    }
    found = derive("settling_time", values, law="block_stretch")
    assert found == pytest.approx(RESISTANCE * AREA * length * 1e-3 / (modulus * 1e6), rel=1e-4)
    assert found == pytest.approx(time, rel=4e-3)


def missing(thinning: float, step: float, settling: float, flow: float) -> tuple[float, float]:
    """Give the volume missing after a step of the feed, and the share of the step that has arrived after a time.

    A melt whose pressure is a power of its flow; pressure is counted in that of the first flow.
    """
    compliance = flow * settling

    def slope(_: float, state: list[float]) -> list[float]:
        out = flow * state[0] ** (1 / thinning)
        return [(flow * (1 + step) - out) / compliance, flow * (1 + step) - out]

    solved = solve_ivp(slope, (0, 60 * settling), [1, 0], rtol=1e-10, atol=1e-14, dense_output=True)
    arrived = solved.sol(settling)[0] ** (1 / thinning) - 1
    return float(solved.y[1, -1]), float(arrived / step)


@pytest.mark.parametrize("step", [0.05, 0.5, 1, -0.1])
def test_a_newtonian_step_misses_its_share_of_the_volume_stored(step):
    """The integral of an exponential: step times the volume stored; after one settling time 1 - 1/e has arrived."""
    volume, arrived = missing(1, step, 3, 2e-9)
    assert volume == pytest.approx(step * 2e-9 * 3, rel=1e-6)
    assert arrived == pytest.approx(1 - math.exp(-1), rel=1e-6)


@pytest.mark.parametrize("thinning", [0.25, 0.5, 0.8])
@pytest.mark.parametrize("step", [0.05, 0.5, 1, -0.5, -0.9])
def test_a_thinning_melt_misses_less_and_settles_sooner(thinning, step):
    volume, arrived = missing(thinning, step, 3, 2e-9)
    assert 0 < volume / (step * 2e-9 * 3) < 1
    assert arrived > 1 - math.exp(-1)


def test_the_step_borne_costs_a_tenth_of_a_feature(derive):
    """The step that the law allows, followed by scipy: the missing volume is a tenth of the feature's."""
    settling, flow, section, length = 3.0, 2e-9, 0.08e-6, 60e-3
    speed = flow / AREA
    values = {
        "feature_length": "60 mm",
        "section": "0.08 mm2",
        "filament_area": f"{AREA!r} m2",
        "shortening": f"{settling * speed!r} m",
    }
    step = derive("step_borne", values)
    volume, _ = missing(1, step, settling, flow)
    assert volume == pytest.approx(0.1 * section * length, rel=1e-5)


@pytest.mark.parametrize(
    ("fill", "peak", "held"),
    [
        (60, 5, (True, True, True)),
        (61, 5, (False, True, True)),
        (60, 4.7, (True, False, True)),
        (151, 12, (False, False, False)),
    ],
)
def test_limits_of_fill(holds, fill, peak, held):
    """Contours of 50 mm/s, a step of a fifth, 0.08 mm2, the machine 150 mm/s: by hand."""
    values = {
        "speed.contour": "50 mm/s",
        "step_borne": "0.2",
        "section": "0.08 mm2",
        "speed.fill": f"{fill} mm/s",
        "peak_flow": f"{peak} mm3/s",
        "fill_limit": "150 mm/s",
    }
    assert holds("even_speeds", values) == held
