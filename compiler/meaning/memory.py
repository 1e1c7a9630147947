"""What earlier checks found of parts of a text that are still the same, for an editor that checks at every key.

Only what was found without a fault is remembered, with what was known of every name that it reads: where any of that
differs, it is looked at anew. So a check with a memory finds what one without finds.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic

_N = TypeVar("_N", bound=Hashable)
_V = TypeVar("_V")

Known = Callable[[str], object]
"""Tells all that a check may read of a name; equal where it would find the same."""


class Memory:
    """Remembers nothing: what a single check takes."""

    def recall(
        self,
        node: _N,
        make: Callable[[_N, list[Diagnostic]], _V],
        faults: list[Diagnostic],
        known: Known | None = None,
        elsewhere: Callable[[_N, _V], _V] | None = None,
    ) -> _V:
        """Give what ``make`` gives of a part; it may read the part itself and what ``known`` tells of its names.

        ``elsewhere`` turns what was found of a part into what holds of one that says the same at another place.
        """
        return make(node, faults)

    def once(self, node: _N, make: Callable[[_N], _V]) -> _V:
        """Give what ``make`` gives of a part, by the part alone."""
        return make(node)

    def whole(self, nodes: Sequence[object], beside: Hashable, make: Callable[[], _V]) -> _V:
        """Give what ``make`` gives of many parts together, and of ``beside``."""
        return make()


class _Kept:
    """What was found of a part: the names in it, what was known of each, the value, and when it was last asked for."""

    __slots__ = ("facts", "names", "node", "turn", "value")

    def __init__(self, node: Any, names: tuple[str, ...], facts: tuple[object, ...], value: Any, turn: int) -> None:
        self.node, self.names, self.facts, self.value, self.turn = node, names, facts, value, turn


class LastingMemory(Memory):
    """Remembers what the last checks asked for, of one text or of several that share files.

    Parts are told by identity, as a tree that is kept has the same parts; where a text was read anew, by what they say.
    """

    LASTS = 16
    """Checks after which what none of them asked for is forgotten."""
    WHOLES = 8
    """Wholes that are kept."""

    def __init__(self) -> None:
        self._kept: dict[int, _Kept] = {}
        self._saying: dict[tuple[str, object], _Kept] = {}
        self._once: dict[int, _Kept] = {}
        self._wholes: dict[tuple[object, ...], tuple[Sequence[object], Any]] = {}
        self._turn = 0

    def recall(
        self,
        node: _N,
        make: Callable[[_N, list[Diagnostic]], _V],
        faults: list[Diagnostic],
        known: Known | None = None,
        elsewhere: Callable[[_N, _V], _V] | None = None,
    ) -> _V:
        """Give what ``make`` gives of a part; it may read the part itself and what ``known`` tells of its names.

        ``elsewhere`` turns what was found of a part into what holds of one that says the same at another place.
        """
        kept = self._kept.get(id(node))
        moved = False
        if kept is None and elsewhere is not None:
            kept = self._saying.get((_file(node), node))
            moved = kept is not None
        if kept is not None and (known is None or tuple([known(n) for n in kept.names]) == kept.facts):
            kept.turn = self._turn
            value: _V = kept.value
            if not moved or elsewhere is None:
                return value
            value = elsewhere(node, value)
            self._keep(_Kept(node, kept.names, kept.facts, value, self._turn), elsewhere is not None)
            return value
        names = () if known is None else kept.names if kept is not None else names_of(node)
        facts = () if known is None else tuple([known(n) for n in names])
        own: list[Diagnostic] = []
        value = make(node, own)
        if own:
            faults += own
        else:
            self._keep(_Kept(node, names, facts, value, self._turn), elsewhere is not None)
        return value

    def _keep(self, kept: _Kept, saying: bool) -> None:
        self._kept[id(kept.node)] = kept
        if saying:
            self._saying[_file(kept.node), kept.node] = kept

    def once(self, node: _N, make: Callable[[_N], _V]) -> _V:
        """Give what ``make`` gives of a part, by the part alone."""
        kept = self._once.get(id(node))
        if kept is None:
            kept = self._once[id(node)] = _Kept(node, (), (), make(node), self._turn)
        kept.turn = self._turn
        value: _V = kept.value
        return value

    def whole(self, nodes: Sequence[object], beside: Hashable, make: Callable[[], _V]) -> _V:
        """Give what ``make`` gives of many parts together, and of ``beside``."""
        key = (beside, *map(id, nodes))
        kept = self._wholes.pop(key, None)
        if kept is None:
            kept = (nodes, make())
            self._forget()
        # The last one asked for stands last.
        self._wholes[key] = kept
        if len(self._wholes) > self.WHOLES:
            del self._wholes[next(iter(self._wholes))]
        value: _V = kept[1]
        return value

    def _forget(self) -> None:
        """Forget what was not asked for in a long time."""
        self._turn += 1
        if self._turn % self.LASTS == 0:
            since = self._turn - self.LASTS
            self._kept = {k: v for k, v in self._kept.items() if v.turn > since}
            self._saying = {k: v for k, v in self._saying.items() if v.turn > since}
            self._once = {k: v for k, v in self._once.items() if v.turn > since}


def _file(node: Any) -> str:
    name: str = node.span.file
    return name


def names_of(node: object) -> tuple[str, ...]:
    """List every name that stands anywhere in a part, each once."""
    found: dict[str, None] = {}
    waiting: list[Any] = [node]
    while waiting:
        part = waiting.pop()
        if isinstance(part, tree.Name):
            found[part.text] = None
        elif isinstance(part, tree.Reference):
            found[part.name] = None
        elif isinstance(part, tuple):
            waiting += part
        else:
            kind: Any = type(part)
            waiting += [getattr(part, name) for name in _parts(kind)]
    return tuple(found)


@cache
def _parts(kind: Any) -> tuple[str, ...]:
    """List the fields of a node that may hold names."""
    if not is_dataclass(kind):
        return ()
    without = ("span", "digits", "text", "operator", "relation")
    return tuple(f.name for f in fields(kind) if f.name not in without)
