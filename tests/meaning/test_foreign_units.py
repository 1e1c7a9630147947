"""Units of other systems are told by how they are converted; compared with pint's own definitions."""

import re

import pint
import pytest
from meltwright.meaning.foreign_units import told

REGISTRY: pint.UnitRegistry = pint.UnitRegistry()
NAMES = {"inch": "inch", "ft": "foot", "oz": "ounce", "lb": "pound", "psi": "psi"}


@pytest.mark.parametrize("part", NAMES)
def test_the_numbers_are_those_of_pint(part: str) -> None:
    found = re.fullmatch(r"write it in (\w+): 1 \w+ is ([0-9.]+) (\w+)", told(part))
    assert found is not None and found[1] == found[3]
    size = REGISTRY.Quantity(1, NAMES[part]).to(found[1]).magnitude
    assert float(found[2]) == pytest.approx(size, rel=2e-4)


def test_fahrenheit() -> None:
    assert told("F") == told("°F") == "write it in degC: take 32 from degrees Fahrenheit and divide by 1.8"
    assert REGISTRY.Quantity(212, "degF").to("degC").magnitude == pytest.approx((212 - 32) / 1.8)


def test_units_that_are_taken_are_not_told() -> None:
    assert [told(part) for part in ("mm", "C", "micron", "")] == ["", "", "", ""]
