"""Heating of the rod and cooling of the layer.

Sources: transient conduction in a long cylinder with a fixed wall temperature, exact series by scipy's Bessel
functions (values as in Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 5); measured maximum flows of
Wuest and others 2026, J. Manuf. Mater. Process. 10(7), 233, of which only their ratio to the criterion of Fourier
number 0.48 is used; lumped cooling of Cengel, Heat Transfer, ex. 4-1, and of Incropera and DeWitt, ex. 5.5, as printed
in public transcriptions; general tables of polytetrafluoroethylene: upper service temperature 260 degC (UL 746B),
melting point 327 degC; polymer fume fever above about 300 degC (medical dictionaries).
"""

import math

import numpy as np
import pytest
from scipy.special import j1, jn_zeros


def exact_cold(fourier: float) -> float:
    """Centre of a cylinder whose surface is held: the exact series."""
    zeros = jn_zeros(0, 200)
    return float((2 / (zeros * j1(zeros)) * np.exp(-(zeros**2) * fourier)).sum())


@pytest.mark.parametrize(
    ("fourier", "cold"),
    [(0.20, 0.501487), (0.40, 0.158489), (0.50, 0.088890), (0.479635, 0.1), (0.877787, 0.01)],
)
def test_centre_of_the_rod(derive, fourier, cold):
    """One term of the series is within 0.6 % from a Fourier number of 0.2 on."""
    assert exact_cold(fourier) == pytest.approx(cold, rel=1e-5)
    assert derive("cold_left", {"fourier_number": str(fourier)}) == pytest.approx(cold, rel=0.006)


@pytest.mark.parametrize(
    ("fourier", "mean"),
    [(0.20, 0.217852), (0.40, 0.068431), (0.50, 0.038379), (0.334413, 0.1), (0.732556, 0.01)],
)
def test_mean_of_the_rod(derive, fourier, mean):
    """Mean over the section: 4 / zero^2 in each term; computed to 1e-6."""
    assert derive("mean_cold_left", {"fourier_number": str(fourier)}) == pytest.approx(mean, rel=0.002)
    values = {"mean_cold_left": "0.1", "heat.nozzle": "225 degC", "room": "25 degC"}
    assert derive("melt_temperature", values) == pytest.approx(205 + 273.15)


@pytest.mark.parametrize(("diffusivity", "flow"), [(0.1, 13.10), (0.08, 10.48), (0.06, 7.86)])
def test_flow_that_heats_to_nine_tenths(derive, diffusivity, flow):
    """Over 20 mm the centre reaches 90 % at this flow, independent of the rod's diameter; computed."""
    values = {"diffusivity": f"{diffusivity} mm2/s", "heated_length": "20 mm", "peak_flow": f"{flow} mm3/s"}
    assert derive("cold_left", values) == pytest.approx(0.1, rel=2e-3)


def test_ready_temperature_of_polylactide_against_measured_flows(derive):
    """At 220 degC a plain 0.4 mm nozzle takes 1.25 to 1.6 times the flow of that criterion (0.1 mm2/s)."""
    values = {"diffusivity": "0.1 mm2/s", "heated_length": "20 mm"}
    allowed = 1 - (165 - 25) / (220 - 25)
    criterion = math.pi * 0.1 * 20 / 0.48
    for times, holds in ((1.25, True), (1.61, False)):
        cold = derive("cold_left", {**values, "peak_flow": f"{times * criterion!r} mm3/s"})
        assert (cold <= allowed) is holds


@pytest.mark.parametrize(("flow", "power"), [(5, 2.24), (10, 4.47), (20, 8.95)])
def test_heat_content(derive, flow, power):
    """1.24 g/cm3 and 1.95 kJ/kg/K from 25 to 210 degC, computed."""
    values = {
        "peak_flow": f"{flow} mm3/s",
        "density": "1.24 g/cm3",
        "specific_heat": "1.95 kJ/kg/K",
        "melting_heat": "0 kJ/kg",
        "heat.nozzle": "210 degC",
        "room": "25 degC",
    }
    assert derive("melt_power", values) == pytest.approx(power, rel=2e-3)


def test_lumped_cooling(derive):
    """Cengel 4-1: 1/time constant 0.46324 1/s, 99 % of the change after 10 s as printed, 9.94 s computed."""
    values = {
        "layer_cooling_time": f"{1 / 0.46324!r} s",
        "heat.nozzle": "120 degC",
        "room": "20 degC",
        "firm_temperature": "21 degC",
    }
    assert derive("firm_time", values) == pytest.approx(9.94, rel=1e-3)


def test_time_constant_of_a_layer(derive):
    """A layer that cools by one face: density times specific heat times height over the coefficient."""
    values = {
        "density": "1 g/cm3",
        "specific_heat": "2 kJ/kg/K",
        "layer.height": "0.2 mm",
        "part_cooling": "10 W/m2/K",
        "part_fan": "80 W/m2/K",
        "fan.share": "25 %",
    }
    assert derive("layer_cooling_time", values) == pytest.approx(8.0)


def test_lumped_cooling_against_the_curve_itself(derive):
    """The law's time put into T = T_room + (T_0 - T_room) exp(-t / tau): the firm temperature comes out."""
    values = {
        "layer_cooling_time": "7 s",
        "heat.nozzle": "210 degC",
        "room": "25 degC",
        "firm_temperature": "60 degC",
    }
    time = derive("firm_time", values)
    assert 25 + (210 - 25) * math.exp(-time / 7) == pytest.approx(60)


def test_worked_example_of_a_lumped_sphere(derive):
    """Incropera ex. 5.5, first stage: 93.7 to 93.8 s as printed; the inputs from memory.

    400 to 335 degC in air of 20 degC.
    A sphere of 5 mm radius, 3000 kg/m3, 1000 J/kg/K, 10 W/m2/K: volume over surface is a third of the radius, which
    stands for the layer's height.
    """
    values = {
        "density": "3 g/cm3",
        "specific_heat": "1 kJ/kg/K",
        "layer.height": f"{5 / 3!r} mm",
        "part_cooling": "10 W/m2/K",
        "part_forced": "0 W/m2/K",
        "heat.nozzle": "400 degC",
        "room": "20 degC",
        "firm_temperature": "335 degC",
    }
    assert derive("firm_time", values) == pytest.approx(93.8, abs=0.15)


def test_heat_of_melting_is_carried_away_too(derive):
    """10 mm3/s of 1 g/cm3 and 100 kJ/kg take 1 W more than without crystals."""
    values = {
        "peak_flow": "10 mm3/s",
        "density": "1 g/cm3",
        "specific_heat": "2 kJ/kg/K",
        "heat.nozzle": "225 degC",
        "room": "25 degC",
    }
    without = derive("melt_power", {**values, "melting_heat": "0 kJ/kg"})
    assert derive("melt_power", {**values, "melting_heat": "100 kJ/kg"}) - without == pytest.approx(1)
    assert without == pytest.approx(4)


SERVICE, FUMES, MELTING = 260, 300, 327
"""Polytetrafluoroethylene in general tables, in degC."""


def test_liner_stays_below_its_service_temperature(holds, derive):
    """Neither the first layer nor the others may be hotter than the liner bears, whatever else is borne."""
    others = {"nozzle_highest": "450 degC", "nozzle_limit": "500 degC"}
    hottest = derive("hottest", others, law="first_heat_on_a_liner") - 273.15
    assert holds("liner_limit", {"heat.nozzle": f"{hottest!r} degC"}) == (True,)
    for lower in (SERVICE, FUMES, MELTING):
        assert holds("liner_limit", {"heat.nozzle": f"{lower} degC"}) == (False,)
        assert hottest < lower
    assert hottest <= SERVICE - 20
    cooler = derive("hottest", {**others, "nozzle_highest": "225 degC"}, law="first_heat_on_a_liner")
    assert cooler == pytest.approx(225 + 273.15)
