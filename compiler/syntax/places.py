"""Where in a form some tokens have come to, told by the states of the grammar's automaton.

An automaton of this kind shares states: after ``12 mm`` it is in one and the same state in a value of a machine, of a
pin and of a setting. What may follow is known only when the phrase that was just completed is taken for what it is. So
a place is the whole walk from the state on top to where the automaton waits for more, whatever would come next.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

from lark.parsers.lalr_analysis import Shift

from .parsing import automaton, states_after
from .tokens import Token

NONE = -1
"""Where there is no state."""


class Place(NamedTuple):
    """A place in a form: states of the automaton.

    ``top`` is the one after the last token. ``first`` and ``last`` are the first and the last of those that wait for a
    token, on the way that the automaton takes when each phrase that may be complete is; ``last`` is where the form
    goes on. They are ``NONE`` where nothing more may come. ``whole`` tells whether the form may end here.
    """

    top: int
    first: int
    last: int
    whole: bool

    @property
    def names(self) -> tuple[tuple[int, int, int], ...]:
        """What it may be called, the most precise first: all, without what was just read, or where it goes on."""
        return (self.top, self.first, self.last), (NONE, self.first, self.last), (NONE, NONE, self.last)


def place_of(tokens: Sequence[Token], start: str) -> Place:
    """Give the place after tokens that can stand at the beginning of a form."""
    states, tables = states_after(tokens, start), automaton(start)
    top, waiting = states[-1], list[int]()
    while states[-1] != tables.end_state:
        table = tables.states[states[-1]]
        if waits(table):
            waiting.append(states[-1])
        rule = reduction(table)
        if rule is None:
            break
        del states[len(states) - len(rule.expansion) :]
        states.append(tables.states[states[-1]][rule.origin.name][1])
    first, last = (waiting[0], waiting[-1]) if waiting else (NONE, NONE)
    return Place(top, first, last, states[-1] == tables.end_state)


def waits(table: Any) -> bool:
    """Tell whether a state can take a token without completing a phrase first."""
    return any(action is Shift and word.isupper() for word, (action, _) in table.items())


def reduction(table: Any) -> Any:
    """Give the rule of the phrase that may be complete in a state; no state of the grammar has two."""
    return next((target for action, target in table.values() if action is not Shift), None)
