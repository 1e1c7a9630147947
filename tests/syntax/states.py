"""``python -m tests.syntax.states``: places of the grammar that no message is for, and messages that no place needs.

A place is what ``compiler/syntax/places.py`` calls one: where the automaton stands after some tokens. All of them are
found here from the tables alone. Any walk through them is the row of states of some beginning, so the states below
those that matter may be any that lead there.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Any, NamedTuple

from lark.parsers.lalr_analysis import Shift
from meltwright.syntax.grammar import STARTS, lex, parser
from meltwright.syntax.mistakes import Entry, entries, find
from meltwright.syntax.parsing import accepted, automaton, parse
from meltwright.syntax.places import NONE, Place, place_of, reduction, waits

_WORDS = {"NAME": "a", "NUMBER": "1", "MEASURE": "1 mm", "STRING": '"t"', "_PLUS_MINUS": "±"}


class Found(NamedTuple):
    """A place of a form, and the shortest beginning that leads there."""

    start: str
    place: Place
    beginning: str


@cache
def places() -> tuple[Found, ...]:
    """List all places at which a mistake can be found, in the order of the forms."""
    return tuple(found for start in STARTS for found in _places(start))


def missing() -> list[Found]:
    """List places without an entry."""
    return [found for found in places() if find(found.place, found.start) is None]


def useless() -> list[tuple[Entry, str]]:
    """List beginnings of entries that cannot stand, or lead to where another entry holds."""
    return [(e, b) for e in entries() for b in e.after if not _own(e, b)]


def following(beginning: str, start: str) -> set[str]:
    """Give words that may follow a beginning, one for each terminal."""
    return {_written(word) for word in accepted(lex(beginning), start) if word != "$END"}


def _own(e: Entry, beginning: str) -> bool:
    tokens = lex(e.whole(beginning))
    stands = parse(tokens, e.start)
    if isinstance(stands, int) and stands < len(tokens):
        return False
    return find(place_of(tokens, e.start), e.start) is e


def _places(start: str) -> Iterator[Found]:
    tables = automaton(start)
    ways = _ways(start)
    before = defaultdict(set)
    tops = {tables.start_state}
    for state in ways:
        for word, (action, target) in tables.states[state].items():
            if action is Shift:
                before[target].add(state)
                # Nothing can be wrong after the brace that ends a head: the first item follows.
                if word.isupper() and word not in ("$END", "LBRACE"):
                    tops.add(target)
    for top in sorted(tops):
        for place, ways_below in sorted(_collapsed(top, start, before).items()):
            below = min(ways_below, key=lambda stack: len(_walk(stack, start)))
            yield Found(start, place, " ".join(_written(w) for w in _walk(below, start)))


def _walk(stack: tuple[int, ...], start: str) -> list[str]:
    """Give terminals that lead along a row of states."""
    words = list(_ways(start)[stack[0]])
    for state, after in pairwise(stack):
        words += min((_yield(w) for w, (a, t) in automaton(start).states[state].items() if a is Shift and t == after))
    return words


def _collapsed(top: int, start: str, before: dict[int, set[int]]) -> dict[Place, list[tuple[int, ...]]]:
    """Follow all ways in which the phrases before a state may be complete, and give the places they make.

    A walk is the row of states that the automaton would hold, as far as it is known, with the row it began with.
    """
    tables, found = automaton(start), defaultdict[Place, list[tuple[int, ...]]](list)
    todo = [((top,), (top,), NONE, NONE)]
    seen = set()
    while todo:
        stack, below, first, last = todo.pop()
        state = stack[-1]
        if state != tables.end_state and waits(tables.states[state]):
            first, last = (state if first == NONE else first), state
        if (stack, first, last) in seen:
            continue
        seen.add((stack, first, last))
        rule = None if state == tables.end_state else reduction(tables.states[state])
        if rule is None:
            found[Place(top, first, last, state == tables.end_state)].append(below)
            continue
        size = len(rule.expansion)
        for more in _deeper(stack, size + 1, before):
            kept = more[: len(more) - size]
            target = tables.states[kept[-1]].get(rule.origin.name)
            if target is not None:
                known = more[: len(more) - len(stack)] + below
                todo.append(((*kept, target[1]), known, first, last))
    return found


def _deeper(stack: tuple[int, ...], size: int, before: dict[int, set[int]]) -> Iterator[tuple[int, ...]]:
    """Give all rows of at least this size that end with a row."""
    if len(stack) >= size:
        yield stack
        return
    for state in sorted(before[stack[0]]):
        yield from _deeper((state, *stack), size, before)


@cache
def _ways(start: str) -> dict[int, tuple[str, ...]]:
    """Give the shortest row of terminals that leads to each state of a form."""
    tables = automaton(start)
    best = dict[int, tuple[str, ...]]()
    todo = [(0, tuple[str, ...](), tables.start_state)]
    while todo:
        _, words, state = heapq.heappop(todo)
        if state in best:
            continue
        best[state] = words
        for word, (action, target) in tables.states[state].items():
            if action is Shift and word != "$END":
                longer = words + _yield(word)
                heapq.heappush(todo, (len(longer), longer, target))
    return best


def _yield(word: str) -> tuple[str, ...]:
    """Give the shortest row of terminals that a terminal or a rule stands for."""
    return (word,) if word.isupper() else _shortest()[word]


@cache
def _shortest() -> dict[str, tuple[str, ...]]:
    tables = automaton(STARTS[0]).states.values()
    rules: list[Any] = [target for table in tables for action, target in table.values() if action is not Shift]
    best, changed = dict[str, tuple[str, ...]](), True
    while changed:
        changed = False
        for rule in rules:
            parts = [(s.name,) if s.is_term else best.get(s.name) for s in rule.expansion]
            if None in parts:
                continue
            row = tuple(word for part in parts if part for word in part)
            name = rule.origin.name
            if name not in best or (len(row), row) < (len(best[name]), best[name]):
                best[name], changed = row, True
    return best


@cache
def _texts() -> dict[str, str]:
    return {t.name: str(t.pattern.value) for t in parser().terminals if t.pattern.type == "str"}


def _written(word: str) -> str:
    return _WORDS.get(word) or _texts()[word]


def main() -> int:
    """Tell what is missing and what is useless."""
    lacking, spare = missing(), useless()
    for start, place, beginning in lacking:
        print(f"no message in [[{start}]] after: {beginning}    ({', '.join(map(str, place))})")
    for e, beginning in spare:
        print(f"leads nowhere, or to another entry, in [[{e.section}]]: {beginning}")
    print(f"{len(places())} places, {len(entries())} messages, {len(lacking)} missing, {len(spare)} useless beginnings")
    return int(bool(lacking or spare))


if __name__ == "__main__":
    raise SystemExit(main())
