"""The first layer: the plate's error, the face between bead and plate, and the time to wet.

Sources: plane geometry; contact of two half spaces as in Carslaw and Jaeger, Conduction of Heat in Solids (from
memory), with effusivities from general tables; first layers of 20 to 40 mm/s are common practice, no source.
"""

import math

import pytest
from mpmath import diff, erf, mpf, sqrt

from .pairs import library

BEAD = 539
"""Effusivity of polylactide: root of 0.13 W/m/K, 1240 kg/m3 and 1800 J/kg/K, in W s^0.5/m2/K."""


def share(plate: float) -> float:
    """How much of the difference the face keeps, on a plate of that effusivity."""
    return BEAD / (BEAD + plate)


@pytest.mark.parametrize(
    ("first", "error", "held"),
    [
        (0.20, 0.05, (True, True, True, True)),
        (0.20, 0.07, (False, True, True, True)),
        (0.10, 0.03, (True, False, True, False)),
        (0.30, 0.03, (True, True, False, True)),
        (0.28, 0.03, (True, True, True, True)),
        (0.14, 0.00, (True, True, True, False)),
    ],
)
def test_ends_of_the_plates_error(holds, first, error, held):
    """A 0.4 mm bore presses layers of 0.08 to 0.32 mm; the first is 0.15 mm at least, by hand."""
    values = {
        "layer.height_first": f"{first} mm",
        "plate_error": f"{error} mm",
        "nozzle_bore": "0.4 mm",
        "layer.height": "0.15 mm",
    }
    assert holds("first_height", values) == held


@pytest.mark.parametrize(
    ("plate", "bed", "face"),
    [(554, 60, 133.9), (1414, 60, 101.4), (20_100, 60, 63.9), (1414, 25, 76.0), (20_100, 25, 29.8), (BEAD, 60, 135)],
)
def test_face_between_bead_and_plate(derive, plate, bed, face):
    """210 degC on a plastic sheet, glass, aluminium and its own material; computed from effusivities."""
    values = {"contact_share": repr(share(plate)), "heat.bed": f"{bed} degC", "heat.nozzle_first_layer": "210 degC"}
    assert derive("touch_temperature", values) - 273.15 == pytest.approx(face, abs=0.1)


@pytest.mark.parametrize("plate", [554, 1414, 20_100])
def test_heat_that_leaves_the_bead_enters_the_plate(derive, plate):
    """Both half spaces solve the heat equation as error functions; with that face their flows of heat are equal."""
    values = {"contact_share": repr(share(plate)), "heat.bed": "60 degC", "heat.nozzle_first_layer": "210 degC"}
    face = derive("touch_temperature", values) - 273.15
    spread, time = mpf("0.08e-6"), mpf("0.01")

    def flow(effusivity: float, from_face: float) -> float:
        profile = diff(lambda x: face + (from_face - face) * erf(x / (2 * sqrt(spread * time))), 0)
        return float(effusivity * sqrt(spread) * profile)

    assert flow(BEAD, 210) == pytest.approx(-flow(plate, 60), rel=1e-9)


def test_heat_of_the_first_layer(holds, derive):
    """Hotter than the other layers up to what is borne; where they are hotter than that, just what is borne."""
    limits = {"nozzle_highest": "250 degC", "nozzle_limit": "300 degC"}
    assert derive("hottest", limits, law="first_heat_on_metal") == pytest.approx(250 + 273.15)
    for first, held in ((215, (False, True)), (220, (True, True)), (250, (True, True)), (255, (True, False))):
        values = {**limits, "heat.nozzle": "220 degC", "heat.nozzle_first_layer": f"{first} degC"}
        assert holds("first_heat", values, laws=("first_heat_on_metal",)) == held


@pytest.mark.parametrize("name", [n for n in sorted(library().materials) if n != "thermoplastic"])
def test_usual_first_speeds(holds, name):
    """Under a face of 1 mm 20 mm/s hold for every family, and 42 for none. Times were set for it: this sees drift."""
    wetting = library().materials[name].values["wetting_time"].amount
    assert wetting is not None

    def slow_enough(speed: int, time: float) -> bool:
        values = {
            "layer.height_first": "0.2 mm",
            "bead.width": "0.45 mm",
            "peak_flow": "100 mm3/s",
            "nozzle_face": "1 mm",
            "speed.first_layer": f"{speed} mm/s",
            "wetting_time": f"{time!r} s",
        }
        return holds("first_speed", values)[0]

    assert slow_enough(20, wetting.high)
    assert not slow_enough(42, wetting.low)


def test_flow_of_the_first_layer(derive, holds):
    """0.45 by 0.2 mm is 0.081416 mm2: at 50 mm/s 4.0708 mm3/s."""
    values = {"layer.height_first": "0.2 mm", "bead.width": "0.45 mm"}
    assert derive("first_section", values) == pytest.approx(0.45e-3 * 0.2e-3 - (1 - math.pi / 4) * 0.04e-6)
    values |= {"wetting_time": "1 ms", "nozzle_face": "1 mm", "speed.first_layer": "50 mm/s"}
    assert holds("first_speed", {**values, "peak_flow": "4.08 mm3/s"}) == (True, True)
    assert holds("first_speed", {**values, "peak_flow": "4.06 mm3/s"}) == (True, False)
