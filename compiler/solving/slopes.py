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


def directions(problem: Problem) -> dict[int, Signs]:
    """Prove signs (settings, then inputs) for all requirements and merits, over all settings and all input values.

    What is proved here holds in every box and at every point; most directions are. Keyed by output node.
    """
    key = b"".join(a.tobytes() for a in (problem.first, problem.last, problem.low, problem.high))
    found = problem.directions.get(key)
    if found is None:
        found = problem.directions[key] = _directions(problem)
    return found


def _directions(problem: Problem) -> dict[int, Signs]:
    tape = problem.tape
    low = problem.variables(problem.settings_at(problem.first[:, None]), problem.low[:, None])
    high = problem.variables(problem.settings_at(problem.last[:, None]), problem.high[:, None])
    outputs = [r.slack for r in problem.network.requirements] + [m.node for m in problem.network.merits]
    enclosures = tape.enclosures(low, high, outputs=outputs)
    moving = np.concatenate([problem.first < problem.last, problem.low < problem.high])
    wanted = [int(v) for v in np.flatnonzero(moving)]
    slopes = tape.slopes(enclosures, wanted, outputs=outputs) if wanted else []
    defined = problem.defined(enclosures, np.array(outputs, dtype=np.int64), np.zeros(len(outputs), dtype=np.int64))
    found = {}
    for output, sound in zip(outputs, defined, strict=True):
        signs = np.zeros(len(moving), dtype=np.int8)
        if wanted:
            signs[wanted] = sign_of(slopes[output], 0, len(wanted)) if sound else UNKNOWN
        reached = [bool(tape.depends[output] >> v & 1) for v in range(len(moving))]
        found[output] = np.where(reached, signs, 0).astype(np.int8)
    return found


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
    outputs = [r.slack for r in problem.network.requirements]
    proved = directions(problem)
    signs = np.array([proved[o][problem.tape.setting_count :] for o in outputs], dtype=np.int8)
    corners = worst_corner(problem, signs.reshape(len(outputs), -1).T)
    open_ = [r for r, o in enumerate(outputs) if (proved[o][problem.tape.setting_count :] == UNKNOWN).any()]
    if open_:
        nodes = [outputs[r] for r in open_]
        _, slopes, wanted = input_slopes(problem, indices, problem.low[:, None], problem.high[:, None], nodes)
        for r in open_:
            low, high = ends(slopes[outputs[r]], 0, len(wanted))
            with np.errstate(invalid="ignore"):
                lean = np.nan_to_num(np.sign(low + high))
            for way, i in zip(lean, wanted, strict=True):
                corners[i, r] = {1.0: problem.low[i], -1.0: problem.high[i]}.get(float(way), problem.stated[i])
    return corners


def worst_corner(problem: Problem, signs: Signs) -> Floats:
    """Put inputs (inputs, rows) at the end that makes a slack least, where the sign of its slope is known."""
    low, high, stated = (a[:, None] for a in (problem.low, problem.high, problem.stated))
    return np.where(signs == 1, low, np.where(signs == -1, high, stated))
