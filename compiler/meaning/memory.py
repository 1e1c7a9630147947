"""What an earlier check found of parts of a text that are still the same, for an editor that checks at every key.

Only what was found without a fault is remembered, with what was known of every name that it reads: where any of that
differs, it is looked at anew. So a check with a memory finds what one without finds.
"""

from collections.abc import Callable, Iterable
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic

_N = TypeVar("_N")
_V = TypeVar("_V")

Known = Callable[[str], object]
"""Tells all that a check may read of a name; equal where it would find the same."""


class Memory:
    """Remembers nothing: what a single check takes."""

    def recall(
        self, node: _N, make: Callable[[_N, list[Diagnostic]], _V], faults: list[Diagnostic], known: Known | None = None
    ) -> _V:
        """Give what ``make`` gives of a part; it may read the part itself and what ``known`` tells of its names."""
        return make(node, faults)

    def once(self, node: _N, make: Callable[[_N], _V]) -> _V:
        """Give what ``make`` gives of a part, by the part alone."""
        return make(node)

    def turn(self) -> None:
        """Take note that a check has ended: what it did not ask for is forgotten."""


class LastingMemory(Memory):
    """Remembers the last check. Parts are told by identity: a tree that is kept has the same parts."""

    def __init__(self) -> None:
        self._before: dict[int, tuple[Any, tuple[str, ...], tuple[object, ...], Any]] = {}
        self._now: dict[int, tuple[Any, tuple[str, ...], tuple[object, ...], Any]] = {}
        self._before_once: dict[int, tuple[Any, Any]] = {}
        self._now_once: dict[int, tuple[Any, Any]] = {}

    def recall(
        self, node: _N, make: Callable[[_N, list[Diagnostic]], _V], faults: list[Diagnostic], known: Known | None = None
    ) -> _V:
        """Give what ``make`` gives of a part; it may read the part itself and what ``known`` tells of its names."""
        kept = self._before.get(id(node))
        if kept is not None and (known is None or tuple([known(n) for n in kept[1]]) == kept[2]):
            self._now[id(node)] = kept
            value: _V = kept[3]
            return value
        names = () if known is None else kept[1] if kept is not None else names_of(node)
        facts = () if known is None else tuple([known(n) for n in names])
        own: list[Diagnostic] = []
        value = make(node, own)
        if own:
            faults += own
        else:
            self._now[id(node)] = (node, names, facts, value)
        return value

    def once(self, node: _N, make: Callable[[_N], _V]) -> _V:
        """Give what ``make`` gives of a part, by the part alone."""
        kept = self._before_once.get(id(node))
        if kept is None:
            kept = (node, make(node))
        self._now_once[id(node)] = kept
        value: _V = kept[1]
        return value

    def turn(self) -> None:
        """Take note that a check has ended: what it did not ask for is forgotten."""
        self._before, self._now = self._now, {}
        self._before_once, self._now_once = self._now_once, {}


def names_of(node: object) -> tuple[str, ...]:
    """List every name that stands anywhere in a part, each once."""
    return tuple(dict.fromkeys(_names(node)))


def _names(node: object) -> Iterable[str]:
    if isinstance(node, tree.Name):
        yield node.text
    elif isinstance(node, tree.Reference):
        yield node.name
    elif isinstance(node, tuple):
        for part in node:
            yield from _names(part)
    elif is_dataclass(node):
        for field in fields(node):
            yield from _names(getattr(node, field.name))
