"""Push, shortening and slack in a guide.

Sources: rope friction of Euler and Eytelwein, computed, and two worked examples of Tayal, Engineering
Mechanics, ch. 7, as printed in a public transcription; Hooke's law; slack by plane geometry (own
derivation); snaking of rods in pipes after Lubinski and others 1962, Chen, Lin and Cheatham 1990 and He and
Kyllingstad 1995 (forms from memory), followed along the guide by scipy; a rubber of constant volume.
"""

import math

import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq, minimize_scalar


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
    assert derive("push_with_bends", values) / 2 == pytest.approx(factor, rel=5e-5)


@pytest.mark.parametrize(("held", "friction", "turns"), [(455.98, 0.25, 0.5), (3.5025, 0.3, 3)])
def test_worked_examples_of_rope_friction(derive, held, friction, turns):
    """Tayal: 455.98 N over half a turn, 3.5025 N over three turns hold 1000 N; the book rounds e to 2.718."""
    values = {"push_at_hot_end": f"{held} N", "friction": str(friction), "bend": f"{360 * turns} deg"}
    assert derive("push_with_bends", values) == pytest.approx(1000, rel=7e-4)


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


def test_wall_force_of_a_snaking_rod():
    """The helix whose energy is least, found by scipy, presses with clearance/2 push^2 / (4 bending stiffness)."""
    stiffness, push, radius = 12e-6, 5.0, 0.125e-3

    def energy(room: float) -> float:
        def of_turns(turns: float) -> float:
            curvature, shortening = room * (1e3 * turns) ** 2, (room * 1e3 * turns) ** 2 / 2
            return (stiffness * curvature**2 / 2 - push * shortening) * 1e6

        return float(minimize_scalar(of_turns, bounds=(0.01, 2), options={"xatol": 1e-10}).fun) / 1e6

    step = 1e-7
    force = -(energy(radius + step) - energy(radius - step)) / (2 * step)
    assert force == pytest.approx(radius * push**2 / (4 * stiffness), rel=1e-5)


def snaking_values(modulus: float, friction: float, bend: float, length: float, radius: float) -> dict[str, str]:
    """Filament of 1.75 mm in a guide of 2 mm."""
    return {
        "modulus": f"{modulus} MPa",
        "diameter": "1.75 mm",
        "guide_bore": "2 mm",
        "friction": str(friction),
        "bend": f"{bend!r} deg",
        "guide_length": f"{length} mm",
        "bend_radius": f"{radius!r} mm",
    }


@pytest.mark.parametrize(("modulus", "onset"), [(2000, 294.6), (26, 3.830)])
def test_onset_in_a_curved_guide(derive, modulus, onset):
    """Snaking starts at 2 root(EI w / r); a bend of 100 mm presses with w = push / radius: solved by scipy."""
    values = snaking_values(modulus, 0.1, 180, 350, 100)
    stiffness = derive("bending_stiffness", values)
    assert stiffness == pytest.approx(modulus * 1e6 * math.pi / 64 * 1.75e-3**4)
    solved = brentq(lambda push: push - 2 * math.sqrt(stiffness * push / 0.1 / 0.125e-3), 1e-3, 1e4)
    assert derive("snaking_onset", values) == pytest.approx(solved, rel=1e-9)
    assert derive("snaking_onset", values) == pytest.approx(onset, rel=5e-4)


@pytest.mark.parametrize(
    ("modulus", "push", "length", "friction"),
    [(2000, 20, 400, 0.12), (2000, 60, 1000, 0.2), (26, 2, 400, 0.2), (26, 6, 50, 0.25), (10, 1, 350, 0.2)],
)
def test_growth_along_a_straight_guide(derive, modulus, push, length, friction):
    """Friction on the wall force, followed along the guide by scipy; exact where nothing bends."""
    values = snaking_values(modulus, friction, 0, length, 1e15) | {"push_at_hot_end": f"{push} N"}
    growth = friction * 0.125e-3 / (4 * derive("bending_stiffness", values))
    solved = solve_ivp(lambda _, f: growth * f * f, (0, length * 1e-3), [push], rtol=1e-10)
    assert derive("push", values) == pytest.approx(float(solved.y[0, -1]), rel=1e-6)


@pytest.mark.parametrize(
    ("friction", "bend", "share"),
    [
        (0.1, 90, 0.9),
        (0.1, 90, 1),
        (0.1, 90, 1.5),
        (0.1, 90, 2),
        (0.2, 90, 0.6),
        (0.2, 90, 0.9),
        (0.2, 90, 1.5),
        (0.12, 270, 0.3),
        (0.12, 270, 0.6),
        (0.12, 270, 0.9),
        (0.2, 150, 0.9),
        (0.25, 100, 0.9),
        (0.25, 100, 1.2),
    ],
)
def test_growth_along_a_bent_guide_lies_between_two_wall_forces(derive, friction, bend, share):
    """Even bends. The wall bears the larger of the bend's and the snake's force at the least, their sum at the most.

    The law's own simplification, that only the excess snakes, lies between the two where it holds the push for safe.
    """
    length = 400e-3
    radius = length / math.radians(bend)
    values = snaking_values(26, friction, bend, 400, radius * 1e3)
    onset = derive("snaking_onset", values)
    values["push_at_hot_end"] = f"{share * onset!r} N"
    assert derive("snaking", values) <= 0.5
    ends = []
    for joined in (max, lambda bent, snaking: bent + snaking):

        def slope(_: float, f: list[float], joined=joined) -> list[float]:
            bent = f[0] / radius
            return [friction * (joined(bent, bent * f[0] / onset) if f[0] > onset else bent)]

        end = solve_ivp(slope, (0, length), [share * onset], rtol=1e-8, max_step=length / 500, method="LSODA")
        ends.append(float(end.y[0, -1]) if end.success else math.inf)
    assert ends[0] * (1 - 1e-6) <= derive("push", values) <= ends[1] * (1 + 1e-3)


def test_a_locked_filament_is_told(derive, holds):
    """Where three quarters are used up the push is counted four times, and the law forbids it long before."""
    values = snaking_values(10, 0.2, 0, 700, 1e15)
    assert derive("push", {**values, "push_at_hot_end": "10 N"}) == pytest.approx(40)
    assert holds("snaking", {**values, "push_at_hot_end": "10 N"}) == (False,)
    assert holds("snaking", {**values, "push_at_hot_end": "0.1 N"}) == (True,)


@pytest.mark.parametrize("squeeze", [0.01, 0.05, 0.1])
def test_squeezed_filament_keeps_its_volume(holds, squeeze):
    """The law's growth, half the strain, against two rods of constant volume at the strain that small strain gives.

    A rod shortened by just that share is thicker by up to 0.5 %; a neo-Hookean rubber under that load is thinner.
    """
    shortened = 1.75 / math.sqrt(1 - squeeze)
    stretch = brentq(lambda x: (1 / x**2 - x) / 3 - squeeze, 0.5, 1)
    rubber = 1.75 / math.sqrt(stretch)
    assert rubber <= 1.75 * (1 + squeeze / 2) <= shortened <= 1.005 * 1.75 * (1 + squeeze / 2)
    for bore, held in ((rubber, False), (1.005 * shortened, True)):
        values = {"diameter": "1.75 mm", "squeeze": str(squeeze), "guide_bore": f"{bore * (1 - 1e-6)!r} mm"}
        assert holds("room_in_the_guide", values) == (held,)
