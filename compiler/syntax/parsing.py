"""Parsing heads and items by the grammar's automaton, once for each shape.

What the automaton does hangs on the terminals of the tokens alone. So its steps are kept by the row of terminals, and
an item of a shape that was seen before is built by going through them again.
"""

from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from typing import Any

from lark.parse_tree_builder import ExpandSingleChild
from lark.parsers.lalr_analysis import Shift

from .building import PASSED_ON
from .grammar import keywords, parser
from .tokens import TWO_SIGNS, Token

_END = "$END"
_SIGN = "_PLUS_MINUS"
_NEXT, _AGAIN = -1, -2

Step = tuple[Callable[[Any], Any] | None, int]
"""A function, and how many of the parts before it takes together; or ``_NEXT``: it takes the next token, ``_AGAIN``:
the same one once more. Without a function the token itself is the part.
"""


def parse(tokens: Sequence[Token], start: str) -> Any:
    """Build the node of a head or an item.

    Where it cannot be, gives the number of the token that cannot stand, or the count of tokens where they end too
    early.
    """
    steps = _steps(start, tuple([t.terminal for t in tokens]))
    if isinstance(steps, int):
        return steps
    parts: list[Any] = []
    following = iter(tokens)
    for build, size in steps:
        if size >= 0:
            own = parts[len(parts) - size :]
            del parts[len(parts) - size :]
            parts.append(build(own) if build else own)
        else:
            if size == _NEXT:
                token = next(following)
            parts.append(build(token) if build else token)
    return parts[-1]


def accepted(tokens: Sequence[Token], start: str) -> set[str]:
    """Give the terminals that may follow some tokens, which can stand."""
    tables, states = automaton(start), states_after(tokens, start)
    return {t for t in tables.states[states[-1]] if t.isupper() and _take(t, tables, states.copy(), [], _NEXT)}


def states_after(tokens: Sequence[Token], start: str) -> list[int]:
    """Give the states of the automaton, the newest last, after tokens that can stand at the beginning of a form."""
    tables = automaton(start)
    states = [tables.start_state]
    for token in tokens:
        for part in _as_expected(token.terminal, tables.states[states[-1]]):
            _take(part, tables, states, [], _NEXT)
    return states


def roles(tokens: Sequence[Token], start: str) -> list[tuple[str, ...]]:
    """Give what each token of a sound item counts as: its own terminal, ``NAME`` for a word, or two signs."""
    tables = automaton(start)
    states, found = [tables.start_state], list[tuple[str, ...]]()
    for token in tokens:
        found.append(_as_expected(token.terminal, tables.states[states[-1]]))
        for part in found[-1]:
            _take(part, tables, states, [], _NEXT)
    return found


def _as_expected(terminal: str, table: Any) -> tuple[str, ...]:
    """Give a terminal as the automaton needs it in a state with this table.

    A keyword counts as a name where only a name may stand, ``+-`` as two operators where no tolerance may.
    """
    if terminal == TWO_SIGNS:
        return (_SIGN,) if _SIGN in table else ("PLUS", "MINUS")
    return ("NAME",) if terminal in _keywords() and terminal not in table else (terminal,)


@cache
def _keywords() -> frozenset[str]:
    return frozenset(keywords().values())


@cache
def automaton(start: str) -> Any:
    """Give the tables and functions for a start of the grammar."""
    return parser().parse_interactive("", start=start).parser_state.parse_conf


@lru_cache(maxsize=4096)
def _steps(start: str, terminals: tuple[str, ...]) -> tuple[Step, ...] | int:
    """List the steps that build an item of this shape; else the number of the terminal that cannot stand."""
    tables = automaton(start)
    states, steps = [tables.start_state], list[Step]()
    for at, terminal in enumerate((*terminals, _END)):
        takes = _NEXT
        for part in _as_expected(terminal, tables.states[states[-1]]):
            if not _take(part, tables, states, steps, takes):
                return at
            takes = _AGAIN
    return tuple(steps)


def _take(terminal: str, tables: Any, states: list[Any], steps: list[Step], takes: int) -> bool:
    """Go on by one terminal: reduce what must be, then shift; False where it cannot stand."""
    while True:
        action, target = tables.states[states[-1]].get(terminal, (None, None))
        if action is None:
            return False
        if action is Shift:
            states.append(target)
            steps.append((_of_token(terminal, tables.callbacks), takes))
            return True
        size = len(target.expansion)
        del states[len(states) - size :]
        build = tables.callbacks[target]
        if size != 1 or not (isinstance(build, ExpandSingleChild) or (target.alias or target.origin.name) in PASSED_ON):
            steps.append((build, size))
        states.append(tables.states[states[-1]][target.origin.name][1])
        if terminal == _END and states[-1] == tables.end_state:
            return True


def _of_token(terminal: str, callbacks: Any) -> Callable[[Any], Any] | None:
    build: Callable[[Any], Any] | None = callbacks.get(terminal)
    if build is not None:
        return build
    if terminal in ("PLUS", "MINUS"):
        # Perhaps one of two signs that were read as one.
        return lambda token: token if len(token) == 1 else token.turned(terminal, "+" if terminal == "PLUS" else "-")
    return None
