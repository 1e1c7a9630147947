"""Reading never fails, whatever the text: it gives faults, or a tree that prints and reads back."""

from hypothesis import given, settings
from hypothesis import strategies as st
from meltwright.syntax import tree
from meltwright.syntax.printing import print_file
from meltwright.syntax.reading import read
from meltwright.text.diagnostic import write

from . import strategies
from .reader import source
from .test_faults import GOOD


def _check(text: str) -> None:
    here = source(text)
    file, faults = read(here)
    for fault in faults:
        assert 0 <= fault.span.start <= fault.span.end <= len(text) + 1
        assert fault.message and fault.help
    rendered = write(faults, {here.name: here})
    assert all(c.isprintable() or c == "\n" for c in rendered)
    if not faults:
        printed = print_file(file)
        again, more = read(source(printed))
        assert more == []
        assert again == file
        assert print_file(again) == printed


@given(st.text())
def test_any_text(text: str) -> None:
    _check(text)


@given(strategies.soups)
def test_any_soup_of_words(text: str) -> None:
    _check(text)


@given(st.sampled_from(["material a", "profile a", "grade a by b", "law a"]), strategies.soups)
def test_any_soup_in_a_block(head: str, text: str) -> None:
    _check(f"{head} {{\n{text}\n}}")


@st.composite
def _damaged(draw: st.DrawFn) -> str:
    text = GOOD
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        stop = min(len(text), start + draw(st.integers(0, 6)))
        text = text[:start] + draw(st.sampled_from(["", " ", "\n", "{", "}", "(", '"', "gap", "3 mm"])) + text[stop:]
    return text


@given(_damaged())
def test_any_damage_to_a_good_file(text: str) -> None:
    _check(text)


@settings(max_examples=40)
@given(strategies.files, st.data())
def test_a_fault_in_one_statement_leaves_the_others(file: tree.File, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(file.statements)))
    parts = [print_file(tree.File(file.name, (s,))) for s in file.statements]
    again, faults = read(source("".join([*parts[:at], "merit = =\n", *parts[at:]])))
    assert [f.code for f in faults] == ["M110"]
    assert again.statements == file.statements
