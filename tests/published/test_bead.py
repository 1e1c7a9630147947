"""The bead against exact plane geometry, and the strand that leaves the nozzle.

Sources: plane geometry and conservation of volume, computed; Tanner 1970, J. Polym. Sci. A-2 8, 2067-2078: swell of a
strand, form from memory; a strand that recovers no shear swells by a tenth or a little more (Newtonian jets measured
and computed at 1.13, from memory); swell of polymers of 10 to 100 %, from memory. Common practice, no source: 0.2 mm
of overlap for a nozzle of 0.4 mm.
"""

import math

import pytest


@pytest.mark.parametrize(
    ("width", "height", "section", "spacing"),
    [
        (0.45, 0.20, 0.081416, 0.407080),
        (0.40, 0.20, 0.071416, 0.357080),
        (0.60, 0.30, 0.160686, 0.535619),
        (0.40, 0.10, 0.037854, 0.378540),
        (0.20, 0.20, 0.031416, 0.157080),
    ],
)
def test_section_and_spacing(derive, width, height, section, spacing):
    """A rectangle between two half circles, computed exactly; beads at that spacing leave no void."""
    values = {"bead.width": f"{width} mm", "layer.height": f"{height} mm"}
    assert derive("section", values) == pytest.approx(section * 1e-6, abs=6e-13)
    assert derive("spacing", values) == pytest.approx(spacing * 1e-3, abs=6e-10)
    assert derive("spacing", values) * height * 1e-3 == pytest.approx(derive("section", values))


def test_flow_and_filament_speed(derive):
    """0.45 by 0.20 mm at 50 mm/s takes 4.0708 mm3/s, which is 1.69244 mm/s of 1.75 mm filament."""
    values = {
        "bead.width": "0.45 mm",
        "layer.height": "0.2 mm",
        "speed.contour": "50 mm/s",
        "diameter": "1.75 mm",
        "feed.flow_ceiling": "1 mm3/s",
    }
    assert derive("flow", values) == pytest.approx(4.0708e-9, rel=1e-5)
    assert derive("filament_speed", values) == pytest.approx(1.69244e-3, rel=1e-5)


def test_mean_void_of_the_cusps(derive):
    """Between half circles of radius s at a pitch of 2 s the mean void below their tips is (1 - pi/4) s."""
    s = derive("spacing", {"bead.width": "0.45 mm", "layer.height": "0.2 mm"})
    steps = 20_000
    void = sum(s - math.sqrt(s * s - (s * (2 * (i + 0.5) / steps - 1)) ** 2) for i in range(steps)) / steps
    assert void == pytest.approx((1 - math.pi / 4) * s, rel=1e-4)


def test_overlap_between_cusps_and_bulge(holds):
    """Common practice, no source: 0.2 mm for beads of 0.45 by 0.2 mm lies just short of half a spacing, 0.204 mm."""
    bead = {"bead.width": "0.45 mm", "layer.height": "0.2 mm"}
    for overlap, held in ((0.19, (False, True)), (0.21, (True, True)), (0.29, (True, True)), (0.30, (True, False))):
        assert holds("contour_fill_overlap", {**bead, "bead.overlap": f"{overlap} mm"}) == held
    usual = {"bead.width": "0.44 mm", "layer.height": "0.2 mm", "bead.overlap": "0.2 mm"}
    assert holds("contour_fill_overlap", usual) == (True, True)


@pytest.mark.parametrize(
    ("recovered", "swell"), [(0, 1.13), (1, 1.19991), (2, 1.33094), (math.sqrt(126), 2.13), (4, 1.57222)]
)
def test_swell(derive, recovered, swell):
    """(1 + s^2 / 2)^(1/6) + 0.13 at points worked out by hand: the roots of 1, 1.5, 3, 64 and 9."""
    values = {"wall_stress": f"{recovered * 1e5!r} Pa", "recovery_modulus": "100 kPa"}
    assert derive("swell", values) == pytest.approx(swell, abs=1e-4)


@pytest.mark.parametrize("stress", [0.05, 0.1, 0.2, 0.3])
@pytest.mark.parametrize("modulus", [60, 100, 200])
def test_swell_is_of_the_size_that_is_measured(derive, stress, modulus):
    """Polymers swell by 10 to 100 % (from memory)."""
    swell = derive("swell", {"wall_stress": f"{stress} MPa", "recovery_modulus": f"{modulus} kPa"})
    assert 1.1 <= swell <= 2


def test_drawing(derive, holds):
    """A strand of 0.4 mm swollen by 30 % has 0.21237 mm2: laid as 0.081416 mm2 it is drawn to 2.6085 its length."""
    bead = {"nozzle_bore": "0.4 mm", "swell": "1.3", "bead.width": "0.45 mm", "layer.height": "0.2 mm"}
    assert derive("drawing", bead) == pytest.approx(math.pi / 4 * 0.52**2 / 0.081416, rel=1e-5)
    for limit, held in ((2.6, False), (2.62, True)):
        assert holds("die_swell", {**bead, "draw_limit": str(limit)}) == (held,)
