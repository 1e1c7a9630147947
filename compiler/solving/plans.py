"""Plans: the shortest way to evaluate some terms in a batch, from what is known of their kinds.

A *register* is an array (2, rows) with the two ends of a term, lower first or upper first: a quotient of positive
terms is one division of two registers of opposite order. Every short form gives the same bits as the careful function
of ``kernels`` if the kinds are right; the kinds that do not follow from others are checked after each run.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .intervals import Floats, Interval
from .kernels import RAW
from .kinds import SEEN_LEAST, Known, bounds
from .terms import Term

_ONE = np.array(1.0)
_LEAST = np.array(SEEN_LEAST)
MOST_EXPANDED = 8
"""Numbers of rows for which a plan keeps its constants at full width."""

_EMPTY = np.zeros(0)


def lesser(a: Floats, b: Floats, out: Floats) -> None:
    """Take the lesser; numpy wants ``out`` by name."""
    np.minimum(a, b, out=out)


def greater(a: Floats, b: Floats, out: Floats) -> None:
    """Take the greater."""
    np.maximum(a, b, out=out)


def flip(a: Floats, out: Floats) -> None:
    """Change the order of the ends."""
    out[:] = a[::-1]


def carefully(operation: str, units: tuple[int, ...]) -> Callable[..., None]:
    """Make an instruction of a careful operation."""
    raw = RAW[operation]

    def run(out: Floats, *arguments: Floats) -> None:
        out[0], out[1] = raw(units, *[Interval(a, a) if a.ndim == 0 else Interval(a[0], a[1]) for a in arguments])

    return run


def mul_any(out: Floats, positive: Floats, reversed_: Floats, other: Floats) -> None:
    """Multiply by a positive term, which is given in both orders."""
    _span(out, positive * other, reversed_ * other)


def div_any(out: Floats, other: Floats, positive: Floats, reversed_: Floats) -> None:
    """Divide by a positive term, which is given in both orders."""
    _span(out, other / positive, other / reversed_)


def widen_any(out: Floats, a: Floats, error: Floats, outwards: Floats) -> None:
    """Widen a term of any sign: multiply an end by one plus the error if that is outwards, else by one less it."""
    factor = np.copysign(error, a)
    np.multiply(factor, outwards, factor)
    np.add(factor, _ONE, factor)
    np.multiply(a, factor, out)


def power_any(out: Floats, base: Floats, above: Floats, below: Floats) -> None:
    """Raise to the one power where the base is above one, to the other where it is not."""
    np.power(base, np.where(base >= _ONE, above, below), out)


def chosen(out: Floats, a: Floats, b: Floats) -> None:
    """Tell where one term is the lesser of two: surely, and perhaps."""
    np.less(a[1] if a.ndim else a, b[0] if b.ndim else b, out=out[0])
    np.less_equal(a[0] if a.ndim else a, b[1] if b.ndim else b, out=out[1])


def _span(out: Floats, a: Floats, b: Floats) -> None:
    np.minimum(a[0], b[0], out=out[0])
    np.maximum(a[1], b[1], out=out[1])


@dataclass(slots=True)
class Run:
    """What a plan evaluated in a batch: the ends of its terms. ``before`` is the run that it builds on."""

    plan: "Plan"
    ends: Floats
    registers: list[Floats]
    rows: int
    before: "Run | None"

    def raw(self, term: Term) -> Interval | None:
        """Give the raw enclosure of a term, if it was evaluated."""
        place = self.plan.place.get(term)
        if place is None:
            return None if self.before is None else self.before.raw(term)
        found = self.registers[place[0]]
        return Interval(found, found) if found.ndim == 0 else Interval(found[place[1]], found[1 - place[1]])


@dataclass(slots=True)
class Plan:
    """Instructions for some terms: a function, the register of its result, and the registers of its arguments.

    The registers are the slots that a run fills, those of the variables first; and from the end, with negative
    numbers, constants and registers of another run. ``place`` finds the register and the order of each term.
    """

    code: list[tuple[Any, int, Any, Any]]
    place: dict[Term, tuple[int, int]]
    slots: int
    imports: list[tuple[int, int]]
    constants: list[tuple[int, tuple[float, float]]]
    uses: int = 0
    can_improve: bool = False
    _full: dict[int, list[Floats]] = field(default_factory=dict)
    _checked: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    _with_zero: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    _low: Floats = field(default_factory=lambda: np.zeros((0, 1, 1)))
    _high: Floats = field(default_factory=lambda: np.zeros((0, 1, 1)))

    def check(self, kinds: Mapping[Term, Known], checked: Collection[Term]) -> None:
        """Have the kinds of some terms checked in each run."""
        found = [(place[0], kind) for t in checked if (kind := kinds[t]) is not None and (place := self.place.get(t))]
        found = [(at, kind) for at, kind in found if at >= 0]
        self._checked = np.array([at for at, _ in found], dtype=np.intp)
        self._with_zero = np.array([at for at, kind in found if not kind.strict], dtype=np.intp)
        self._low, self._high = np.array([bounds(kind) for _, kind in found]).reshape(-1, 2).T[:, :, None, None]

    def run(self, rows: int, leaves: tuple[Floats, Floats] | None, before: Run | None) -> tuple[Run, bool]:
        """Evaluate a batch; tell whether all kinds were right. ``leaves`` are low and high ends (variables, rows)."""
        ends = np.empty((self.slots, 2, rows))
        if leaves is not None:
            count = leaves[0].shape[0]
            ends[:count, 0], ends[:count, 1] = leaves
        registers = list(ends)
        registers += self._last(rows)
        if before is not None:
            for own, other in self.imports:
                registers[own] = before.registers[other]
        for f, out, a, b in self.code:
            if b is None:
                f(registers[a], registers[out])
            elif b == ():
                f(registers[out], *[registers[i] for i in a])
            else:
                f(registers[a], registers[b], registers[out])
        return Run(self, ends, registers, rows, before), self._right(ends)

    def _last(self, rows: int) -> list[Floats]:
        """Give the registers from the end, those of another run yet empty.

        A constant with unlike ends is given at full width: numpy takes half as long for arrays of one shape.
        """
        found = self._full.get(rows)
        if found is None:
            if len(self._full) >= MOST_EXPANDED:
                self._full.clear()
            found = [_EMPTY] * (len(self.constants) + len(self.imports))
            for at, (first, last) in self.constants:
                found[at] = np.array(first) if first == last else np.repeat([[first], [last]], rows, axis=1)
            self._full[rows] = found
        return found

    def _right(self, ends: Floats) -> bool:
        """Tell whether the kinds that were seen are right here too."""
        part = ends[self._checked]
        if np.count_nonzero(part >= self._low) != part.size or np.count_nonzero(part <= self._high) != part.size:
            return False
        size = np.abs(ends[self._with_zero])
        small = np.count_nonzero(size < _LEAST)
        return not small or small == size.size - np.count_nonzero(size)
