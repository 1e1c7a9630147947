"""Proved signs of slopes: which way each setting moves each constraint, and each input each requirement."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .operators import Interval
from .problem import UNKNOWN, Constraints, Indices, Problem
from .tape import Bounds, Floats

Signs = NDArray[np.int8]

LEVEL = 1e-290
"""A slope below this in base units is none."""


def sign_of(slope: Bounds, row: int, count: int) -> Signs:
    """Give the proved signs (variables,) of a slope in one row."""
    if slope is None:
        return np.zeros(count, dtype=np.int8)
    return signs_of(*ends(slope, row, count))


def ends(slope: Bounds, row: int, count: int) -> tuple[Floats, Floats]:
    """Give the ends (variables,) of a slope in one row."""
    if slope is None:
        return np.zeros(count), np.zeros(count)
    lo, hi = (np.broadcast_to(a, (count, a.shape[-1])) for a in slope)
    at = 0 if lo.shape[1] == 1 else row
    return lo[:, at], hi[:, at]


def signs_of(low: Floats, high: Floats) -> Signs:
    """Give the proved signs of slopes between ``low`` and ``high``, of any shape."""
    signs = np.full(low.shape, UNKNOWN, dtype=np.int8)
    rising, falling = low >= -LEVEL, high <= LEVEL
    signs[rising] = 1
    signs[falling] = -1
    signs[rising & falling] = 0
    return signs


def setting_signs(problem: Problem, constraints: Constraints, first: Indices, last: Indices) -> Signs:
    """Prove signs (constraints, settings) over a box of settings, each constraint at its own inputs."""
    signs = np.zeros((len(constraints), problem.tape.setting_count), dtype=np.int8)
    free = [i for i in range(problem.tape.setting_count) if first[i] < last[i]]
    if not free or not len(constraints):
        return signs
    low = problem.variables(problem.settings_at(first[:, None]), constraints.inputs)
    high = problem.variables(problem.settings_at(last[:, None]), constraints.inputs)
    enclosures = problem.tape.enclosures(low, high, outputs=constraints.output)
    slopes = problem.tape.slopes(enclosures, free, outputs=constraints.output)
    for c, output in enumerate(constraints.output):
        signs[c, free] = sign_of(slopes[output], c, len(free))
    signs[~problem.defined(enclosures, np.array(constraints.output), np.arange(len(constraints)))] = UNKNOWN
    return signs


def input_slopes(
    problem: Problem, indices: Indices, low: Floats, high: Floats, outputs: Sequence[int] | None = None
) -> tuple[list[Interval], list[Bounds], list[int]]:
    """Enclose nodes and their slopes with regard to the uncertain inputs, at lattice points.

    ``indices`` is (settings,) or (settings, rows); ``low`` and ``high`` are (inputs, rows). Returns enclosures,
    slopes, and which inputs the slopes are for.
    """
    settings = problem.settings_at(indices if indices.ndim == 2 else indices[:, None])
    enclosures = problem.tape.enclosures(
        problem.variables(settings, low), problem.variables(settings, high), outputs=outputs
    )
    wanted = [int(i) for i in np.flatnonzero((low < high).any(axis=1))]
    variables = [problem.tape.setting_count + i for i in wanted]
    return enclosures, (problem.tape.slopes(enclosures, variables, outputs=outputs) if wanted else []), wanted


def worst_inputs(problem: Problem, indices: Indices) -> Floats:
    """Guess the worst input values (inputs, requirements) at a lattice point from the slopes there.

    The corner is exact where the slopes' signs are proved over the whole ranges; an input whose sign is not
    proved goes where its slope leans. Any choice is sound: a scenario only ever adds a necessary condition.
    """
    requirements = problem.network.requirements
    corners = np.repeat(problem.stated[:, None], len(requirements), axis=1)
    outputs = [r.slack for r in requirements]
    _, slopes, wanted = input_slopes(problem, indices, problem.low[:, None], problem.high[:, None], outputs)
    for r, output in enumerate(outputs if wanted else ()):
        low, high = ends(slopes[output], 0, len(wanted))
        with np.errstate(invalid="ignore"):
            lean = np.nan_to_num(np.sign(low + high))
        for way, i in zip(lean, wanted, strict=True):
            corners[i, r] = {1.0: problem.low[i], -1.0: problem.high[i]}.get(float(way), problem.stated[i])
    return corners
