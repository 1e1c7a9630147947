"""Batched evaluation of a network: plain values, interval enclosures, and enclosures of slopes.

A batch is a set of rows: variables have shape (variables, rows), settings first, then inputs. Constants keep
shape (1,) and are broadcast. Slopes are carried forward for chosen variables: shape (variables, rows) a node.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..network.graph import Network
from .operators import OPERATORS, Interval, Operator

Floats = NDArray[np.float64]
Bounds = Interval | None


@dataclass(frozen=True, slots=True)
class _Step:
    operator: Operator
    arguments: tuple[int, ...]


class Tape:
    """A network made ready for evaluation."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.variables = [s.node for s in network.settings] + [i.node for i in network.inputs]
        self.setting_count = len(network.settings)
        self._constants: list[tuple[int, Floats]] = []
        self._steps: list[tuple[int, _Step]] = []
        depends: list[int] = [0] * len(network.nodes)
        for at, variable in enumerate(self.variables):
            depends[variable] = 1 << at
        for i, node in enumerate(network.nodes):
            if node.operator == "constant":
                self._constants.append((i, np.array([node.value])))
            elif node.operator not in ("setting", "input"):
                self._steps.append((i, _Step(OPERATORS[node.operator], node.arguments)))
                for argument in node.arguments:
                    depends[i] |= depends[argument]
        self.depends = depends

    def values(self, x: Floats) -> list[Floats]:
        """Evaluate all nodes at points ``x`` of shape (variables, rows), without rounding control."""
        found: list[Floats] = [x[:0]] * len(self.network.nodes)
        for i, constant in self._constants:
            found[i] = constant
        for at, i in enumerate(self.variables):
            found[i] = x[at]
        with np.errstate(all="ignore"):
            for i, step in self._steps:
                found[i] = step.operator.value(*[found[a] for a in step.arguments])
        return found

    def enclosures(self, low: Floats, high: Floats) -> list[Interval]:
        """Enclose all nodes over boxes from ``low`` to ``high``, each of shape (variables, rows)."""
        blank = Interval(low[:0], low[:0])
        found = [blank] * len(self.network.nodes)
        for i, constant in self._constants:
            found[i] = Interval(constant, constant)
        for at, i in enumerate(self.variables):
            found[i] = Interval(low[at], high[at])
        with np.errstate(all="ignore"):
            for i, step in self._steps:
                found[i] = step.operator.enclosure(*[found[a] for a in step.arguments])
        return found

    def slopes(self, enclosures: list[Interval], wanted: list[int]) -> list[Bounds]:
        """Enclose the slope of every node with regard to the variables ``wanted``.

        Returns for each node an interval of shape (len(wanted), rows), or None where it depends on none of them.
        """
        mask = 0
        for v in wanted:
            mask |= 1 << v
        found: list[Bounds] = [None] * len(self.network.nodes)
        for row, v in enumerate(wanted):
            unit = np.zeros((len(wanted), 1))
            unit[row] = 1.0
            found[self.variables[v]] = Interval(unit, unit)
        with np.errstate(all="ignore"):
            for i, step in self._steps:
                if self.depends[i] & mask:
                    found[i] = self._chain(step, enclosures, found)
        return found

    @staticmethod
    def _chain(step: _Step, enclosures: list[Interval], found: list[Bounds]) -> Bounds:
        partials = step.operator.slopes(*[enclosures[a] for a in step.arguments])
        total: Bounds = None
        for argument, partial in zip(step.arguments, partials, strict=True):
            inner = found[argument]
            if inner is None:
                continue
            term = _product(partial, inner)
            total = term if total is None else _sum(total, term)
        return total


_MULTIPLY = OPERATORS["mul"].enclosure
_ADD = OPERATORS["add"].enclosure


def _product(partial: Interval, inner: Interval) -> Interval:
    """Multiply slopes; a slope that is zero stays exactly zero, so that independence is seen."""
    product: Interval = _MULTIPLY(partial, inner)
    zero = (inner.lo == 0) & (inner.hi == 0)
    if not zero.any():
        return product
    zero = np.broadcast_to(zero, np.shape(product.lo))
    return Interval(np.where(zero, 0.0, product.lo), np.where(zero, 0.0, product.hi))


def _sum(a: Interval, b: Interval) -> Interval:
    """Add slopes, exactly where one of them is zero."""
    total = _ADD(a, b)
    lo = np.where((a.lo == 0) & (b.lo == 0), 0.0, total.lo)
    hi = np.where((a.hi == 0) & (b.hi == 0), 0.0, total.hi)
    return Interval(lo, hi)


def row(interval: Interval, at: int) -> tuple[float, float]:
    """Give the ends of an interval in one row; a value shared by all rows has only one."""
    lo, hi = np.ravel(interval.lo), np.ravel(interval.hi)
    return float(lo[0 if lo.size == 1 else at]), float(hi[0 if hi.size == 1 else at])
