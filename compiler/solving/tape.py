"""Batched evaluation of a network: plain values, interval enclosures, and enclosures of slopes.

A batch gives every variable (settings first, then inputs) an array; all shapes must broadcast, so that what does not
vary along an axis costs nothing there. Slopes are carried forward for chosen variables: a leading axis of one entry
a variable. Only the nodes that the wanted outputs need are evaluated; the others are left out of the result.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..network.graph import Network
from .chaining import Chain, Slope
from .intervals import ENTIRE, every, where
from .kernels import widen
from .knowing import Knowledge
from .operators import BARE, Interval
from .plans import Run
from .terms import Term, Terms

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Bounds = Interval | None
Batch = Sequence[Floats] | Floats
"""An array for each variable."""

_LEFT_OUT = np.zeros(0)
_NOTHING = Interval(_LEFT_OUT, _LEFT_OUT)
_PARTIAL = frozenset(("div", "sqrt", "log", "pow", "powi", "tan"))


@dataclass(frozen=True, slots=True)
class _Step:
    node: int
    name: str
    arguments: tuple[int, ...]
    whole: float | None
    """The exponent of a whole power that the network states."""
    code: tuple[int, Callable[..., Floats], int, int | None]
    """The node, the function of its value, and its one or two arguments."""


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


class Enclosures:
    """The enclosures of nodes in a batch, rounded outwards when they are looked at."""

    def __init__(self, tape: "Tape", run: Run, age: int) -> None:
        self.tape, self.run, self.age = tape, run, age
        self._found: dict[int, Interval] = {}

    def __getitem__(self, node: int) -> Interval:
        found = self._found.get(node)
        if found is None:
            found = self._found[node] = self.tape.enclosure_in(self.run, self.tape.term_of[node])
        return found


class Slopes:
    """The slopes of nodes with regard to some variables in a batch."""

    def __init__(self, tape: "Tape", run: Run, wanted: Sequence[int]) -> None:
        self.tape, self.run, self.wanted = tape, run, wanted

    def __getitem__(self, node: int) -> Bounds:
        """Give an interval of shape (wanted, rows), or None where the node depends on none of them."""
        tape, run = self.tape, self.run
        slopes = [(at, s) for at, v in enumerate(self.wanted) if (s := tape.slope_of[v].get(node)) is not None]
        if not slopes:
            return None
        ends = np.zeros((2, len(self.wanted), run.rows))
        for at, (sign, term) in slopes:
            found = tape.enclosure_in(run, term)
            if sign > 0:
                ends[0, at], ends[1, at] = found
            else:
                np.negative(found.hi, out=ends[0, at])
                np.negative(found.lo, out=ends[1, at])
        lo, hi = ends
        held = lo <= hi
        # An operation that is nowhere defined in a box has an empty slope, which tells nothing.
        return Interval(lo, hi) if every(held) else where(held, Interval(lo, hi), ENTIRE)


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
        self._steps: list[_Step] = []
        self._parts: dict[tuple[int, ...], list[_Step]] = {}
        self._parted: dict[tuple[int, ...], tuple[list[_Step], list[_Step], list[int]]] = {}
        self._moves = [False] * len(network.nodes)
        self.terms = Terms()
        self.term_of: list[Term] = []
        self._chain = Chain(self.terms)
        self.slope_of: list[dict[int, Slope]] = []
        self._sloped: set[tuple[int, tuple[int, ...] | None]] = set()
        if exact is None:
            exact = {i.node: i.stated for i in network.inputs if i.low == i.high}
        for at, variable in enumerate(self.variables):
            self.depends[variable] = 1 << at
            self._moves[variable] = variable not in exact
            self.slope_of.append({variable: (1, self._chain.one)})
        with np.errstate(all="ignore"):
            for i, node in enumerate(network.nodes):
                self._prepare(network, i, exact.get(i, node.value))
        self._moving = np.array([at for at, v in enumerate(self.variables) if self._moves[v]], dtype=np.intp)
        self._knowledge = Knowledge(self.terms, [self.term_of[self.variables[at]] for at in self._moving])

    def _prepare(self, network: Network, i: int, value: float) -> None:
        """Take in a node; one in which nothing moves is evaluated here."""
        node = network.nodes[i]
        if node.operator in ("constant", "setting", "input"):
            # A variable that moves is overwritten by each batch.
            self._values[i] = np.array([value])
            self.term_of.append(self.terms.leaf() if self._moves[i] else self.terms.constant(value))
            return
        last = network.nodes[node.arguments[-1]]
        whole = last.value if node.operator == "powi" and last.operator == "constant" else None
        operator, (first, *second) = BARE[node.operator], node.arguments
        code = (i, operator.value, first, second[0] if second else None)
        step = _Step(i, node.operator, node.arguments, whole, code)
        for argument in node.arguments:
            self.depends[i] |= self.depends[argument]
            self._moves[i] |= self._moves[argument]
        if self._moves[i]:
            self._steps.append(step)
        else:
            self._values[i] = operator.value(*[self._values[a] for a in node.arguments])
        self.term_of.append(self.terms.of(node.operator, tuple(self.term_of[a] for a in node.arguments), whole))

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
        with np.errstate(all="ignore"):
            for step in steps:
                node, f, a, b = step.code
                found[node] = f(found[a]) if b is None else f(found[a], found[b])
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

    def enclosures(self, low: Batch, high: Batch, *, outputs: Iterable[int] | None = None) -> Enclosures:
        """Enclose nodes over boxes from ``low`` to ``high``, which have one dimension of rows."""
        ends = [_stacked(side, self._moving) for side in (low, high)]
        rows = max([side.shape[1] for side in ends])
        key = None if outputs is None else tuple(sorted(set(outputs)))
        if key is None:
            wanted = [t for t in self.term_of if t not in self.terms.fixed]
        else:
            wanted = [self.terms.wide(self.term_of[n]) for n in key]
        with np.errstate(all="ignore"):
            run, age = self._knowledge.run(("enclosures", key), wanted, rows, (ends[0], ends[1]))
        return Enclosures(self, run, age)

    def slopes(self, enclosures: Enclosures, wanted: Sequence[int], *, outputs: Iterable[int] | None = None) -> Slopes:
        """Enclose the slope of nodes with regard to the variables ``wanted``, where they are defined."""
        key = None if outputs is None else tuple(sorted(set(outputs)))
        nodes = range(self.node_count) if key is None else key
        for v in wanted:
            if (v, key) not in self._sloped:
                self._sloped.add((v, key))
                self._derive(v, self._part(key))
        found = [s for v in wanted for n in nodes if (s := self.slope_of[v].get(n)) is not None]
        terms = list(dict.fromkeys(self.terms.wide(t) for _, t in found))
        with np.errstate(all="ignore"):
            run, _ = self._knowledge.run(("slopes", tuple(wanted), key), terms, enclosures.run.rows, None, enclosures)
        return Slopes(self, run, wanted)

    def _derive(self, variable: int, steps: list[_Step]) -> None:
        """Make the slopes of some steps with regard to a variable."""
        slopes = self.slope_of[variable]
        for step in steps:
            if self.depends[step.node] >> variable & 1 and step.node not in slopes:
                arguments = tuple(self.term_of[a] for a in step.arguments)
                inner = [slopes.get(a) for a in step.arguments]
                slopes[step.node] = self._chain.of(step.name, step.whole, self.term_of[step.node], arguments, inner)

    def enclosure_in(self, run: Run, term: Term) -> Interval:
        """Give the enclosure of a term in a run; one row where it does not move."""
        fixed = self.terms.fixed.get(term)
        if fixed is not None:
            return self.terms.fixed[self.terms.wide(term)]
        found = run.raw(self.terms.wide(term))
        if found is not None:
            return found
        found = run.raw(term)
        if found is None:
            return _NOTHING
        with np.errstate(over="ignore"):
            return widen(found, self.terms.units[term])

    def partial(self, enclosures: Enclosures) -> list[tuple[int, str, tuple[int, ...]]]:
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


def _stacked(side: Batch, variables: NDArray[np.intp]) -> Floats:
    """Give an end of some variables as one array (variables, rows)."""
    if isinstance(side, np.ndarray) and side.ndim == 2:
        return side[variables]
    chosen = [side[v] for v in variables]
    found = np.empty((len(chosen), max([a.size for a in chosen], default=1)))
    for target, a in zip(found, chosen, strict=True):
        target[:] = a
    return found


def outside(operator: str, arguments: tuple[int, ...], enclosures: Enclosures) -> Mask:
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
