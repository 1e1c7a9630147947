"""Travel moves and what runs out meanwhile.

Sources: uniform acceleration, added up along the way by scipy; the volume of a cylinder.
"""

import math
from itertools import pairwise

import pytest
from scipy.integrate import quad


def followed(length: float, speed: float, acceleration: float) -> float:
    """Add up a move piece by piece of its way, each at the pace that its two ends allow; in s."""

    def slowness(at: float) -> float:
        return 1 / min(speed, math.sqrt(2 * acceleration * at), math.sqrt(2 * acceleration * (length - at)))

    ramp = min(speed**2 / (2 * acceleration), length / 2)
    ends = (0, ramp, length - ramp, length)
    return float(sum(quad(slowness, start, end, epsrel=1e-9)[0] for start, end in pairwise(ends)))


@pytest.mark.parametrize(("length", "speed", "acceleration"), [(20, 150, 1500), (40, 100, 800), (100, 200, 3000)])
def test_time_of_a_trapezoid(derive, length, speed, acceleration):
    """A move that reaches its speed takes just the law's time."""
    values = {
        "travel_length": f"{length} mm",
        "speed.travel": f"{speed} mm/s",
        "travel_limit": f"{speed} mm/s",
        "acceleration": f"{acceleration} mm/s2",
    }
    assert speed <= math.sqrt(acceleration * length)
    assert derive("travel_time", values) == pytest.approx(followed(length, speed, acceleration), rel=1e-6)


@pytest.mark.parametrize(("length", "limit", "acceleration"), [(5, 150, 1500), (15, 300, 1000)])
@pytest.mark.parametrize("share", [0.3, 1])
def test_time_of_a_triangle_or_a_slower_move_is_never_longer(derive, length, limit, acceleration, share):
    """A move too short to reach its speed, or slower than the machine's limit, takes no longer than the law says."""
    speed = share * limit
    values = {
        "travel_length": f"{length} mm",
        "speed.travel": f"{speed} mm/s",
        "travel_limit": f"{limit} mm/s",
        "acceleration": f"{acceleration} mm/s2",
    }
    found = followed(length, speed, acceleration)
    assert derive("travel_time", values) >= found * (1 - 1e-9)
    if speed > math.sqrt(acceleration * length):
        assert found == pytest.approx(2 * math.sqrt(length / acceleration), rel=1e-6)


def test_volume_of_a_thread(derive):
    """A thread of 0.1 mm by 20 mm is 0.157 mm3, or 0.0653 mm of 1.75 mm filament; both laws see the same thread."""
    volume = math.pi / 4 * 0.1**2 * 20
    values = {
        "leftover_flow": f"{volume / 0.25!r} mm3/s",
        "travel_time": "0.25 s",
        "travel_length": "20 mm",
        "diameter": "1.75 mm",
    }
    assert derive("lost_length", values) == pytest.approx(volume / (math.pi / 4 * 1.75**2) * 1e-3)
    assert derive("lost_length", values) == pytest.approx(0.0653e-3, rel=1e-3)
    assert derive("string_diameter", values) == pytest.approx(0.1e-3)


@pytest.mark.parametrize(("extra", "held"), [(0.05, False), (0.06, True)])
def test_refill_makes_up_for_the_thread(holds, extra, held):
    """0.0653 mm is missing: a lattice step less, 0.0563 mm, is enough and 0.05 mm is not."""
    values = {"lost_length": "0.0653 mm", "retraction.refill_extra": f"{extra} mm"}
    assert holds("refill", values) == (held,)
