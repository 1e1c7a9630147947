"""Fixes: laid into lines, chosen, applied, and kept from bringing in new faults. The texts here are made up."""

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st
from meltwright.text.diagnostic import Diagnostic, Edit, Fix
from meltwright.text.fixing import MOST_ROUNDS, applied, chosen, laid_fix, mend, moved, put_in, take_out, write_for
from meltwright.text.source import Source, Span

NAME = "a.melt"
HERE = Path("/nowhere/a.melt")
ANY_TEXT = st.text(alphabet="ab ±é漢😀\n\r#{}", max_size=60)


def source(text: str) -> Source:
    return Source(NAME, HERE, text)


def fault(fix: Fix, code: str = "M214") -> Diagnostic:
    return Diagnostic(code, fix.edits[0].span, "m", "h", (), (fix,))


@st.composite
def texts_with_faults(draw: st.DrawFn) -> tuple[str, list[Diagnostic]]:
    """Draw a text, and faults with safe fixes anywhere in it: replacements, insertions, removals."""
    text = draw(ANY_TEXT)
    places = draw(st.lists(st.tuples(st.integers(0, len(text)), st.integers(0, 5), st.sampled_from(["", "x", "±漢"]))))
    fixes = [Fix("do", (Edit(Span(NAME, at, min(at + n, len(text))), new),), True) for at, n, new in places]
    return text, [fault(f) for f in fixes if f.edits[0].text or f.edits[0].span.start < f.edits[0].span.end]


@given(texts_with_faults(), st.randoms(use_true_random=False))
def test_the_order_of_faults_does_not_count(drawn: tuple[str, list[Diagnostic]], random: object) -> None:
    text, faults = drawn
    shuffled = list(faults)
    random.shuffle(shuffled)  # type: ignore[attr-defined]

    def result(found: Sequence[Diagnostic]) -> str:
        return applied(text, [e for _, fix in chosen(found, {NAME}) for e in fix.edits])

    assert result(faults) == result(shuffled)


@given(texts_with_faults())
def test_what_is_chosen_does_not_overlap_and_the_rest_of_the_text_stays(drawn: tuple[str, list[Diagnostic]]) -> None:
    text, faults = drawn
    edits = sorted(
        {e for _, fix in chosen(faults, {NAME}) for e in fix.edits}, key=lambda e: (e.span.start, e.span.end)
    )
    assert all(a.span.end <= b.span.start for a, b in pairwise(edits))
    # Put together again by another way: from the last edit to the first, each in its own place.
    other = text
    for e in reversed(edits):
        other = other[: e.span.start] + e.text + other[e.span.end :]
    assert applied(text, edits) == other


@given(texts_with_faults(), st.integers(0, 60))
def test_places_are_found_again(drawn: tuple[str, list[Diagnostic]], at: int) -> None:
    text, faults = drawn
    edits = [e for _, fix in chosen(faults, {NAME}) for e in fix.edits]
    after = applied(text, edits)
    if at >= len(text) or any(e.span.start <= at < e.span.end for e in edits):
        return
    assert after[moved(at, edits)] == text[at]


@given(ANY_TEXT, st.integers(0, 60), st.integers(0, 9), st.booleans())
def test_laying_twice_is_laying_once(text: str, at: int, length: int, removal: bool) -> None:
    span = Span(NAME, min(at, len(text)), min(at + length, len(text)))
    fix = take_out(span, "remove") if removal else put_in(span, "\n  line", "add")
    once = laid_fix(fix, {NAME: source(text)})
    assert laid_fix(once, {NAME: source(text)}) == once


def lay(text: str, fix: Fix) -> str:
    return applied(text, laid_fix(fix, {NAME: source(text)}).edits)


def find(text: str, part: str) -> Span:
    return Span(NAME, text.index(part), text.index(part) + len(part))


def test_a_line_goes_whole_where_nothing_else_stands_on_it() -> None:
    text = "a {\n  gap 3 mm\n  gap 4 mm  # twice\n  bore 2 mm\n}\n"
    assert lay(text, take_out(find(text, "gap 3 mm"), "remove")) == text.replace("  gap 3 mm\n", "")
    assert lay(text, take_out(find(text, "gap 4 mm"), "remove")) == text.replace("gap 4 mm", "")
    assert lay("a, b", take_out(Span(NAME, 1, 4), "remove")) == "a"


def test_a_line_is_put_in_after_its_line_with_the_ends_of_the_file() -> None:
    text = "é {  # ±\r\n  gap 3 mm  # why\r\n}\r\n"
    assert lay(text, put_in(find(text, "é"), "\n  new", "add")) == text.replace("# ±", "# ±\r\n  new")
    assert lay(text, put_in(find(text, "gap 3 mm"), "\n  new", "add")) == text.replace("# why", "# why\r\n  new")
    assert lay("m { gap 3 mm }", put_in(Span(NAME, 4, 12), "\n  new", "add")) == "m { gap 3 mm\n  new }"


def test_only_safe_first_fixes_of_files_that_may_be_changed_are_chosen() -> None:
    span = Span(NAME, 0, 1)
    safe, unsafe = write_for(span, "a", "b", True), write_for(span, "a", "c")
    assert [f for _, f in chosen([fault(safe)], {NAME})] == [safe]
    assert chosen([fault(unsafe)], {NAME}) == []
    assert chosen([fault(safe)], {"other.melt"}) == []
    second = Diagnostic("M214", span, "m", "h", (), (unsafe, safe))
    assert chosen([second], {NAME}) == []


def test_the_same_edit_of_two_faults_is_carried_out_once() -> None:
    fix = write_for(Span(NAME, 0, 1), "a", "b", True)
    both = chosen([fault(fix), fault(fix, "M237")], {NAME})
    assert len(both) == 2
    assert applied("a", [e for _, f in both for e in f.edits]) == "b"


# ---- mending, with readers of made-up languages


class Reader:
    """Reports words by a table of what to write for them, with the code of each."""

    def __init__(self, text: str, words: Mapping[str, tuple[str, str]], safe: bool = True) -> None:
        self.text, self.words, self.safe = text, words, safe
        self.reads = 0

    def __call__(self, texts: Mapping[Path, str]) -> tuple[list[Diagnostic], dict[str, Source]]:
        self.reads += 1
        text = texts.get(HERE, self.text)
        found = []
        for word, (code, new) in self.words.items():
            for m in re.finditer(rf"\b{word}\b", text):
                fixes = [write_for(Span(NAME, *m.span()), word, new, self.safe)] if new else []
                found.append(Diagnostic(code, Span(NAME, *m.span()), "m", "h", (), tuple(fixes)))
        return found, {NAME: source(text)}


def mended(reader: Reader) -> tuple[str, list[str], set[str]]:
    result = mend(reader, lambda s: True)
    text = result.texts[NAME].text if NAME in result.texts else reader.text
    return text, [fix.title for _, fix in result.done], result.left


def test_faults_are_mended_until_none_is_left() -> None:
    reader = Reader("teh cat\r\n± teh", {"teh": ("M214", "the")})
    assert mended(reader) == ("the cat\r\n± the", ["write the for teh"] * 2, set())


@given(st.lists(st.sampled_from(["teh", "hte", "±", "漢", "\r\n", "cat"])).map(" ".join))
def test_mending_twice_is_mending_once(text: str) -> None:
    words = {"hte": ("M214", "teh"), "teh": ("M215", "the")}
    once, done, left = mended(Reader(text, words))
    assert once == text.replace("hte", "the").replace("teh", "the") and not left
    assert len(done) == text.count("teh") + 2 * text.count("hte")
    assert mended(Reader(once, words)) == (once, [], set())


def test_a_fault_that_was_hidden_behind_another_is_mended_too() -> None:
    words = {"teh": ("M214", "mm"), "mm": ("M301", "done")}
    result = mend(Reader("é teh", words), lambda s: True)
    assert result.texts[NAME].text == "é done" and not result.left
    # Both are told at their place in the text as it was.
    assert [(d.code, d.span.start) for d, _ in result.done] == [("M214", 2), ("M301", 2)]


def test_a_fix_that_brings_an_earlier_fault_in_is_not_made() -> None:
    assert mended(Reader("x teh", {"teh": ("M214", "bad"), "bad": ("M110", "")})) == ("x teh", [], {NAME})


def test_a_fix_that_mends_nothing_is_not_made() -> None:
    assert mended(Reader("teh", {"teh": ("M214", "teh")})) == ("teh", [], {NAME})


def test_fixes_that_call_one_another_come_to_an_end() -> None:
    reader = Reader("one", {"one": ("M110", "two"), "two": ("M110", "one")})
    mended(reader)
    assert reader.reads <= MOST_ROUNDS + 1


def test_files_that_may_not_be_written_are_never_changed() -> None:
    result = mend(Reader("teh", {"teh": ("M214", "the")}), lambda s: False)
    assert not result.texts and not result.done
