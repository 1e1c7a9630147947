"""What the fan's air takes, against the ht and fluids libraries and a boundary layer solved by scipy.

Sources: Churchill and Bernstein 1977, J. Heat Transfer 99, 300-306, with its last factor, as in the ht library; values
of 182, 248 and 379 W/m2/K for 0.4 mm at 1, 2 and 5 m/s computed by hand from the same correlation with slightly other
properties; laminar plates of Baehr and Stephan and of Churchill and Ozoe, as in ht; the boundary layer of Blasius and
Pohlhausen, solved here; air by the standard atmosphere's formulas in the fluids library.
"""

import pytest
from fluids import ATMOSPHERE_1976, Reynolds
from ht.conv_external import (
    Nu_cylinder_Churchill_Bernstein,
    Nu_horizontal_plate_laminar_Baehr,
    Nu_horizontal_plate_laminar_Churchill_Ozoe,
)
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

PRANDTL = 0.70


def air(temperature: float) -> tuple[float, float]:
    """Give kinematic viscosity and conductivity of air at 1 atm, from a temperature in K."""
    density = ATMOSPHERE_1976.density(temperature, 101_325)
    return ATMOSPHERE_1976.viscosity(temperature) / density, ATMOSPHERE_1976.thermal_conductivity(temperature)


@pytest.mark.parametrize(("temperature", "viscosity", "conductivity"), [(380, 23.6, 0.0322), (330, 18.9, 0.0285)])
def test_air_of_the_laws(temperature, viscosity, conductivity):
    """The properties that stand in the laws, within 2 %."""
    found = air(temperature)
    assert found == (pytest.approx(viscosity * 1e-6, rel=0.02), pytest.approx(conductivity, rel=0.01))


@pytest.mark.parametrize("bore", [0.25, 0.4, 0.6, 0.8])
@pytest.mark.parametrize("speed", [1, 2, 3, 5, 10])
def test_bead_in_cross_flow(derive, bore, speed):
    """With the correlation's share at rest added, 0.3 conductivity / bore, within 3 % of the whole correlation."""
    viscosity, conductivity = air(380)
    reynolds = Reynolds(V=speed, D=bore * 1e-3, nu=viscosity)
    whole = Nu_cylinder_Churchill_Bernstein(reynolds, PRANDTL) * conductivity / (bore * 1e-3)
    moved = derive("bead_fan", {"fan_air": f"{speed} m/s", "nozzle_bore": f"{bore} mm"})
    assert moved + 0.3 * conductivity / (bore * 1e-3) == pytest.approx(whole, rel=0.03)


@pytest.mark.parametrize(("speed", "whole"), [(1, 182), (2, 248), (5, 379)])
def test_bead_of_four_tenths(derive, speed, whole):
    moved = derive("bead_fan", {"fan_air": f"{speed} m/s", "nozzle_bore": "0.4 mm"})
    assert moved + 0.3 * 0.0322 / 0.4e-3 == pytest.approx(whole, rel=0.02)


@pytest.mark.parametrize(("speed", "most"), [(1, 1.35), (2, 1.25), (5, 1.20)])
def test_still_air_and_fan_together_lean_to_more_cooling(derive, speed, most):
    """The laws add still air, 60 W/m2/K. Where both act the correlation alone is lower: bonds are not promised more."""
    together = 60 + derive("bead_fan", {"fan_air": f"{speed} m/s", "nozzle_bore": "0.4 mm"})
    viscosity, conductivity = air(380)
    whole = Nu_cylinder_Churchill_Bernstein(Reynolds(V=speed, D=0.4e-3, nu=viscosity), PRANDTL) * conductivity / 0.4e-3
    assert whole <= together <= most * whole


@pytest.mark.parametrize("face", [10, 20, 80])
@pytest.mark.parametrize("speed", [1, 3, 5])
def test_part_in_a_stream(derive, face, speed):
    """Mean over a laminar plate: Baehr and Stephan's fit within 2 %, Churchill and Ozoe's within 3 %."""
    viscosity, conductivity = air(330)
    reynolds = Reynolds(V=speed, D=face * 1e-3, nu=viscosity)
    found = derive("part_fan", {"fan_air": f"{speed} m/s", "part_face": f"{face} mm"}) * face * 1e-3 / conductivity
    assert found == pytest.approx(Nu_horizontal_plate_laminar_Baehr(reynolds, PRANDTL), rel=0.02)
    assert found == pytest.approx(Nu_horizontal_plate_laminar_Churchill_Ozoe(reynolds, PRANDTL), rel=0.03)


def test_part_against_a_boundary_layer(derive):
    """Blasius' flow and Pohlhausen's heat in it, by shooting; the mean over the plate is twice the end's value."""

    def flow(shear: float) -> float:
        solved = solve_ivp(lambda _, y: [y[1], y[2], -y[0] * y[2] / 2], (0, 12), [0, 0, shear], rtol=1e-9)
        return float(solved.y[1, -1] - 1)

    shear = brentq(flow, 0.1, 1)
    assert shear == pytest.approx(0.33206, rel=1e-4)

    def both(_: float, y: list[float]) -> list[float]:
        return [y[1], y[2], -y[0] * y[2] / 2, y[4], -PRANDTL * y[0] * y[4] / 2]

    slope = 1 / solve_ivp(both, (0, 12), [0, 0, shear, 0, 1], rtol=1e-9).y[3, -1]
    reynolds = 3 * 0.02 / 18.9e-6
    found = derive("part_fan", {"fan_air": "3 m/s", "part_face": "20 mm"}) * 0.02 / 0.0285
    assert found == pytest.approx(2 * slope * reynolds**0.5, rel=0.015)


@pytest.mark.parametrize("name", ["bead", "part"])
def test_a_quarter_of_the_speed_takes_half_of_the_heat(derive, name):
    """The same as a stream of a quarter of the speed at full fan."""
    still = {"nozzle_bore": "0.4 mm", "part_face": "20 mm"}
    full = derive(f"{name}_forced", {**still, "fan_air": "4 m/s", "fan.share": "1"})
    assert derive(f"{name}_forced", {**still, "fan_air": "4 m/s", "fan.share": "25 %"}) == pytest.approx(full / 2)
    assert derive(f"{name}_forced", {**still, "fan_air": "1 m/s", "fan.share": "1"}) == pytest.approx(full / 2)
    assert derive(f"{name}_forced", {**still, "fan_air": "4 m/s", "fan.share": "0"}) == 0


@pytest.mark.parametrize("first", [0.1, 0.2, 0.3, 0.4])
@pytest.mark.parametrize("foot", [0, 0.15, 0.35, 0.95])
def test_layers_without_a_fan_reach_the_foots_height(holds, first, foot):
    """Layers counted one by one: those before the fan's first must reach the height, and one fewer must not do."""
    height = 0.1
    for start in range(1, 15):
        without = sum(first if layer == 1 else height for layer in range(1, start))
        values = {
            "layer.height": f"{height} mm",
            "layer.height_first": f"{first} mm",
            "fan.from_layer": str(start),
            "foot_height": f"{foot} mm",
        }
        assert holds("fan_and_foot", values) == (without >= foot,), start
