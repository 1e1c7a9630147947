"""Units and dimensions against pint, an independent open-source unit registry (version in the dev requirements).

pint is run with exact fractions, so that factors are compared without any tolerance. Only the two angles that hold pi
need one: pint cuts pi after 50 digits. Each pairing of a name here with a unit of pint was written by hand.
"""

import math
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.meaning.units import (
    DIMENSIONS,
    UNITS,
    Unit,
    difference_unit,
    from_base,
    parse_unit,
    to_base,
    to_base_text,
)

EXACT: Any = pint.UnitRegistry(non_int_type=Fraction)
FLOAT: Any = pint.UnitRegistry()

SIMPLE = {
    "um": "micrometer",
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "mg": "milligram",
    "g": "gram",
    "kg": "kilogram",
    "ms": "millisecond",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "K": "kelvin",
    "mN": "millinewton",
    "N": "newton",
    "kN": "kilonewton",
    "Pa": "pascal",
    "kPa": "kilopascal",
    "MPa": "megapascal",
    "GPa": "gigapascal",
    "bar": "bar",
    "J": "joule",
    "kJ": "kilojoule",
    "W": "watt",
    "kW": "kilowatt",
    "mol": "mole",
    "rad": "radian",
    "deg": "degree",
    "turn": "turn",
    "%": "percent",
}
COMPOUNDS = {
    "mm2": "millimeter ** 2",
    "mm3": "millimeter ** 3",
    "cm3": "centimeter ** 3",
    "mm4": "millimeter ** 4",
    "µm2": "micrometer ** 2",
    "1/mm": "1 / millimeter",
    "1/mm2": "1 / millimeter ** 2",
    "deg/mm": "degree / millimeter",
    "mm/s": "millimeter / second",
    "mm/min": "millimeter / minute",
    "m/h": "meter / hour",
    "mm/s2": "millimeter / second ** 2",
    "mm3/s": "millimeter ** 3 / second",
    "cm3/h": "centimeter ** 3 / hour",
    "mm2/s": "millimeter ** 2 / second",
    "1/s": "1 / second",
    "1/min": "1 / minute",
    "turn/min": "turn / minute",
    "g/cm3": "gram / centimeter ** 3",
    "kg/m3": "kilogram / meter ** 3",
    "mg/mm3": "milligram / millimeter ** 3",
    "g/m": "gram / meter",
    "g/min": "gram / minute",
    "kg/h": "kilogram / hour",
    "cm3/g": "centimeter ** 3 / gram",
    "N/mm": "newton / millimeter",
    "mN/m": "millinewton / meter",
    "N/mm2": "newton / millimeter ** 2",
    "N*mm": "newton * millimeter",
    "N*mm2": "newton * millimeter ** 2",
    "kN/m2*mm2": "kilonewton / meter ** 2 * millimeter ** 2",
    "1/MPa": "1 / megapascal",
    "MPa/mm": "megapascal / millimeter",
    "Pa*s": "pascal * second",
    "Pa*s/m3": "pascal * second / meter ** 3",
    "1/K": "1 / kelvin",
    "um/m/K": "micrometer / (meter * kelvin)",
    "K/min": "kelvin / minute",
    "K/mm": "kelvin / millimeter",
    "W/m/K": "watt / (meter * kelvin)",
    "W/m2": "watt / meter ** 2",
    "W/m2/K": "watt / (meter ** 2 * kelvin)",
    "K/W": "kelvin / watt",
    "J/g/K": "joule / (gram * kelvin)",
    "J/kg/K": "joule / (kilogram * kelvin)",
    "kJ/kg": "kilojoule / kilogram",
    "J/mol": "joule / mole",
    "kJ/mol": "kilojoule / mole",
    "J/mol/K": "joule / (mole * kelvin)",
    "g/mol": "gram / mole",
    "mol/m3": "mole / meter ** 3",
    "1/s*mm": "millimeter / second",
}
PAIRS = SIMPLE | COMPOUNDS

OF_DIMENSION = {
    "number": "dimensionless",
    "share": "percent",
    "angle": "degree",
    "length": "meter",
    "area": "meter ** 2",
    "volume": "liter",
    "second_moment": "meter ** 4",
    "curvature": "1 / meter",
    "time": "second",
    "rate": "hertz",
    "shear_rate": "1 / second",
    "speed": "kilometer / hour",
    "acceleration": "standard_gravity",
    "flow": "liter / minute",
    "mass": "gram",
    "melt_flow_rate": "gram / minute",
    "mass_flow": "kilogram / second",
    "density": "gram / milliliter",
    "linear_density": "tex",
    "specific_volume": "liter / kilogram",
    "force": "newton",
    "pressure": "atmosphere",
    "stress": "newton / millimeter ** 2",
    "energy": "kilowatt_hour",
    "torque": "newton * meter",
    "power": "watt",
    "stiffness": "newton / meter",
    "surface_tension": "dyne / centimeter",
    "bending_stiffness": "newton * meter ** 2",
    "compressibility": "1 / pascal",
    "pressure_gradient": "pascal / meter",
    "viscosity": "poise",
    "flow_resistance": "pascal * second / meter ** 3",
    "temperature": "kelvin",
    "temperature_difference": "delta_degree_Celsius",
    "expansion": "1 / kelvin",
    "cooling_rate": "kelvin / second",
    "temperature_gradient": "kelvin / meter",
    "heat_flux": "watt / meter ** 2",
    "heat_transfer": "watt / (meter ** 2 * kelvin)",
    "heat_capacity": "joule / kelvin",
    "specific_heat": "joule / (kilogram * kelvin)",
    "conductivity": "watt / (meter * kelvin)",
    "conductance": "watt / kelvin",
    "thermal_resistance": "kelvin / watt",
    "diffusivity": "stokes",
    "energy_per_mass": "kilojoule / kilogram",
    "amount": "mole",
    "concentration": "mole / liter",
    "molar_mass": "gram / mole",
    "energy_per_mole": "joule / mole",
    "molar_heat_capacity": "molar_gas_constant",
}
"""A unit of pint that measures each dimension."""

BASE = ("[length]", "[mass]", "[time]", "[temperature]", "[substance]")
pairs = st.sampled_from(sorted(PAIRS.items()))
numbers = st.floats(1e-12, 1e12) | st.floats(-1e12, -1e-12) | st.just(0.0)


def exact_factor(unit: Unit) -> Fraction:
    assert unit.exact is not None
    return unit.exact


def powers_by_pint(unit: str) -> tuple[Fraction, ...]:
    """Give the exponents of our base units, after seeing that pint needs no others."""
    found = dict(EXACT.Quantity(Fraction(1), unit).dimensionality)
    assert set(found) <= set(BASE)
    return tuple(Fraction(found.get(base, 0)) for base in BASE)


def test_nothing_is_left_out() -> None:
    """Temperature points have their own tests below; pint has no hardness scales."""
    assert set(UNITS) == {*SIMPLE, "degC", "shore_a", "shore_d"}
    assert set(DIMENSIONS) == {*OF_DIMENSION, "hardness"}


@pytest.mark.parametrize(("ours", "theirs"), PAIRS.items(), ids=list(PAIRS))
def test_factors_are_those_of_pint(ours: str, theirs: str) -> None:
    factor = EXACT.Quantity(Fraction(1), theirs).to_base_units().magnitude
    difference = exact_factor(parse_unit(ours)) - Fraction(factor)
    if "deg" in ours or "turn" in ours:
        assert abs(difference / factor) < Fraction(1, 10**49)
    else:
        assert difference == 0
    assert parse_unit(ours).factor == float(factor)


@pytest.mark.parametrize(("ours", "theirs"), PAIRS.items(), ids=list(PAIRS))
def test_dimensions_of_units_are_those_of_pint(ours: str, theirs: str) -> None:
    assert parse_unit(ours).dimension.powers == powers_by_pint(theirs)


@pytest.mark.parametrize("name", OF_DIMENSION)
def test_named_dimensions_are_those_of_pint(name: str) -> None:
    assert DIMENSIONS[name].powers == powers_by_pint(OF_DIMENSION[name])


@given(pairs, numbers)
def test_numbers_are_converted_as_by_exact_pint(pair: tuple[str, str], number: float) -> None:
    """A double counts as its decimal text; pint converts that text's fraction, and rounding comes last."""
    unit, theirs = parse_unit(pair[0]), pair[1]
    value = EXACT.Quantity(Fraction(repr(number)), theirs).to_base_units().magnitude
    assert to_base(number, unit) == to_base_text(repr(number), unit) == float(value)


@given(pairs, numbers)
def test_numbers_are_converted_as_by_float_pint(pair: tuple[str, str], number: float) -> None:
    """pint in its usual mode rounds at every factor: a handful of roundings, 2^-53 each."""
    unit, theirs = parse_unit(pair[0]), pair[1]
    quantity = FLOAT.Quantity(number, theirs)
    value = quantity.to_base_units().magnitude
    assert to_base(number, unit) == pytest.approx(value, rel=1e-14, abs=0)
    base = quantity.to_base_units().units
    back = FLOAT.Quantity(number, base).to(theirs).magnitude
    assert from_base(number, unit) == pytest.approx(back, rel=1e-14, abs=0)


@given(st.decimals(min_value=-273, max_value=2000, places=3).map(str))
def test_temperature_points_are_those_of_pint(number: str) -> None:
    point = parse_unit("degC")
    kelvin = EXACT.Quantity(Fraction(number), "degC").to("kelvin").magnitude
    assert to_base_text(number, point) == float(kelvin)
    celsius = EXACT.Quantity(Fraction(number) + 273, "kelvin").to("degC").magnitude
    assert from_base(float(Fraction(number) + 273), point) == pytest.approx(float(celsius), abs=2 * math.ulp(2273.0))


@given(st.decimals(min_value=-500, max_value=500, places=3).map(str))
def test_temperature_differences_are_those_of_pint(number: str) -> None:
    difference = difference_unit(parse_unit("degC"))
    kelvins = EXACT.Quantity(Fraction(number), "delta_degC").to("kelvin").magnitude
    assert to_base_text(number, difference) == float(kelvins)


def test_a_difference_of_points_is_that_of_pint() -> None:
    ours = to_base(220.0, parse_unit("degC")) - to_base(180.0, parse_unit("degC"))
    theirs = EXACT.Quantity(Fraction(220), "degC") - EXACT.Quantity(Fraction(180), "degC")
    assert ours == pytest.approx(float(theirs.to("kelvin").magnitude), abs=2 * math.ulp(500.0))
