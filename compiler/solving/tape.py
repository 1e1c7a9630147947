"""Batched evaluation of a network: plain values, interval enclosures, and enclosures of slopes.

A batch gives every variable (settings first, then inputs) an array; all shapes must broadcast, so that what does not
vary along an axis costs nothing there. Slopes are carried forward for chosen variables: a leading axis of one entry
a variable. Only the nodes that the wanted outputs need are evaluated; the others are left out of the result.
"""

from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..network.graph import Network
from .chaining import chain
from .operators import BARE, Interval, Operator

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Bounds = Interval | None
Batch = Sequence[Floats] | Floats
"""An array for each variable."""

_LEFT_OUT = np.zeros(0)
_PARTIAL = frozenset(("div", "sqrt", "log", "pow", "powi", "tan"))


class _Step(NamedTuple):
    node: int
    name: str
    operator: Operator
    arguments: tuple[int, ...]


MOST_KEPT = 16
_kept: "OrderedDict[tuple[object, ...], tuple[object, Tape]]" = OrderedDict()


def tape_of(networks: Sequence[Network]) -> "Tape":
    """Give the tape that networks of one structure share; those made last are kept."""
    first = networks[0]
    exact = {i.node: i.stated for i in first.inputs if i.low == i.high}
    for network in networks[1:]:
        exact = {i.node: i.stated for i in network.inputs if i.low == i.high and exact.get(i.node) == i.stated}
    key = (id(first.nodes), *(i.node for i in first.inputs), *exact.items())
    found = _kept.get(key)
    if found is None:
        # The nodes are kept as well, so that no other can come by the same identity.
        found = _kept[key] = (first.nodes, Tape(first, exact))
        if len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    _kept.move_to_end(key)
    return found[1]


class Tape:
    """A network made ready for evaluation. ``depends`` has a bit for each variable that a node depends on.

    What depends only on constants and on the inputs whose values are ``exact`` is evaluated once and for all.
    """

    def __init__(self, network: Network, exact: Mapping[int, float] | None = None) -> None:
        self.node_count = len(network.nodes)
        self.variables = [s.node for s in network.settings] + [i.node for i in network.inputs]
        self.setting_count = len(network.settings)
        self.depends = [0] * self.node_count
        self._values: list[Floats] = [_LEFT_OUT] * len(network.nodes)
        self._enclosures = [Interval(_LEFT_OUT, _LEFT_OUT)] * len(network.nodes)
        self._steps: list[_Step] = []
        self._parts: dict[tuple[int, ...], list[_Step]] = {}
        self._parted: dict[tuple[int, ...], tuple[list[_Step], list[_Step], list[int]]] = {}
        self._moves = [False] * len(network.nodes)
        if exact is None:
            exact = {i.node: i.stated for i in network.inputs if i.low == i.high}
        for at, variable in enumerate(self.variables):
            self.depends[variable] = 1 << at
            self._moves[variable] = variable not in exact
        with np.errstate(all="ignore"):
            for i, node in enumerate(network.nodes):
                self._prepare(i, node.operator, node.arguments, exact.get(i, node.value))

    def _prepare(self, i: int, operator: str, arguments: tuple[int, ...], value: float) -> None:
        """Take in a node; one in which nothing moves is evaluated here."""
        if operator in ("constant", "setting", "input"):
            # A variable that moves is overwritten by each batch.
            constant = np.array([value])
            self._values[i], self._enclosures[i] = constant, Interval(constant, constant)
            return
        step = _Step(i, operator, BARE[operator], arguments)
        for argument in arguments:
            self.depends[i] |= self.depends[argument]
            self._moves[i] |= self._moves[argument]
        if self._moves[i]:
            self._steps.append(step)
        else:
            self._values[i] = step.operator.value(*[self._values[a] for a in arguments])
            self._enclosures[i] = step.operator.enclosure(*[self._enclosures[a] for a in arguments])

    def _part(self, outputs: Iterable[int] | None) -> list[_Step]:
        """List the steps that some outputs need, or all."""
        if outputs is None:
            return self._steps
        key = tuple(sorted(set(outputs)))
        found = self._parts.get(key)
        if found is None:
            needed = set(key)
            found = []
            for step in reversed(self._steps):
                if step.node in needed:
                    needed.update(step.arguments)
                    found.append(step)
            found.reverse()
            self._parts[key] = found
        return found

    def values(self, x: Batch, *, outputs: Iterable[int] | None = None) -> list[Floats]:
        """Evaluate nodes at points ``x``, without rounding control."""
        found = self._values.copy()
        for at, i in enumerate(self.variables):
            found[i] = x[at]
        return self._evaluated(found, self._part(outputs))

    def before_settings(self, inputs: Batch, outputs: Iterable[int]) -> dict[int, Floats]:
        """Evaluate, for the outputs, all that hangs on inputs alone; gives what ``after_settings`` needs of it."""
        first, _, needed = self._halves(outputs)
        found = self._values.copy()
        for at, i in enumerate(self.variables[self.setting_count :]):
            found[i] = inputs[at]
        self._evaluated(found, first)
        return {i: found[i] for i in needed}

    def after_settings(self, settings: Batch, before: Mapping[int, Floats], outputs: Iterable[int]) -> list[Floats]:
        """Evaluate the outputs at settings, from what was evaluated before them."""
        _, last, _ = self._halves(outputs)
        found = self._values.copy()
        for at, i in enumerate(self.variables[: self.setting_count]):
            found[i] = settings[at]
        for i, value in before.items():
            found[i] = value
        return self._evaluated(found, last)

    def between(self, outputs: Iterable[int]) -> list[int]:
        """List what ``after_settings`` needs of the inputs for some outputs."""
        return self._halves(outputs)[2]

    def work_after(self, output: int) -> int:
        """Count the steps that ``after_settings`` takes for an output."""
        return len(self._halves((output,))[1])

    @staticmethod
    def _evaluated(found: list[Floats], steps: list[_Step]) -> list[Floats]:
        # All arguments are taken at once: this loop is where a small batch spends its time.
        with np.errstate(all="ignore"):
            for node, _, operator, arguments in steps:
                value = operator.value
                if len(arguments) == 2:
                    found[node] = value(found[arguments[0]], found[arguments[1]])
                else:
                    found[node] = value(found[arguments[0]])
        return found

    def _halves(self, outputs: Iterable[int]) -> tuple[list[_Step], list[_Step], list[int]]:
        """Part the steps for some outputs into those before and after settings, and what passes between."""
        key = tuple(sorted(set(outputs)))
        found = self._parted.get(key)
        if found is None:
            mask = (1 << self.setting_count) - 1
            steps = self._part(key)
            first = [s for s in steps if not self.depends[s.node] & mask]
            last = [s for s in steps if self.depends[s.node] & mask]
            used = {a for s in last for a in s.arguments} | set(key)
            needed = sorted(i for i in used if self._moves[i] and not self.depends[i] & mask)
            found = self._parted[key] = (first, last, needed)
        return found

    def enclosures(self, low: Batch, high: Batch, *, outputs: Iterable[int] | None = None) -> list[Interval]:
        """Enclose nodes over boxes from ``low`` to ``high``."""
        found = self._enclosures.copy()
        for at, i in enumerate(self.variables):
            found[i] = Interval(low[at], high[at])
        with np.errstate(all="ignore"):
            for step in self._part(outputs):
                found[step.node] = step.operator.enclosure(*[found[a] for a in step.arguments])
        return found

    def slopes(
        self, enclosures: list[Interval], wanted: Sequence[int], *, outputs: Iterable[int] | None = None
    ) -> list[Bounds]:
        """Enclose the slope of nodes with regard to the variables ``wanted``, where they are defined.

        Returns for each node an interval of shape (len(wanted), rows), or None where it depends on none of them.
        """
        mask = 0
        found: list[Bounds] = [None] * self.node_count
        for row_, v in enumerate(wanted):
            mask |= 1 << v
            unit = np.zeros((len(wanted), 1))
            unit[row_] = 1.0
            found[self.variables[v]] = Interval(unit, unit)
        with np.errstate(all="ignore"):
            for step in self._part(outputs):
                if self.depends[step.node] & mask:
                    arguments, inner = [enclosures[a] for a in step.arguments], [found[a] for a in step.arguments]
                    found[step.node] = chain(step.name, enclosures[step.node], arguments, inner)
        return found

    def partial(self, enclosures: list[Interval]) -> list[tuple[int, str, tuple[int, ...]]]:
        """List the operations (node, operator, arguments) that may be undefined somewhere in a batch."""
        found = []
        for step in self._steps:
            if step.name in _PARTIAL and outside(step.name, step.arguments, enclosures).any():
                found.append((step.node, step.name, step.arguments))
        return found

    def relying(self, node: int) -> NDArray[np.bool_]:
        """Tell for each node whether it is computed from ``node``."""
        found = np.zeros(self.node_count, dtype=np.bool_)
        found[node] = True
        for step in self._steps:
            if any(found[a] for a in step.arguments):
                found[step.node] = True
        return found


def outside(operator: str, arguments: tuple[int, ...], enclosures: list[Interval]) -> Mask:
    """Tell where an operation may be undefined, or jump, somewhere in a box.

    A lower end that is below zero by a rounding error of the upper one counts as zero.
    """
    first = enclosures[arguments[0]]
    zero = -1e-12 * np.abs(first.hi) - 1e-290
    inside: Mask
    if operator == "tan":
        inside = np.floor(first.lo / np.pi + 0.5 - 1e-12) == np.floor(first.hi / np.pi + 0.5 + 1e-12)
    elif operator == "div":
        second = enclosures[arguments[1]]
        inside = (second.lo > 0) | (second.hi < 0)
    elif operator == "sqrt":
        inside = first.lo >= zero
    elif operator == "log":
        inside = first.lo > 0
    elif operator == "pow":
        inside = (first.lo > 0) | ((first.lo >= zero) & (enclosures[arguments[1]].lo >= 0))
    else:
        inside = (enclosures[arguments[1]].lo >= 0) | (first.lo > 0) | (first.hi < 0)
    return ~inside


def row(interval: Interval, at: int) -> tuple[float, float]:
    """Give the ends of an interval in one row; a value shared by all rows has only one."""
    lo, hi = np.ravel(interval.lo), np.ravel(interval.hi)
    return float(lo[0 if lo.size == 1 else at]), float(hi[0 if hi.size == 1 else at])
