"""Proof that a requirement holds at a lattice point for all input values, or the values where it does not."""

from dataclasses import dataclass

import numpy as np

from .operators import Interval
from .problem import TOLERANCE, UNKNOWN, Indices, Problem
from .slopes import input_slopes, sign_of
from .tape import Bounds, Floats, row

MOST_PIECES = 512


@dataclass(frozen=True, slots=True)
class Verdict:
    """``holds`` is None where the work limit came first. ``inputs`` is the worst corner found (inputs,)."""

    holds: bool | None
    inputs: Floats


def prove(problem: Problem, indices: Indices, requirements: list[int]) -> list[Verdict]:
    """Decide requirements at one lattice point over the whole input ranges."""
    low, high = problem.low[:, None], problem.high[:, None]
    _, slopes, wanted = input_slopes(problem, indices, low, high)
    verdicts: list[Verdict | None] = [None] * len(requirements)
    corners = np.repeat(np.stack([problem.low, problem.high])[:, :, None], len(requirements), axis=2)
    for at, r in enumerate(requirements):
        requirement = problem.network.requirements[r]
        signs = sign_of(slopes[requirement.slack], 0, len(wanted)) if wanted else np.zeros(0, dtype=np.int8)
        for sign, i in zip(signs, wanted, strict=True):
            if sign != UNKNOWN:
                corners[:, i, at] = problem.low[i] if sign > 0 else problem.high[i] if sign < 0 else problem.stated[i]
    settings = problem.settings_at(indices[:, None])
    at_corner = problem.tape.enclosures(
        problem.variables(settings, corners[0]), problem.variables(settings, corners[1])
    )
    for at, r in enumerate(requirements):
        holds = _decide(problem, r, at_corner, at)
        worst = corners[:, :, at]
        if holds is not None:
            verdicts[at] = Verdict(holds, _middle(worst))
        else:
            verdicts[at] = _bisect(problem, indices, r, worst)
    return [v for v in verdicts if v is not None]


def _middle(corner: Floats) -> Floats:
    return np.asarray(corner[0] + (corner[1] - corner[0]) / 2)


def _decide(problem: Problem, r: int, enclosures: list[Interval], at: int) -> bool | None:
    """Decide from enclosures: True where slack is nowhere negative, False where it is everywhere."""
    requirement = problem.network.requirements[r]
    left, right = row(enclosures[requirement.left], at), row(enclosures[requirement.right], at)
    slack = row(enclosures[requirement.slack], at)
    if not all(np.isfinite([*slack])):
        return None
    tolerance = 2 * TOLERANCE * max(abs(v) for v in (*left, *right))
    if slack[0] >= -tolerance:
        return True
    return False if slack[1] < -tolerance else None


def _bisect(problem: Problem, indices: Indices, r: int, corner: Floats) -> Verdict:
    """Cut the undecided input box into pieces until every one holds or one does not."""
    pieces = [(corner[0], corner[1])]
    for _ in range(MOST_PIECES):
        if not pieces:
            return Verdict(True, _worst_sampled(problem, indices, r, corner))
        low, high = pieces.pop()
        enclosures, slopes, wanted = input_slopes(problem, indices, low[:, None], high[:, None])
        if _decide(problem, r, enclosures, 0) or _holds_by_mean_value(problem, indices, r, slopes, wanted, low, high):
            continue
        low, high = low.copy(), high.copy()
        open_inputs = []
        if wanted:
            signs = sign_of(slopes[problem.network.requirements[r].slack], 0, len(wanted))
            for sign, i in zip(signs, wanted, strict=True):
                if sign == UNKNOWN:
                    open_inputs.append(i)
                else:
                    low[i] = high[i] = low[i] if sign > 0 else high[i]
        middle = low + (high - low) / 2
        for point in (middle, low, high):
            if _point_fails(problem, indices, r, point):
                return Verdict(False, point)
        if not open_inputs:
            enclosures, _, _ = input_slopes(problem, indices, low[:, None], high[:, None])
            if _decide(problem, r, enclosures, 0):
                continue
            return Verdict(None, middle)
        # An input that changes the result most is cut first; the relative width stands in for that.
        i = max(open_inputs, key=lambda k: (high[k] - low[k]) / max(abs(low[k]), abs(high[k])))
        below_high, above_low = high.copy(), low.copy()
        below_high[i] = above_low[i] = middle[i]
        pieces += [(low, below_high), (above_low, high)]
    return Verdict(None, _worst_sampled(problem, indices, r, corner))


def _holds_by_mean_value(
    problem: Problem,
    indices: Indices,
    r: int,
    slopes: list[Bounds],
    wanted: list[int],
    low: Floats,
    high: Floats,
) -> bool:
    """Prove a requirement over a box by the mean value form: slack at the middle less what the slopes can take.

    Source: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), section 6.4.
    """
    requirement = problem.network.requirements[r]
    slope = slopes[requirement.slack] if wanted else None
    if slope is None:
        return False
    middle = low + (high - low) / 2
    enclosures, _, _ = input_slopes(problem, indices, middle[:, None], middle[:, None])
    left, right = row(enclosures[requirement.left], 0), row(enclosures[requirement.right], 0)
    slack = row(enclosures[requirement.slack], 0)
    steepest = np.maximum(np.abs(slope.lo), np.abs(slope.hi))[:, 0]
    reach = np.maximum(high - middle, middle - low)[wanted]
    most = float(np.nextafter((steepest * reach).sum() * (1 + 1e-12), np.inf))
    tolerance = 2 * TOLERANCE * max(abs(v) for v in (*left, *right))
    return bool(np.isfinite(most) and slack[0] - most >= -tolerance)


def _point_fails(problem: Problem, indices: Indices, r: int, inputs: Floats) -> bool:
    constraints = problem.at([r], inputs[:, None])
    return bool(problem.slacks(constraints, np.array([0]), indices[:, None])[0] < 0)


def _worst_sampled(problem: Problem, indices: Indices, r: int, corner: Floats) -> Floats:
    """Give the worst of the ends and the middle of the inputs whose direction was not proved."""
    candidates = [corner[0], corner[1], _middle(corner)]
    open_inputs = np.flatnonzero(corner[0] < corner[1])[:6]
    for i in open_inputs:
        for end in (corner[0][i], corner[1][i]):
            candidates += [np.where(np.arange(len(c)) == i, end, c) for c in candidates[:3]]
    inputs = np.stack(candidates, axis=1)
    constraints = problem.at([r] * inputs.shape[1], inputs)
    slack = problem.slacks(
        constraints, np.arange(inputs.shape[1]), np.repeat(indices[:, None], inputs.shape[1], axis=1)
    )
    return np.asarray(inputs[:, int(np.argmin(slack))])
