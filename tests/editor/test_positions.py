"""Places as editors count them, against Python's own encodings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.editor.positions import UTF8, UTF16, UTF32, Lines, Position

WIDTHS = {UTF8: ("utf-8", 1), UTF16: ("utf-16-le", 2), UTF32: ("utf-32-le", 4)}
TEXTS = st.text(st.sampled_from("ab ±µ𝄞é\n\r#"), max_size=40)


@pytest.mark.parametrize("encoding", WIDTHS)
@given(text=TEXTS, data=st.data())
def test_there_and_back(encoding: str, text: str, data: st.DataObject) -> None:
    lines = Lines(text, encoding)
    offset = data.draw(st.integers(0, len(text)))
    inside_line_end = text[offset - 1 : offset + 1] == "\r\n"
    place = lines.position(offset)
    if not inside_line_end and text[offset - 1 : offset] != "\r":
        assert lines.offset(place) == offset


@pytest.mark.parametrize("encoding", WIDTHS)
@given(text=TEXTS, data=st.data())
def test_columns_are_code_units(encoding: str, text: str, data: st.DataObject) -> None:
    lines = Lines(text, encoding)
    offset = data.draw(st.integers(0, len(text)))
    place = lines.position(offset)
    codec, width = WIDTHS[encoding]
    assert place.column == len(text[lines.starts[place.line] : offset].encode(codec)) // width


def test_what_is_outside_counts_as_the_nearer_end() -> None:
    lines = Lines("ab\ncd")
    assert lines.offset(Position(0, 9)) == 2
    assert lines.offset(Position(9, 0)) == 5
    assert lines.position(99) == Position(1, 2)
