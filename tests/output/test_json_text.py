"""JSON as the standard library writes it, also where data is shared."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.output.json_text import JsonWriter
from meltwright.telling.shared import Shared, SharedList

SCALARS = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
DATA = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.lists(inner, max_size=4).map(SharedList)
        | st.dictionaries(st.text(), inner, max_size=4)
        | st.dictionaries(st.text(), inner, max_size=4).map(Shared)
    ),
    max_leaves=20,
)


@given(DATA)
def test_the_text_is_that_of_the_standard_library(data: Any) -> None:
    writer = JsonWriter()
    for told in (data, [data, {"a": data}], [[data, data]]):
        assert writer.text(told) == json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(number: float) -> None:
    for data in (number, [number], {"a": number}):
        with pytest.raises(ValueError, match="no form in JSON"):
            JsonWriter().text(data)
    with pytest.raises(TypeError, match="no form in JSON"):
        JsonWriter().text({"a": object()})
