"""Every place of the grammar at which a mistake can be found has a message that somebody wrote for it."""

import pytest
from meltwright.syntax.grammar import STARTS, lex
from meltwright.syntax.mistakes import Entry, entries, find
from meltwright.syntax.parsing import accepted, parse
from meltwright.syntax.places import place_of
from meltwright.syntax.reading import read

from . import states
from .reader import report, source

_HEADS = {
    "statement": "",
    "entity_item": "machine m {\n",
    "profile_item": "profile p {\n",
    "grade_item": "grade g by x {\n",
    "law_item": "law l {\n",
}
# Words that are no slip that is recognised, most of which can stand nowhere near.
_WRONG = ['"t" "t"', "zzzz", "1 mm", "..", ")", "(", "=", "^", "zzzz zzzz", ","]
_BEGINNINGS = [(e, b) for e in entries() for b in e.after]


def _named(case: tuple[Entry, str]) -> str:
    return f"{case[0].section}: {case[1]}"


def test_no_place_is_without_a_message() -> None:
    assert len(states.places()) > 600
    assert states.missing() == []


def test_no_beginning_is_useless() -> None:
    assert states.useless() == []


@pytest.mark.parametrize("start", STARTS)
def test_the_places_found_in_the_tables_are_those_of_their_beginnings(start: str) -> None:
    for found in states.places():
        tokens = lex(found.beginning)
        stands = parse(tokens, found.start)
        assert not isinstance(stands, int) or stands == len(tokens)
        assert place_of(tokens, found.start) == found.place, found


@pytest.mark.parametrize("start", STARTS)
def test_walking_forwards_comes_to_no_other_places(start: str) -> None:
    known = {f.place for f in states.places() if f.start == start}
    todo, seen = [""], set()
    while todo:
        beginning = todo.pop(0)
        place = place_of(lex(beginning), start)
        assert place in known, beginning
        if place not in seen:
            seen.add(place)
            todo += [f"{beginning} {w}" for w in sorted(states.following(beginning, start)) if w != "{"]
    assert len(seen) > 10


@pytest.mark.parametrize("case", _BEGINNINGS, ids=_named)
def test_what_a_beginning_is_told_is_its_message(case: tuple[Entry, str]) -> None:
    entry, beginning = case
    advised = []
    for wrong in _WRONG:
        text = entry.whole(beginning) + " " + wrong
        tokens = lex(text)
        at = len(lex(entry.whole(beginning)))
        if parse(tokens, entry.start) == at:
            open_ones = sum({"(": 1, ")": -1}.get(str(t), 0) for t in tokens)
            faults = read(
                source(f"{_HEADS[entry.start]}{text}{' )' * open_ones}\n{'}' if _HEADS[entry.start] else ''}\n")
            )[1]
            assert len(faults) == 1, report(text)
            advised.append(faults[0].help)
    assert entry.advice in advised, advised


@pytest.mark.parametrize("entry", [e for e in entries() if e.like], ids=lambda e: f"{e.section}: {e.like}")
def test_what_a_message_shows_is_sound_and_goes_on_from_its_place(entry: Entry) -> None:
    tokens = lex(entry.whole(entry.like))
    assert not isinstance(parse(tokens, entry.start), int)
    beginnings = [lex(entry.whole(b)) for b in entry.after]
    if all("$END" not in accepted(b, entry.start) for b in beginnings):
        passed = [find(place_of(tokens[:i], entry.start), entry.start) for i in range(len(tokens))]
        assert entry in passed


def test_messages_are_one_plain_sentence() -> None:
    for entry in entries():
        assert entry.write[0].islower() and not entry.write.endswith("."), entry
        assert len(entry.advice) <= 200, entry
        assert not any(c in entry.write for c in "\n\t`"), entry
