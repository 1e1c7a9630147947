"""Shrinking against handbook limits of mould shrinkage.

Sources: handbook ranges of mould shrinkage, from memory: 0.4 to 0.8 % for acrylonitrile-butadiene-styrene, 1 to 2.5 %
for unfilled polypropylene, 0.7 to 1.5 % for polyamide 12; and the thermal strain of a rod, computed.
"""

import pytest

from .pairs import library


def strain(derive, name: str) -> float:
    """Give the cooling strain of a family by its stated values, in a room of 25 degC."""
    values = {"room": "25 degC"}
    for quantity, unit in (("expansion", "1/K"), ("crystal_shrink", ""), ("stop_temperature", "")):
        amount = library().materials[name].values[quantity].amount
        assert amount is not None
        values[quantity] = f"{amount.stated!r} {unit}".strip()
    values["stop_temperature"] += " K"
    return derive("cooling_strain", values)


def test_thermal_strain(derive):
    """A rod of 100 millionths per kelvin that cools by 80 K shortens by 0.8 %, and crystals add theirs."""
    values = {"expansion": "0.0001 1/K", "crystal_shrink": "1 %", "stop_temperature": "105 degC", "room": "25 degC"}
    assert derive("cooling_strain", values) == pytest.approx(0.018)


@pytest.mark.parametrize(
    ("name", "low", "high"), [("styrene_abs", 0.4, 0.8), ("polypropylene", 1, 2.5), ("polyamide_12", 0.7, 2)]
)
def test_families_shrink_as_in_a_mould(derive, name, low, high):
    """Between the limits; polyamide 12 to 2 %, since without a mould's holding pressure it shrinks more."""
    assert low / 100 <= strain(derive, name) <= high / 100
