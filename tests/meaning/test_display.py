"""Numbers for people: the short way to their digits ends where the exact way does."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from meltwright.meaning.display import rounded, shown, trade_unit, with_unit
from meltwright.meaning.units import DIMENSIONS, UNITLESS, Unit, from_base, parse_unit, to_base

UNITS = [parse_unit(u) for u in ("mm", "degC", "%", "MPa", "mm3/s", "deg", "kJ/mol", "um", "min")]
DIGITS = st.integers(2, 7)


@given(st.floats(-1e9, 1e9), st.sampled_from(UNITS), DIGITS)
@example(273.15, parse_unit("degC"), 4)
@example(0.0002, parse_unit("mm"), 4)
@example(1e-18, parse_unit("mm"), 4)
def test_shown_is_the_exact_quotient_rounded(value: float, unit: Unit, digits: int) -> None:
    assert shown(value, unit, digits) == rounded(from_base(value, unit), digits)


@given(st.integers(-(10**6), 10**6), st.integers(0, 9), st.sampled_from(UNITS), DIGITS)
def test_ties_are_rounded_as_the_exact_quotient_is(number: int, places: int, unit: Unit, digits: int) -> None:
    # Short decimals lie on the edge between two texts, where the short way must not decide.
    value = to_base(number / 10**places, unit)
    assert shown(value, unit, digits) == rounded(from_base(value, unit), digits)


@pytest.mark.parametrize(
    ("number", "digits", "text"),
    [
        (0.5, 4, "0.5"),
        (1234.56, 4, "1235"),
        (12345.6, 4, "12346"),
        (99999.7, 4, "100000"),
        (1.5e7, 4, "1.5e7"),
        (2e-5, 4, "2e-5"),
        (-0.125, 2, "-0.12"),
        (0.0, 4, "0"),
        (-1e-13, 4, "0"),
        (float("inf"), 4, "unbounded"),
    ],
)
def test_few_digits_without_needless_zeros(number: float, digits: int, text: str) -> None:
    assert rounded(number, digits) == text
    assert shown(number, UNITLESS, digits) == text


def test_a_unit_follows_where_there_is_one() -> None:
    assert with_unit(0.0004, parse_unit("mm")) == "0.4 mm"
    assert with_unit(0.4, UNITLESS) == "0.4"
    assert trade_unit(DIMENSIONS["pressure"]).symbol == "MPa"
