"""Contact temperature, cooling of the interface and healing.

Sources: Carslaw and Jaeger (equal bodies meet at the mean); Yang and Pitchumani 2002, Macromolecules 35,
3213-3224 (form from memory), integrated over time by scipy; Seppala and Migler 2016, Addit. Manuf. 12,
71-76, infrared thermography of ABS (abstract): about 1 s above the glass transition, about 100 K/s.
"""

import math

import pytest
from scipy.integrate import quad

GAS = 8.31446261815324


def test_contact_of_equal_bodies(derive):
    """210 degC on 60 degC of the same material meet at 135 degC."""
    values = {"melt_temperature": "210 degC", "layer_temperature": "60 degC"}
    assert derive("contact_rise", values) == pytest.approx(135 - 60)


@pytest.mark.parametrize(("times", "degree"), [(1e-4, 0.1), (0.0625, 0.5), (0.5, 0.8409), (1, 1), (7, 1)])
def test_degree_of_healing(derive, times, degree):
    """Fourth root of the weld times spent, at most 1."""
    assert derive("healing", {"weld_times": str(times)}) == pytest.approx(degree, rel=1e-4)


@pytest.mark.parametrize(
    ("nozzle", "layer", "stop", "energy"),
    [(235, 30, 90, 120), (205, 30, 90, 120), (225, 35, 70, 90), (190, 35, 70, 90)],
)
def test_healing_against_integration_over_time(derive, nozzle, layer, stop, energy):
    """The library integrates over a share of the span; scipy integrates the cooling curve over time."""
    cooling, weld, reference = 0.4, 0.002, 210 + 273.15
    values = {
        "melt_temperature": f"{nozzle} degC",
        "layer_temperature": f"{layer} degC",
        "stop_temperature": f"{stop} degC",
        "cooling_time": f"{cooling} s",
        "weld_time": f"{weld} s",
        "melt_reference": "210 degC",
        "flow_energy": f"{energy} kJ/mol",
    }
    base, rise = layer + 273.15, (nozzle - layer) / 2

    def speed(time: float) -> float:
        temperature = base + rise * math.exp(-time / cooling)
        return math.exp(energy * 1e3 / GAS * (1 / reference - 1 / temperature)) / weld

    end = cooling * math.log(rise / (stop - layer))
    exact = quad(speed, 0, end, epsrel=1e-10)[0]
    assert derive("weld_times", values) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize(("nozzle", "layer", "stop"), [(255, 50, 105), (240, 40, 105), (230, 90, 105)])
@pytest.mark.parametrize("slope", [25, 31.4, 40])
def test_healing_by_wlf_against_integration_over_time(derive, nozzle, layer, stop, slope):
    """The same for a glassy melt whose weld time shifts by the law of Williams, Landel and Ferry."""
    cooling, weld, offset, glass = 0.4, 0.15e-3, 51.6, 100
    values = {
        "melt_temperature": f"{nozzle} degC",
        "layer_temperature": f"{layer} degC",
        "stop_temperature": f"{stop} degC",
        "cooling_time": f"{cooling} s",
        "weld_time": f"{weld} s",
        "melt_reference": "240 degC",
        "wlf_slope": str(slope),
        "wlf_offset": f"{offset} K",
        "glass_reference": f"{glass} degC",
    }
    rise = (nozzle - layer) / 2

    def exponent(temperature: float) -> float:
        return -slope * (temperature - glass) / (offset + temperature - glass)

    def speed(time: float) -> float:
        return math.exp(exponent(240) - exponent(layer + rise * math.exp(-time / cooling))) / weld

    end = cooling * math.log(rise / (stop - layer))
    exact = quad(speed, 0, end, epsrel=1e-10)[0]
    assert derive("weld_times", values, law="healing_by_wlf") == pytest.approx(exact, rel=2e-3)


def test_no_healing_below_the_stop_temperature(derive):
    """An interface that starts below the stop temperature does not heal at all."""
    values = {
        "melt_temperature": "100 degC",
        "layer_temperature": "30 degC",
        "stop_temperature": "90 degC",
        "cooling_time": "0.4 s",
        "weld_time": "1 ms",
        "melt_reference": "210 degC",
        "flow_energy": "90 kJ/mol",
    }
    assert derive("healing", values) == 0


@pytest.mark.parametrize("below", [60, 80])
@pytest.mark.parametrize("nozzle", [230, 250])
def test_interface_against_thermography(derive, nozzle, below):
    """ABS, 0.3 mm layers: 0.5 to 2 s above 105 degC, the first rate within a factor 2 of 100 K/s."""
    values = {
        "density": "1.05 g/cm3",
        "specific_heat": "2.08 kJ/kg/K",
        "conductivity": "0.18 W/m/K",
        "layer.height": "0.3 mm",
        "bead_cooling": "60 W/m2/K",
        "bead_fan": "0 W/m2/K",
        "fan.share": "0",
        "melt_temperature": f"{nozzle} degC",
        "layer_temperature": f"{below} degC",
        "stop_temperature": "105 degC",
    }
    span = derive("healing_span", values)
    assert 0.5 <= span <= 2
    initial_rate = derive("contact_rise", values) / derive("cooling_time", values)
    assert 50 <= initial_rate <= 200
