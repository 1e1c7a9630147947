import math
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from meltwright.meaning import units
from meltwright.meaning.units import (
    DIMENSIONS,
    HARDNESS,
    NUMBER,
    TEMPERATURE_DIFFERENCE,
    TEMPERATURE_POINT,
    UNITLESS,
    UNITS,
    Dimension,
    Unit,
    UnknownUnit,
    coherent_unit,
    describe,
    difference_unit,
    from_base,
    parse_unit,
    to_base,
    to_base_text,
    with_article,
)

exponents = st.fractions(min_value=-6, max_value=6, max_denominator=6)
plain_dimensions = st.builds(Dimension, st.tuples(*[exponents] * 5))
whole_dimensions = st.builds(Dimension, st.tuples(*[st.integers(-6, 6)] * 5))
numbers = st.floats(1e-100, 1e100) | st.floats(-1e100, -1e-100) | st.just(0.0)
written = st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6).map(str)
simple_units = st.sampled_from(list(UNITS.values()))
scaled_units = st.sampled_from([u for u in UNITS.values() if not u.offset])


@st.composite
def compounds(draw: st.DrawFn) -> str:
    """Draw a unit text from up to five factors."""
    symbols = [s for s, u in UNITS.items() if u.dimension.kind == "plain" and s != "%"]
    factors = draw(
        st.lists(
            st.tuples(st.sampled_from("*/"), st.sampled_from(symbols), st.sampled_from(" 234")), min_size=1, max_size=5
        )
    )
    text = "".join(f"{glue}{symbol}{power.strip()}" for glue, symbol, power in factors)
    return f"1{text}" if text.startswith("/") else text[1:]


# ---- dimensions


@given(plain_dimensions, plain_dimensions, plain_dimensions)
def test_dimensions_are_a_commutative_group(a: Dimension, b: Dimension, c: Dimension) -> None:
    assert a.times(b) == b.times(a)
    assert a.times(b).times(c) == a.times(b.times(c))
    assert a.times(NUMBER) == a
    assert a.over(a) == NUMBER
    assert a.over(b) == a.times(b.to_power(-1))


@given(plain_dimensions, plain_dimensions, exponents, exponents)
def test_powers_follow_the_laws_of_exponents(a: Dimension, b: Dimension, x: Fraction, y: Fraction) -> None:
    assert a.times(b).to_power(x) == a.to_power(x).times(b.to_power(x))
    assert a.to_power(x).to_power(y) == a.to_power(x * y)
    assert a.to_power(x).times(a.to_power(y)) == a.to_power(x + y)
    assert a.to_power(0) == NUMBER


@given(whole_dimensions)
def test_equal_dimensions_are_one_key(dimension: Dimension) -> None:
    fractions = Dimension(tuple(Fraction(p) for p in dimension.powers))
    back = dimension.to_power(Fraction(1, 3)).to_power(3)
    assert {dimension: 1}[fractions] == {dimension: 1}[back] == 1
    assert all(type(p) is int for p in (*fractions.powers, *back.powers))


def test_kinds_are_never_mixed_up() -> None:
    assert TEMPERATURE_POINT != TEMPERATURE_DIFFERENCE
    assert TEMPERATURE_POINT.powers == TEMPERATURE_DIFFERENCE.powers
    assert HARDNESS != NUMBER
    assert NUMBER.is_number
    assert not HARDNESS.is_number
    assert not TEMPERATURE_POINT.is_number
    assert not DIMENSIONS["length"].is_number


@pytest.mark.parametrize("special", [TEMPERATURE_POINT, HARDNESS])
def test_points_and_readings_have_no_products(special: Dimension) -> None:
    length = DIMENSIONS["length"]
    attempts: list[Callable[[], Dimension]] = [
        lambda: special.times(length),
        lambda: length.times(special),
        lambda: special.over(length),
        lambda: length.over(special),
        lambda: special.to_power(2),
    ]
    for attempt in attempts:
        with pytest.raises(ValueError, match="cannot be multiplied"):
            attempt()


def test_a_dimension_has_five_exponents() -> None:
    with pytest.raises(ValueError, match="5 exponents, not 4"):
        Dimension((1, 0, 0, 0))


@pytest.mark.parametrize(
    ("dimension", "words", "one"),
    [
        (NUMBER, "a plain number", "a plain number"),
        (DIMENSIONS["length"], "length", "a length"),
        (DIMENSIONS["area"], "area", "an area"),
        (DIMENSIONS["energy_per_mole"], "energy per mole", "an energy per mole"),
        (DIMENSIONS["share"], "a plain number", "a plain number"),
        (DIMENSIONS["torque"], "energy", "an energy"),
        (TEMPERATURE_POINT, "temperature", "a temperature"),
        (TEMPERATURE_DIFFERENCE, "temperature difference", "a temperature difference"),
        (HARDNESS, "hardness", "a hardness"),
        (Dimension((-1, 2, -2, 0, 0)), "kg2/m/s2", "a kg2/m/s2"),
        (Dimension((0, 0, -2, 0, 0)), "1/s2", "a 1/s2"),
        (Dimension((1, 1, 0, 1, 0)), "kg*m*K", "a kg*m*K"),
        (DIMENSIONS["pressure"].to_power(Fraction(1, 2)), "kg^(1/2)/m^(1/2)/s", "a kg^(1/2)/m^(1/2)/s"),
    ],
)
def test_dimensions_in_words(dimension: Dimension, words: str, one: str) -> None:
    assert describe(dimension) == words
    assert with_article(dimension) == one


def test_every_declared_dimension_has_words() -> None:
    for name, dimension in DIMENSIONS.items():
        words = describe(dimension)
        assert words == "a plain number" or DIMENSIONS[words.replace(" ", "_")] == dimension, name


@given(whole_dimensions.filter(lambda d: not d.is_number))
def test_the_base_unit_reads_back(dimension: Dimension) -> None:
    unit = coherent_unit(dimension)
    again = parse_unit(unit.symbol)
    assert (again.dimension, again.factor, again.symbol) == (dimension, 1.0, unit.symbol)


def test_base_units_of_the_special_kinds() -> None:
    assert coherent_unit(NUMBER) == UNITLESS
    assert coherent_unit(HARDNESS).symbol == ""
    point = coherent_unit(TEMPERATURE_POINT)
    assert (point.symbol, point.dimension, to_base(300.0, point)) == ("K", TEMPERATURE_POINT, 300.0)


# ---- reading units


@pytest.mark.parametrize(
    ("text", "name", "factor"),
    [
        ("mm", "length", 1e-3),
        ("mm3/s", "flow", 1e-9),
        ("W/m/K", "conductivity", 1.0),
        ("W/m2/K", "heat_transfer", 1.0),
        ("kJ/mol", "energy_per_mole", 1e3),
        ("Pa*s", "viscosity", 1.0),
        ("N*mm", "torque", 1e-3),
        ("g/cm3", "density", 1e3),
        ("1/s", "rate", 1.0),
        ("1/min", "rate", 1 / 60),
        ("1/s*mm", "speed", 1e-3),
        ("1/m/s2*kg", "pressure", 1.0),
        ("g/min", "melt_flow_rate", 1e-3 / 60),
        ("mm4", "second_moment", 1e-12),
        ("%", "share", 0.01),
        ("K", "temperature_difference", 1.0),
        ("shore_a", "hardness", 1.0),
    ],
)
def test_units_are_read(text: str, name: str, factor: float) -> None:
    unit = parse_unit(text)
    assert unit.dimension == DIMENSIONS[name]
    assert unit.factor == factor
    assert unit.symbol == text


def test_a_stroke_applies_to_the_next_factor_only() -> None:
    assert parse_unit("N/m*s").dimension == parse_unit("N*s/m").dimension
    assert parse_unit("N/m*s").dimension != parse_unit("N/m/s").dimension


@pytest.mark.parametrize("text", ["um", "µm", "μm"])
def test_every_micro_sign_is_read(text: str) -> None:
    assert parse_unit(text) == UNITS["um"]
    assert parse_unit(f"{text}2/s").symbol == "um2/s"


def test_reading_is_cached() -> None:
    assert parse_unit("mm2/s") is parse_unit("mm2/s")


@given(compounds(), compounds())
def test_gluing_texts_multiplies_units(left: str, right: str) -> None:
    a, b = parse_unit(left), parse_unit(right)
    glued = left + (right[1:] if right.startswith("1/") else f"*{right}")
    if glued.count("*") + glued.count("/") - glued.startswith("1/") < units.MOST_FACTORS:
        both = parse_unit(glued)
        assert both.dimension == a.dimension.times(b.dimension)
        assert both.factor == pytest.approx(a.factor * b.factor, rel=1e-14)


def test_points_scales_and_their_differences() -> None:
    assert parse_unit("degC").dimension == TEMPERATURE_POINT
    assert difference_unit(parse_unit("degC")) == parse_unit("K")
    assert difference_unit(coherent_unit(TEMPERATURE_POINT)) == parse_unit("K")
    for text in ("mm", "K", "shore_d", "%", "W/m/K"):
        assert difference_unit(parse_unit(text)) == parse_unit(text)
    assert {parse_unit(s).scale for s in ("shore_a", "shore_d", "mm")} == {"shore_a", "shore_d", None}
    assert parse_unit("shore_a").dimension == parse_unit("shore_d").dimension == HARDNESS


# ---- what is no unit


@pytest.mark.parametrize(
    ("text", "part", "suggestions"),
    [
        # case
        ("MM", "MM", ("mm",)),
        ("mpa", "mpa", ("MPa",)),
        ("MM3/S", "MM3", ("mm3",)),
        ("kN/MM2", "MM2", ("mm2",)),
        ("KG", "KG", ("kg",)),
        ("degc", "degc", ("degC",)),
        ("mPa*s", "mPa", ("MPa", "Pa")),
        # other names
        ("C", "C", ("degC",)),
        ("°C", "°C", ("degC",)),
        ("celsius", "celsius", ("degC",)),
        ("W/m/°C", "°C", ("K",)),
        ("inch", "inch", ("mm",)),
        ("inch3", "inch3", ("mm3",)),
        ("psi", "psi", ("MPa",)),
        ("Hz", "Hz", ("1/s",)),
        ("m*Hz", "Hz", ()),
        ("percent", "percent", ("%",)),
        ("sec", "sec", ("s",)),
        ("millimetres", "millimetres", ("mm",)),
        ("newtons", "newtons", ("N",)),
        ("ShoreA", "ShoreA", ("shore_a",)),
        ("A", "A", ("shore_a",)),
        ("ml/min", "ml", ("cm3",)),
        # other spellings
        ("mm^2", "mm^2", ("mm2",)),
        ("mm**2", "mm**2", ("mm2",)),
        ("mm²", "mm²", ("mm2",)),
        ("g/cm^3", "cm^3", ("cm3",)),
        ("N·m", "N·m", ("N*m",)),
        ("s^-1", "s^-1", ("1/s",)),
        ("mm//s", "mm//s", ("mm/s",)),
        ("/s", "/s", ("1/s",)),
        ("mm/", "mm/", ("mm",)),
        ("mm1", "mm1", ("mm",)),
        # run together
        ("Nm", "Nm", ("N*m",)),
        ("W/mK", "mK", ("m/K",)),
        ("W/m2K", "m2K", ("m2/K",)),
        ("J/kgK", "kgK", ("kg/K",)),
        # a prefix that is not offered, likeness
        ("mW", "mW", ("W",)),
        ("mmol", "mmol", ("mol",)),
        ("shore_b", "shore_b", ("shore_d", "shore_a")),
        ("mm/minn", "minn", ("min",)),
        # points and scales stand alone
        ("degC/s", "degC/s", ("K/s",)),
        ("1/degC", "1/degC", ("1/K",)),
        ("W/m/degC", "W/m/degC", ("W/m/K",)),
        ("degC2", "degC2", ("K2",)),
        ("shore_a/s", "shore_a/s", ("shore_a",)),
        # nothing near
        ("", "", ()),
        ("1", "1", ()),
        ("1/", "1/", ()),
        ("xyzzy", "xyzzy", ()),
        ("mm/zz", "zz", ()),
    ],
)
def test_slips_are_explained(text: str, part: str, suggestions: tuple[str, ...]) -> None:
    with pytest.raises(UnknownUnit) as caught:
        parse_unit(text)
    assert (caught.value.part, caught.value.suggestions) == (part, suggestions)
    assert repr(part) in str(caught.value)
    assert all(s in str(caught.value) for s in suggestions)


@given(st.text("mMkKgGsSNPpaAhH°Cdegiunoreclt_%0123456789*/^-²µ", max_size=14) | st.text(max_size=8))
@example("1/1/1/s")
@example("*")
@example("--1")
def test_any_text_is_a_unit_or_explained(text: str) -> None:
    try:
        unit = parse_unit(text)
    except UnknownUnit as error:
        assert error.part in text
        assert all(parse_unit(s).factor > 0 for s in error.suggestions)
    else:
        assert math.isfinite(unit.factor)
        assert unit.factor > 0


@pytest.mark.parametrize(
    "text", ["mm*" * 8 + "mm", "um9*" * 7 + "um9", "x" * 100_000, "mm/" * 100_000 + "mm", "mm10", "mm0"]
)
def test_overlong_units_are_refused(text: str) -> None:
    with pytest.raises(UnknownUnit) as caught:
        parse_unit(text)
    assert len(str(caught.value)) < 100


# ---- conversion


def test_pi_is_pi() -> None:
    """Machin 1706: pi = 16 atan(1/5) - 4 atan(1/239), in whole numbers to 60 places."""
    scale = 10**70

    def arctangent_of_inverse(n: int) -> int:
        total, term, k = 0, scale // n, 1
        while term:
            total += term // k if k % 4 == 1 else -(term // k)
            term //= n * n
            k += 2
        return total

    pi = Fraction(16 * arctangent_of_inverse(5) - 4 * arctangent_of_inverse(239), scale)
    half_turn = UNITS["turn"].exact
    assert half_turn is not None
    assert abs(half_turn / 2 - pi) < Fraction(1, 10**60)


@pytest.mark.parametrize(
    ("number", "unit", "value"),
    [
        ("0.2", "mm", 0.0002),
        ("0.1", "mm", 0.0001),
        ("13", "mm", 0.013),
        ("0.3", "%", 0.003),
        ("1.24", "g/cm3", 1240.0),
        ("220", "degC", 493.15),
        ("-273.15", "degC", 0.0),
        ("0", "degC", 273.15),
        ("1e-500", "degC", 273.15),
        ("90", "deg", math.pi / 2),
        ("180", "deg", math.pi),
        ("0.5", "turn", math.pi),
        ("2.4", "mm3/s", 2.4e-9),
        ("10", "g/min", 1 / 6000),
        ("86", "shore_a", 86.0),
        ("1e3", "mm", 1.0),
        ("-0.0", "mm", 0.0),
    ],
)
def test_decimal_texts_give_the_nearest_double(number: str, unit: str, value: float) -> None:
    found = to_base_text(number, parse_unit(unit))
    assert found == value
    assert math.copysign(1, found) == math.copysign(1, value)
    assert to_base(float(number), parse_unit(unit)) == value


@given(written, simple_units)
def test_conversion_rounds_once(number: str, unit: Unit) -> None:
    """Against exact fractions: CPython documents that a Fraction gives the nearest double."""
    assert unit.exact is not None
    exact = Fraction(number) * unit.exact + Fraction(str(unit.offset))
    assert to_base_text(number, unit) == float(exact)


@given(numbers, simple_units)
def test_a_double_counts_as_its_text(number: float, unit: Unit) -> None:
    assert to_base(number, unit) == to_base_text(repr(number), unit)


@given(numbers, scaled_units)
@example(1.9999999999999998, UNITS["mm"])
def test_a_number_comes_back(number: float, unit: Unit) -> None:
    assert abs(from_base(to_base(number, unit), unit) - number) <= 2 * math.ulp(number)


@given(numbers, compounds())
def test_a_number_comes_back_from_compounds(number: float, text: str) -> None:
    unit = parse_unit(text)
    assert abs(from_base(to_base(number, unit), unit) - number) <= 2 * math.ulp(number)


@given(st.floats(-273.15, 1e6))
def test_a_temperature_comes_back(number: float) -> None:
    unit = UNITS["degC"]
    kelvin = to_base(number, unit)
    assert abs(from_base(kelvin, unit) - number) <= 2 * math.ulp(max(kelvin, abs(number)))


@given(
    st.decimals(min_value=-1000, max_value=1000, places=4),
    st.sampled_from(["mm", "um", "MPa", "degC", "%", "g/cm3", "mm3/s"]),
)
def test_a_written_number_comes_back_as_written(number: object, text: str) -> None:
    unit = parse_unit(text)
    assert from_base(to_base_text(str(number), unit), unit) == float(str(number))


@given(numbers, numbers, simple_units)
def test_conversion_keeps_the_order(a: float, b: float, unit: Unit) -> None:
    low, high = sorted((a, b))
    assert to_base(low, unit) <= to_base(high, unit)
    assert from_base(low, unit) <= from_base(high, unit)


def test_a_unit_made_by_hand_counts_its_factor_as_decimal() -> None:
    assert to_base(0.1, Unit("span", DIMENSIONS["length"], 0.3)) == 0.03


def test_what_is_not_finite() -> None:
    for unit in (UNITS["mm"], UNITS["degC"]):
        assert to_base(math.inf, unit) == from_base(math.inf, unit) == math.inf
        assert math.isnan(to_base(math.nan, unit))
        assert math.isnan(from_base(math.nan, unit))
    for number in ("1e400", "1e308", "1e999999"):
        with pytest.raises(OverflowError):
            to_base_text(number, UNITS["kPa"])
    with pytest.raises(OverflowError):
        from_base(1e307, UNITS["um"])
    assert to_base_text("1e-400", UNITS["mm"]) == 0.0


@pytest.mark.parametrize("number", ["", "mm", "1/3", "nan", "inf", "0x10", "1,5"])
def test_texts_that_are_no_decimal_number(number: str) -> None:
    with pytest.raises(ValueError, match="not a"):
        to_base_text(number, UNITS["mm"])


def test_units_load_little() -> None:
    heavy = ["numpy", "pint", "lark", "difflib", "jinja2"]
    code = f"import sys, meltwright.meaning.units; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_reference_lists_every_unit_and_dimension() -> None:
    from importlib.resources import files

    text = files("meltwright.grammar").joinpath("README.md").read_text(encoding="utf-8")
    missing = [n for n in [*units.UNITS, *units.DIMENSIONS] if f"`{n}`" not in text and n != "µm"]
    assert missing == []
