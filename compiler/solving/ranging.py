"""What derived quantities are at chosen settings: stated value and range over the inputs."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .problem import UNKNOWN, Constraints, Indices, Problem
from .slopes import input_slopes, sign_of
from .tape import Floats, row


def ranges(problem: Problem, point: Indices, nodes: Sequence[int]) -> list[tuple[float, float, float]]:
    """Give (stated, low, high) of nodes in base units; low and high enclose each node over the input ranges.

    Inputs whose direction is proved stand at their ends; the mean value form keeps the others' share small.
    """
    if not nodes:
        return []
    settings = problem.settings_at(point[:, None])
    low, high = _corners(problem, point, nodes)
    boxes = problem.tape.enclosures(problem.variables(settings, low), problem.variables(settings, high))
    stated = problem.tape.values(problem.variables(settings, problem.stated[:, None]))
    spread = _spread(problem, point, low, high, nodes)
    middle = low + (high - low) / 2
    centres = problem.tape.enclosures(*[problem.variables(settings, middle)] * 2)
    found = []
    count = len(nodes)
    for at, node in enumerate(nodes):
        bottom = max(row(boxes[node], at)[0], row(centres[node], at)[0] - spread[at])
        top = min(row(boxes[node], count + at)[1], row(centres[node], count + at)[1] + spread[count + at])
        found.append((float(np.ravel(stated[node])[0]), bottom, top))
    return found


def _corners(problem: Problem, point: Indices, nodes: Sequence[int]) -> tuple[Floats, Floats]:
    """Give input boxes (inputs, 2 * nodes): where each node is lowest, then where each is highest."""
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
            elif sign != 0:
                falling, rising = ends if sign > 0 else ends[::-1]
                low[i, at] = high[i, at] = falling
                low[i, count + at] = high[i, count + at] = rising
    return low, high


def _spread(problem: Problem, point: Indices, low: Floats, high: Floats, nodes: Sequence[int]) -> Floats:
    """Bound how far each node can move from the middle of its box, by its slopes there."""
    _, slopes, wanted = input_slopes(problem, point, low, high)
    spread = np.zeros(low.shape[1])
    half = (high - low)[wanted] / 2
    for column in range(low.shape[1]):
        slope = slopes[nodes[column % len(nodes)]] if wanted else None
        if slope is None:
            continue
        steepest = np.maximum(np.abs(slope.lo), np.abs(slope.hi))
        steepest = steepest[:, 0 if steepest.shape[1] == 1 else column]
        moving = half[:, column] > 0
        spread[column] = float((steepest[moving] * half[moving, column]).sum()) * (1 + 1e-12)
    return spread


def refined(problem: Problem, point: Indices, node: int) -> tuple[float, float] | None:
    """Enclose one node more closely: the inputs whose direction is not proved are cut into pieces.

    None where every direction is proved, so that the plain range is exact.
    """
    _, slopes, wanted = input_slopes(problem, point, problem.low[:, None], problem.high[:, None], [node])
    signs = sign_of(slopes[node], 0, len(wanted)) if wanted else np.zeros(0, dtype=np.int8)
    open_inputs = [i for sign, i in zip(signs, wanted, strict=True) if sign == UNKNOWN][:4]
    if not open_inputs:
        return None
    low, high = _pieces(problem, open_inputs)
    _, slopes, wanted = input_slopes(problem, point, low, high, [node])
    settings, ends = problem.settings_at(point[:, None]), []
    for way in (-1, 1):
        first, last = low.copy(), high.copy()
        for row_at, i in enumerate(wanted):
            slope = slopes[node]
            if slope is None:
                continue
            rising = np.broadcast_to(slope.lo[row_at] >= 0, low.shape[1:])
            falling = np.broadcast_to(slope.hi[row_at] <= 0, low.shape[1:])
            up, down = (rising, falling) if way > 0 else (falling, rising)
            first[i] = np.where(up, high[i], first[i])
            last[i] = np.where(down & ~up, low[i], last[i])
        box = problem.tape.enclosures(
            problem.variables(settings, first), problem.variables(settings, last), outputs=[node]
        )[node]
        ends.append(float(np.max(box.hi)) if way > 0 else float(np.min(box.lo)))
    return ends[0], ends[1]


def _pieces(problem: Problem, open_inputs: list[int], most: int = 400) -> tuple[Floats, Floats]:
    """Cut the ranges of some inputs evenly into at most so many boxes (inputs, boxes)."""
    count = max(1, int(most ** (1 / len(open_inputs)))) if open_inputs else 1
    shape = [count] * len(open_inputs)
    total = count ** len(open_inputs)
    low = np.repeat(problem.low[:, None], total, axis=1)
    high = np.repeat(problem.high[:, None], total, axis=1)
    for i, index in zip(open_inputs, np.unravel_index(np.arange(total), shape) if shape else (), strict=True):
        cuts = np.linspace(problem.low[i], problem.high[i], count + 1)
        low[i], high[i] = cuts[index], cuts[index + 1]
    return low, high


def cost_of_ranges(
    problem: Problem, point: Indices, requirement: int, inputs: NDArray[np.float64]
) -> list[tuple[int, float]]:
    """Tell how much slack each input's range takes from a requirement, as a share of its larger side.

    Each input in turn goes from its worst end (``inputs``) to its stated value. Returns (input, share), largest first.
    """
    uncertain = [i for i in range(len(problem.stated)) if problem.low[i] < problem.high[i]]
    if not uncertain:
        return []
    rows = np.repeat(inputs[:, None], len(uncertain) + 1, axis=1)
    for at, i in enumerate(uncertain, start=1):
        rows[i, at] = problem.stated[i]
    constraints: Constraints = problem.at([requirement] * rows.shape[1], rows)
    slack = problem.slacks(constraints, np.arange(rows.shape[1]), np.repeat(point[:, None], rows.shape[1], axis=1))
    settings = problem.settings_at(point[:, None])
    nodes = problem.tape.values(problem.variables(settings, inputs[:, None]))
    r = problem.network.requirements[requirement]
    size = max(abs(float(np.ravel(nodes[n])[0])) for n in (r.left, r.right)) or 1.0
    gains = [(i, float((slack[at] - slack[0]) / size)) for at, i in enumerate(uncertain, start=1)]
    return sorted((g for g in gains if g[1] > 1e-6), key=lambda g: (-g[1], g[0]))
