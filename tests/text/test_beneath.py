"""Values stand beneath the parts they belong to, none over another, whatever the text."""

import itertools
import re
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.text.beneath import Part, _wrapped, beneath
from meltwright.text.cells import cells, plain
from syrupy.assertion import SnapshotAssertion

NAMES = st.sampled_from(["a", "b2", "gap", "längs_maß", "heat.of_the_nozzle", "幅", "a_rather_long_name_of_a_thing"])
SIZES = st.integers(0, 12)
NAME = re.compile(r"[^\W\d][\w.]*")


@st.composite
def texts(draw: st.DrawFn, depth: int = 3) -> tuple[str, list[tuple[int, int, int]]]:
    """Make a formula, and its parts as places with the length of the value that each is to have."""
    if depth == 0 or draw(st.booleans()):
        name = draw(NAMES)
        return name, [(0, len(name), draw(SIZES))]
    begin, between, end = draw(
        st.sampled_from(
            [("", " + ", ""), ("", "*", ""), ("min(", ", ", ")"), ("(", " /\n    ", ")"), ("", "^2 - ", "")]
        )
    )
    (left, of_left), (right, of_right) = draw(texts(depth - 1)), draw(texts(depth - 1))
    text, at = f"{begin}{left}{between}{right}{end}", len(begin) + len(left) + len(between)
    parts = [(a + len(begin), b + len(begin), n) for a, b, n in of_left] + [(a + at, b + at, n) for a, b, n in of_right]
    return text, [*parts, (0, len(text), draw(SIZES))]


def valued(parts: list[tuple[int, int, int]], offset: int) -> list[Part]:
    """Give each part a value of its own."""
    return [(a + offset, b + offset, f"<{k}{'.' * n}>") for k, (a, b, n) in enumerate(parts)]


def blocks(text: str, parts: list[Part], width: int) -> Iterator[tuple[int, int, str, list[str]]]:
    """Take the output apart: which characters stand in a line, its indent, and the rows beneath it."""
    lines = beneath(text, parts, width)
    heads = [
        (w.start, w.end, w.indent, w.indent + plain(text[w.start : w.end].rstrip()))
        for w in _wrapped(text, parts, width)
    ]
    at = 0
    for k, (start, end, indent, head) in enumerate(heads):
        assert lines[at] == head
        stop = at + 1
        while stop < len(lines) and (k + 1 == len(heads) or lines[stop] != heads[k + 1][3]):
            stop += 1
        yield start, end, indent, lines[at + 1 : stop]
        at = stop
    assert at == len(lines)


def cell(row: str, at: int, count: int = 1) -> str:
    """Give what stands in some cells of a row of values, whose characters take one cell each."""
    return row[at : at + count]


@given(texts(), st.sampled_from(["", "require ", "  # 注 "]), st.sampled_from([30, 60, 110, 10_000]))
def test_each_value_stands_under_its_part(
    made: tuple[str, list[tuple[int, int, int]]], before: str, width: int
) -> None:
    text = before + made[0]
    parts = valued(made[1], len(before))
    rows_of: dict[str, tuple[int, int]] = {}
    for block, (start, end, indent, rows) in enumerate(blocks(text, parts, width)):
        for first, last, value in parts:
            if not start < last <= end:
                assert not any(value in row for row in rows)
                continue
            (at,) = [k for k, row in enumerate(rows) if value in row]
            assert rows[at].count(value) == 1
            rows_of[value] = block, at
            row, own = rows[at], text[start:end]
            begin = max(first, start + len(own) - len(own.lstrip()))
            left, right = (cells(indent) + cells(plain(text[start:k])) for k in (begin, last))
            stands = cells(row[: row.index(value)])
            if NAME.fullmatch(text[first:last]):
                assert stands == left
                assert all(cell(above, left) == "|" for above in rows[:at])
            elif first < start:
                assert cell(row, left, 4) == "... "
                assert stands == left + 4
                assert right < left + len(value) + 6 or cell(row, right - 1) == "'"
            else:
                assert (cell(row, left), cell(row, right - 1)) == ("'", "'")
                assert left < stands < stands + len(value) < right or stands == right + 1
    assert rows_of.keys() == {value for _, _, value in parts}
    for (a, b, inner), (c, d, outer) in itertools.product(parts, parts):
        if c <= a and b <= d and (a, b) != (c, d) and rows_of[inner][0] == rows_of[outer][0]:
            assert rows_of[inner][1] < rows_of[outer][1]


@given(texts(), st.sampled_from([20, 40, 80]))
def test_values_of_a_row_keep_their_distance(made: tuple[str, list[tuple[int, int, int]]], width: int) -> None:
    for _, _, _, rows in blocks(made[0], valued(made[1], 0), width):
        for row in rows:
            # After a value: the end of the row, of its own bracket, or two free cells.
            assert not re.search(r">(?! *$| -*'|  )", row), row


@given(texts(depth=4), st.sampled_from([20, 40, 80]))
def test_nothing_of_a_long_text_is_lost(made: tuple[str, list[tuple[int, int, int]]], width: int) -> None:
    text, parts = made[0], valued(made[1], 0)
    pieces = list(_wrapped(text, parts, width))
    assert "".join("".join(text[p.start : p.end].split()) for p in pieces) == "".join(text.split())
    names = [(a, b) for a, b, _ in parts if re.fullmatch(r"[\w.]+", text[a:b])]
    assert not any(a < p.start < b for p in pieces for a, b in names)


CASES = {
    "names alone": ("width <= limit", ["width 0.5 mm", "limit 0.48 mm"]),
    "nested": (
        "a * b + c <= d^2",
        ["a 1.25 mm", "b 2.25 mm", "a * b 2.8125 mm2", "c 3 mm2", "a * b + c 5.8125 mm2", "d 2 mm", "d^2 4 mm2"],
    ),
    "wide characters": ('"幅広" width <= längs_maß', ["width 0.5 mm", "längs_maß 0.48 mm"]),
    "over two lines": (
        "speed <=\n    max(walk, 2 * run)",
        ["speed 9 m/s", "walk 1 m/s", "run 4 m/s", "2 * run 8 m/s", "max(walk, 2 * run) 8 m/s"],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_as_it_looks(case: str, snapshot: SnapshotAssertion) -> None:
    text, given_ = CASES[case]
    parts = []
    for line in given_:
        what = next(line[:k] for k in range(len(line), 0, -1) if line[:k] in text and line[k] == " ")
        parts.append((text.index(what), text.index(what) + len(what), line[len(what) + 1 :]))
    assert "\n".join(["", *beneath(text, parts)]) == snapshot


def test_a_long_line_is_wrapped(snapshot: SnapshotAssertion) -> None:
    text = "total <= " + " + ".join(f"part_{k} * share_{k}" for k in range(8))
    parts = [(m.start(), m.end(), f"{len(m[0])} mm") for m in re.finditer(r"\w+ \* \w+|(?<=<= ).*", text)]
    parts += [(m.start(), m.end(), f"{k} mm") for k, m in enumerate(re.finditer(r"\b[a-z]\w+", text))]
    assert "\n".join(["", *beneath(text, parts, 60)]) == snapshot
