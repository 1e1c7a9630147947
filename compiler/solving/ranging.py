"""What derived quantities are at chosen settings: stated value and range over the inputs."""

from collections.abc import Sequence

import numpy as np

from .problem import UNKNOWN, Constraints, Indices, Problem
from .slopes import input_slopes, sign_of


def ranges(problem: Problem, point: Indices, nodes: Sequence[int]) -> list[tuple[float, float, float]]:
    """Give (stated, low, high) of nodes in base units; low and high enclose the node over the input ranges."""
    if not nodes:
        return []
    settings = problem.settings_at(point[:, None])
    _, slopes, wanted = input_slopes(problem, point, problem.low[:, None], problem.high[:, None])
    count = len(nodes)
    low = np.repeat(problem.stated[:, None], 2 * count, axis=1)
    high = low.copy()
    for at, node in enumerate(nodes):
        signs = sign_of(slopes[node], 0, len(wanted)) if wanted else np.zeros(0, dtype=np.int8)
        for sign, i in zip(signs, wanted, strict=True):
            ends = (problem.low[i], problem.high[i])
            if sign == UNKNOWN:
                low[i, [at, count + at]], high[i, [at, count + at]] = ends
            else:
                low[i, at] = high[i, at] = ends[0] if sign >= 0 else ends[1]
                low[i, count + at] = high[i, count + at] = ends[1] if sign >= 0 else ends[0]
    boxes = problem.tape.enclosures(problem.variables(settings, low), problem.variables(settings, high))
    stated = problem.tape.values(problem.variables(settings, problem.stated[:, None]))
    found = []
    for at, node in enumerate(nodes):
        lo, hi = np.ravel(boxes[node].lo), np.ravel(boxes[node].hi)
        bottom = lo[0] if lo.size == 1 else lo[at]
        top = hi[0] if hi.size == 1 else hi[count + at]
        found.append((float(np.ravel(stated[node])[0]), float(bottom), float(top)))
    return found


def cost_of_ranges(
    problem: Problem, point: Indices, requirement: int, inputs: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> list[tuple[int, float]]:
    """Tell how much slack each input's range takes from a requirement, as a share of its larger side.

    Each input in turn goes from its worst end (``inputs``) to its stated value. Returns (input, share), largest first.
    """
    uncertain = [i for i in range(len(problem.stated)) if problem.low[i] < problem.high[i]]
    if not uncertain:
        return []
    rows = np.repeat(inputs[:, None], len(uncertain) + 1, axis=1)
    for row, i in enumerate(uncertain, start=1):
        rows[i, row] = problem.stated[i]
    constraints: Constraints = problem.at([requirement] * rows.shape[1], rows)
    slack = problem.slacks(constraints, np.arange(rows.shape[1]), np.repeat(point[:, None], rows.shape[1], axis=1))
    settings = problem.settings_at(point[:, None])
    nodes = problem.tape.values(problem.variables(settings, inputs[:, None]))
    r = problem.network.requirements[requirement]
    size = max(abs(float(np.ravel(nodes[n])[0])) for n in (r.left, r.right)) or 1.0
    gains = [(i, float((slack[row] - slack[0]) / size)) for row, i in enumerate(uncertain, start=1)]
    return sorted((g for g in gains if g[1] > 1e-6), key=lambda g: (-g[1], g[0]))
