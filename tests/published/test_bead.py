"""The stadium bead against exact plane geometry."""

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
