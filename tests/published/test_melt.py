"""Melt viscosity, pressure and leftover flow against exact capillary flow.

Sources: Arrhenius' law and the capillary and cone formulas of a power-law fluid as in Bird, Armstrong and
Hassager and in Bellini and others 2004 (values recomputed); the Cross set of an injection ABS from a public
transcription of Kazmer, Injection Mold Design Engineering, with its flow by the Rabinowitsch integral,
computed here with scipy; the universal constants of Williams, Landel and Ferry 1955 (from memory); bore, barrel and
loads of ISO 1133-1 (from memory), and worked melt flow rates computed from them, the same as by the factors of Shenoy
and Saini 1986 (from memory).
"""

import math

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

ABS = {"flowing_viscosity": "2190.4 Pa*s", "thinning": "0.247", "thinning_stress": "99700 Pa"}
NOZZLE = {"nozzle_bore": "0.4 mm", "melt_bore": "2 mm", "taper": "30 deg"}


def power_law(n: float, k: float) -> dict[str, str]:
    """Give a Cross melt that thins fully: its limit at high rate is k times rate to the n."""
    rest = 1e12
    return {
        "flowing_viscosity": repr(rest) + " Pa*s",
        "thinning": repr(n),
        "thinning_stress": repr((k / rest**n) ** (1 / (1 - n))) + " Pa",
    }


def exact_flow(n: float, wall: float, onset: float, rest: float, radius: float) -> float:
    """Flow of a Cross melt through a round bore for a wall stress: the Rabinowitsch integral."""

    def rate(stress: float) -> float:
        def excess(log_rate: float) -> float:
            g = math.exp(log_rate)
            return rest * g / (1 + (rest * g / onset) ** (1 - n)) - stress

        return math.exp(brentq(excess, -60, 60))

    return math.pi * radius**3 / wall**3 * quad(lambda s: s * s * rate(s), 0, wall)[0]


@pytest.mark.parametrize(
    ("energy", "start", "end", "shift"),
    [(60, 200, 220, 0.53873), (60, 200, 180, 1.96039), (100, 200, 220, 0.35668), (40, 230, 250, 0.69382)],
)
def test_heat_shift(derive, energy, start, end, shift):
    """Arrhenius shifts, computed from the textbook form."""
    values = {
        "flow_energy": f"{energy} kJ/mol",
        "melt_reference": f"{start} degC",
        "heat.nozzle": f"{end} degC",
        "melt_temperature": f"{end} degC",
    }
    assert derive("flowing_shift", values) == pytest.approx(shift, rel=2e-5)
    assert derive("waiting_shift", values) == pytest.approx(shift, rel=2e-5)


@pytest.mark.parametrize(("above", "shift"), [(10, -2.8312), (20, -4.8715), (50, -8.5827), (100, -11.504)])
def test_universal_constants(derive, above, shift):
    """17.44 on the decimal logarithm and 51.6 K, from the glass transition: decimal logarithm of the shift."""
    values = {
        "wlf_slope": repr(17.44 * math.log(10)),
        "wlf_offset": "51.6 K",
        "glass_reference": "100 degC",
        "melt_reference": "100 degC",
        "heat.nozzle": f"{100 + above} degC",
        "melt_temperature": f"{100 + above} degC",
    }
    for name in ("flowing_shift", "waiting_shift"):
        assert math.log10(derive(name, values, law="wlf_shift")) == pytest.approx(shift, rel=2e-5)


KAZMER = {"wlf_slope": "31.4", "wlf_offset": "51.6 K", "glass_reference": "373.15 K"}


def test_injection_abs(derive):
    """D1 1.93e13 Pa s at D2 373.15 K, A1 31.4, A2 51.6 K: 2190 Pa s at 239 degC; the book prints 2210."""
    values = {**KAZMER, "melt_reference": "373.15 K", "viscosity": "1.93e13 Pa*s", "melt_temperature": "239 degC"}
    values["heat.nozzle"] = "239 degC"
    for name in ("flowing_viscosity", "waiting_viscosity"):
        assert derive(name, values, law="wlf_shift") == pytest.approx(2190.4, rel=1e-4)
        assert derive(name, values, law="wlf_shift") == pytest.approx(2210, rel=0.015)
    moved = {**values, "melt_reference": "230 degC", "viscosity": f"{kazmer_at(230)!r} Pa*s"}
    assert derive("flowing_viscosity", moved, law="wlf_shift") == pytest.approx(2190.4, rel=1e-4)


def kazmer_at(heat: float) -> float:
    """Give the book's viscosity at low shear, in Pa s, from degC."""
    above = heat + 273.15 - 373.15
    return 1.93e13 * math.exp(-31.4 * above / (51.6 + above))


WORKED_RATES = [
    (10, 0.75, 2.16, 24.62, 786.5),
    (10, 1.07, 5, 17.26, 2597),
    (30, 1.08, 2.16, 51.28, 377.5),
    (6, 1.08, 2.16, 10.26, 1887.5),
]
"""Melt flow rate in g in 10 min, density in g/cm3, load in kg; apparent rate in 1/s, viscosity there in Pa s."""


@pytest.mark.parametrize(("rate", "density", "load", "shear", "apparent"), WORKED_RATES)
def test_worked_flow_rates(derive, rate, density, load, shear, apparent):
    """Computed from the dimensions of the standard; Shenoy and Saini's rounded factors agree within 1.8 %."""
    values = {
        "melt_flow_rate": f"{rate / 10!r} g/min",
        "melt_density": f"{density} g/cm3",
        "flow_rate_load": f"{load} kg",
    }
    assert derive("test_rate", values) == pytest.approx(shear, rel=5e-4)
    assert derive("test_stress", values) / derive("test_rate", values) == pytest.approx(apparent, rel=5e-4)
    assert derive("test_rate", values) == pytest.approx(1.83 * rate / density, rel=0.01)
    assert derive("test_stress", values) == pytest.approx(9.13e3 * load, rel=0.02)
    newtonian = {**values, "thinning": "0.5", "thinning_stress": "1e20 Pa"}
    assert derive("viscosity", newtonian, law="viscosity_from_flow_rate") == pytest.approx(apparent, rel=5e-4)


@pytest.mark.parametrize("load", [1.2, 2.16, 5, 10])
@pytest.mark.parametrize("n", [0.25, 0.35, 0.45, 0.55, 0.65, 0.8])
def test_viscosity_of_a_cross_melt_from_its_flow_rate(derive, n, load):
    """A melt whose flow through the standard bore is exact, by scipy, gives its viscosity back within what is said."""
    onset, rest = 25e3, 3000.0
    stress = derive("test_stress", {"flow_rate_load": f"{load} kg"})
    flow = exact_flow(n, stress, onset, rest, 2.095e-3 / 2)
    values = {
        "melt_flow_rate": f"{flow * 750 * 6e4!r} g/min",
        "melt_density": "0.75 g/cm3",
        "flow_rate_load": f"{load} kg",
        "thinning": str(n),
        "thinning_stress": f"{onset} Pa",
    }
    allowed = 0.14 if n < 0.35 else 0.06 if n < 0.45 else 0.02
    assert derive("viscosity", values, law="viscosity_from_flow_rate") == pytest.approx(rest, rel=allowed)


@pytest.mark.parametrize(("flow", "stress", "pressure"), [(1, 108_841, 0.6530), (10, 256_188, 1.5371)])
def test_pressure_of_a_cross_melt(derive, flow, stress, pressure):
    """ABS at 239 degC, 0.4 mm by 0.6 mm; the Rabinowitsch integral, to the 2 % of the representative rate."""
    values = {**ABS, **NOZZLE, "peak_flow": f"{flow} mm3/s", "land": "0.6 mm"}
    assert derive("wall_stress", values) == pytest.approx(stress, rel=0.02)
    assert derive("land_pressure", values) == pytest.approx(pressure * 1e6, rel=0.02)


@pytest.mark.parametrize("n", [0.25, 0.35, 0.45, 0.55, 0.65, 0.8])
@pytest.mark.parametrize("load", [0.03, 0.1, 0.3, 1, 3, 10])
def test_wall_stress_and_leftover_flow_undo_each_other_and_the_exact_integral(derive, n, load):
    """The exact flow gives the stress within 2 %, the stress the flow within the bounds that the law states."""
    onset, rest, radius = 5e4, 500.0, 0.2e-3
    flow = exact_flow(n, load * onset, onset, rest, radius)
    melt = {
        "flowing_viscosity": f"{rest} Pa*s",
        "waiting_viscosity": f"{rest} Pa*s",
        "thinning": str(n),
        "thinning_stress": f"{onset} Pa",
        "nozzle_bore": "0.4 mm",
    }
    assert derive("wall_stress", {**melt, "peak_flow": f"{flow!r} m3/s"}) == pytest.approx(load * onset, rel=0.02)
    allowed = 0.12 if n < 0.35 else 0.05 if n < 0.45 else 0.02
    assert derive("leftover_flow", {**melt, "left_load": repr(0.83 * load)}) == pytest.approx(flow, rel=allowed)


@pytest.mark.parametrize(
    ("name", "geometry", "pressure"),
    [
        ("land_pressure", {"land": "0.4 mm"}, 0.43359),
        ("channel_pressure", {"heated_length": "10 mm"}, 0.31426),
        ("cone_pressure", {}, 0.26756),
    ],
)
def test_power_law_limit(derive, name, geometry, pressure):
    """K 5000 Pa s^0.4, n 0.4, 10 mm3/s, by power-law formulas; 2 % are those of the representative rate."""
    values = {**power_law(0.4, 5000), **NOZZLE, **geometry, "peak_flow": "10 mm3/s"}
    assert derive(name, values) == pytest.approx(pressure * 1e6, rel=0.02)


@pytest.mark.parametrize(
    ("name", "geometry", "pressure"),
    [("land_pressure", {"land": "0.4 mm"}, 6.36620), ("cone_pressure", {}, 1.82306)],
)
def test_newtonian_limit(derive, name, geometry, pressure):
    """1000 Pa s, 10 mm3/s: Hagen and Poiseuille, and 8 mu Q/(3 pi tan a) (1/r^3 - 1/R^3)."""
    melt = {"flowing_viscosity": "1000 Pa*s", "thinning": "0.5", "thinning_stress": "1e24 Pa"}
    values = {**melt, **NOZZLE, **geometry, "peak_flow": "10 mm3/s"}
    assert derive(name, values) == pytest.approx(pressure * 1e6, rel=2e-4)


@pytest.mark.parametrize("n", [0.25, 0.55, 0.8])
@pytest.mark.parametrize("flow", [0.1, 1, 10])
def test_cone_quadrature(derive, n, flow):
    """The cone's few points against scipy's quadrature of the same law along the diameter."""
    melt = {"flowing_viscosity": "500 Pa*s", "thinning": str(n), "thinning_stress": "50 kPa"}

    def gradient(diameter: float) -> float:
        values = {**melt, "nozzle_bore": f"{diameter!r} mm", "peak_flow": f"{flow} mm3/s"}
        return 4 / diameter * derive("wall_stress", values) / (2 * math.tan(math.radians(30)))

    exact = quad(gradient, 0.4, 2.0, epsrel=1e-9)[0]
    assert derive("cone_pressure", {**melt, **NOZZLE, "peak_flow": f"{flow} mm3/s"}) == pytest.approx(exact, rel=1e-4)


def test_nozzle_length_has_the_resistance_of_land_and_cone(derive):
    """For a Newtonian melt, land and cone together resist as a land of that length."""
    melt = {"flowing_viscosity": "1000 Pa*s", "thinning": "0.5", "thinning_stress": "1e24 Pa"}
    values = {**melt, **NOZZLE, "land": "0.5 mm", "peak_flow": "2 mm3/s"}
    together = derive("land_pressure", values) + derive("cone_pressure", values)
    length = derive("nozzle_length", values)
    assert 8 * 1000 * 2e-9 * length / (math.pi * 0.2e-3**4) == pytest.approx(together, rel=2e-4)
