"""Proved signs of slopes: which way each setting moves each constraint, and each input each requirement."""

import numpy as np
from numpy.typing import NDArray

from .operators import Interval
from .problem import UNKNOWN, Constraints, Indices, Problem
from .tape import Bounds, Floats

Signs = NDArray[np.int8]


def sign_of(slope: Bounds, row: int, count: int) -> Signs:
    """Give the proved signs (variables,) of a slope in one row."""
    if slope is None:
        return np.zeros(count, dtype=np.int8)
    lo = np.broadcast_to(slope.lo, np.broadcast_shapes(np.shape(slope.lo), (count, 1)))
    hi = np.broadcast_to(slope.hi, np.broadcast_shapes(np.shape(slope.hi), (count, 1)))
    at = 0 if lo.shape[1] == 1 else row
    low, high = lo[:, at], hi[:, at]
    signs = np.full(count, UNKNOWN, dtype=np.int8)
    signs[low >= 0] = 1
    signs[high <= 0] = -1
    signs[(low == 0) & (high == 0)] = 0
    return signs


def setting_signs(problem: Problem, constraints: Constraints, first: Indices, last: Indices) -> Signs:
    """Prove signs (constraints, settings) over a box of settings, each constraint at its own inputs."""
    low = problem.variables(problem.settings_at(first[:, None]), constraints.inputs)
    high = problem.variables(problem.settings_at(last[:, None]), constraints.inputs)
    enclosures = problem.tape.enclosures(low, high)
    free = [i for i in range(problem.tape.setting_count) if first[i] < last[i]]
    slopes = problem.tape.slopes(enclosures, free) if free else []
    signs = np.zeros((len(constraints), problem.tape.setting_count), dtype=np.int8)
    for c in range(len(constraints) if free else 0):
        signs[c, free] = sign_of(slopes[constraints.output[c]], c, len(free))
    return signs


def input_slopes(
    problem: Problem, indices: Indices, low: Floats, high: Floats
) -> tuple[list[Interval], list[Bounds], list[int]]:
    """Enclose all nodes and their slopes with regard to the uncertain inputs at one lattice point.

    ``low`` and ``high`` are (inputs, rows). Returns enclosures, slopes, and which inputs the slopes are for.
    """
    settings = problem.settings_at(indices[:, None])
    enclosures = problem.tape.enclosures(problem.variables(settings, low), problem.variables(settings, high))
    wanted = [i for i in range(low.shape[0]) if (low[i] < high[i]).any()]
    variables = [problem.tape.setting_count + i for i in wanted]
    return enclosures, (problem.tape.slopes(enclosures, variables) if wanted else []), wanted


def worst_inputs(problem: Problem, indices: Indices) -> Floats:
    """Guess the worst input values (inputs, requirements) at a lattice point from the slopes there.

    The corner is exact where the slopes' signs are proved over the whole ranges; an input whose sign is not
    proved takes its stated value. Any choice is sound: a scenario only ever adds a necessary condition.
    """
    requirements = problem.network.requirements
    corners = np.repeat(problem.stated[:, None], len(requirements), axis=1)
    _, slopes, wanted = input_slopes(problem, indices, problem.low[:, None], problem.high[:, None])
    for r, requirement in enumerate(requirements):
        if not wanted:
            break
        signs = sign_of(slopes[requirement.slack], 0, len(wanted))
        for sign, i in zip(signs, wanted, strict=True):
            if sign in (1, -1):
                corners[i, r] = problem.low[i] if sign > 0 else problem.high[i]
    return corners
