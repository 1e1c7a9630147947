"""Heating of the rod and cooling of the layer.

Sources: transient conduction in a long cylinder with a fixed wall temperature, exact series by scipy's
Bessel functions (values as in Incropera and DeWitt, ch. 5); measured maximum flows of Wuest and others
2026, J. Manuf. Mater. Process. 10(7), 233, of which only their ratio to the criterion of Fourier number
0.48 is used; lumped cooling of Cengel, Heat Transfer, ex. 4-1, as printed in a public transcription.
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
        "fan.share": "0.5",
    }
    assert derive("layer_cooling_time", values) == pytest.approx(8.0)
