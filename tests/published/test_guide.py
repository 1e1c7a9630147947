"""Push, shortening and slack in a guide.

Sources: rope friction of Euler and Eytelwein, computed, and a worked example of Tayal, Engineering
Mechanics, ch. 7, as printed in a public transcription; Hooke's law; slack by plane geometry (own
derivation).
"""

import math

import pytest
from scipy.integrate import quad


@pytest.mark.parametrize(
    ("friction", "bend", "factor"),
    [
        (0.1, 90, 1.1701),
        (0.1, 180, 1.3691),
        (0.1, 360, 1.8745),
        (0.1, 540, 2.5663),
        (0.2, 180, 1.8745),
        (0.2, 540, 6.5861),
    ],
)
def test_rope_friction(derive, friction, bend, factor):
    """Growth of the push over a bend, computed from exp(friction * angle)."""
    values = {"push_at_hot_end": "2 N", "friction": str(friction), "bend": f"{bend} deg"}
    assert derive("push", values) / 2 == pytest.approx(factor, rel=5e-5)


def test_worked_example_of_rope_friction(derive):
    """Tayal: friction 0.25, half a turn, 455.98 N holds 1000 N; the book rounds e to 2.718."""
    values = {"push_at_hot_end": "455.98 N", "friction": "0.25", "bend": "180 deg"}
    assert derive("push", values) == pytest.approx(1000, rel=6e-4)


@pytest.mark.parametrize(
    ("bore", "bend", "slack"),
    [(2.0, 90, 0.3927), (2.0, 180, 0.7854), (2.0, 360, 1.5708), (1.9, 90, 0.2356), (1.9, 360, 0.9425)],
)
def test_slack_of_clearance(derive, bore, bend, slack):
    """Inside and outside of a bend differ by clearance times angle, whatever its radius."""
    values = {"guide_bore": f"{bore} mm", "diameter": "1.75 mm", "bend": f"{bend} deg", "play": "0 mm"}
    assert derive("slack", values) == pytest.approx(slack * 1e-3, rel=2e-4)


@pytest.mark.parametrize(("modulus", "push", "shortening"), [(2000, 20, 4.158), (26, 5, 79.95)])
def test_shortening_without_friction(derive, modulus, push, shortening):
    """Hooke's law for 1 m of 1.75 mm rod, computed."""
    values = {
        "melt_pressure": f"{push / (math.pi / 4 * 1.75**2)!r} MPa",
        "modulus": f"{modulus} MPa",
        "guide_length": "1000 mm",
        "friction": "0.2",
        "bend": "0 deg",
    }
    assert derive("shortening", values, law="block_stretch") == pytest.approx(shortening * 1e-3, rel=2e-4)


@pytest.mark.parametrize(("friction", "bend"), [(0.1, 90), (0.2, 360), (0.3, 540)])
def test_shortening_with_friction(derive, friction, bend):
    """The push grows exponentially along an even bend; scipy adds up the strain."""
    values = {
        "melt_pressure": "0.4 MPa",
        "modulus": "20 MPa",
        "guide_length": "350 mm",
        "friction": str(friction),
        "bend": f"{bend} deg",
    }
    strain = quad(lambda share: 0.4 / 20 * math.exp(friction * math.radians(bend) * share), 0, 1)[0]
    assert derive("shortening", values, law="block_stretch") == pytest.approx(350e-3 * strain, rel=1e-9)


def test_tube_stretches_as_hooke_says(derive):
    """2.4053 N along 350 mm of a wall of 9.42 mm2 with 490 MPa, added to the filament's own shortening."""
    values = {
        "melt_pressure": "1 MPa",
        "diameter": "1.75 mm",
        "modulus": "20 MPa",
        "guide_length": "350 mm",
        "friction": "0.1",
        "bend": "0 deg",
        "guide_modulus": "490 MPa",
        "guide_wall": "9.42 mm2",
    }
    rigid = derive("shortening", values, law="block_stretch")
    flexible = derive("shortening", values, law="tube_stretch")
    assert flexible - rigid == pytest.approx(2.40528 * 0.35 / (490e6 * 9.42e-6), rel=1e-5)
