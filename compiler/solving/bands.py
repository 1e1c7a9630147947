"""Bands: the values of one setting that hold with the others kept, and what ends them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .problem import Constraints, Indices, Problem
from .proving import prove

LATTICE_END = -1
MERIT_END = -2


@dataclass(frozen=True, slots=True)
class Band:
    """Lattice indices from ``first`` to ``last`` hold; ``below`` and ``above`` say what ends the band there.

    An end is the index of a requirement, ``LATTICE_END`` (the lattice, or a pin) or ``MERIT_END`` (a preference).
    """

    first: int
    last: int
    below: int
    above: int


def band(problem: Problem, constraints: Constraints, point: Indices, i: int) -> Band:
    """Find the unbroken band of setting ``i`` around a point at which all constraints hold."""
    first, last, at = int(problem.first[i]), int(problem.last[i]), int(point[i])
    touched = [c for c in range(len(constraints)) if problem.tape.depends[constraints.output[c]] >> i & 1]
    if first == last or not touched:
        return Band(first, last, LATTICE_END, LATTICE_END)
    part = constraints.take(touched)
    moved = np.repeat(point[:, None], last - first + 1, axis=1)
    moved[i] = np.arange(first, last + 1)
    slack = problem.table(part, moved)
    holds: NDArray[np.bool_] = np.all(slack >= 0, axis=0)
    ends = []
    for way in (-1, 1):
        end, reason = at, LATTICE_END
        while first <= end + way <= last:
            column = end + way - first
            if not holds[column]:
                requirement = part.requirement[int(np.argmin(slack[:, column]))]
                reason = requirement if requirement >= 0 else MERIT_END
                break
            end += way
        ends.append((end, reason))
    return Band(ends[0][0], ends[1][0], ends[0][1], ends[1][1])


def proved_band(problem: Problem, constraints: Constraints, point: Indices, i: int) -> Band:
    """Find a band and prove its two ends over the whole input ranges; an end that fails moves inwards."""
    found = band(problem, constraints, point, i)
    first, below = _proved_end(problem, constraints, point, i, found.first, found.below)
    last, above = _proved_end(problem, constraints, point, i, found.last, found.above)
    return Band(first, last, below, above)


def _proved_end(
    problem: Problem, constraints: Constraints, point: Indices, i: int, end: int, reason: int
) -> tuple[int, int]:
    active = sorted(
        {
            r
            for r, output in zip(constraints.requirement, constraints.output, strict=True)
            if r >= 0 and problem.tape.depends[output] >> i & 1
        }
    )
    at = int(point[i])
    while end != at and active:
        moved = point.copy()
        moved[i] = end
        failing = [r for r, v in zip(active, prove(problem, moved, active), strict=True) if not v.holds]
        if not failing:
            break
        reason = failing[0]
        end += 1 if end < at else -1
    return end, reason
