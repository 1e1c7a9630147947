"""CP-SAT by way of ortools: every constraint as a table of what is allowed, on coarse lattices that close in.

A full table is out of reach: the settings that move one law have some 10^10 values together. Constraints on one
setting alone are tabulated in full. For the others a few values of each setting are, spread over what is left of its
lattice (by equal ratios where it spans more than a factor of 20); the best point is the middle of the next, narrower
choice, until it is down to neighbours.
"""

import numpy as np

from .question import Floats, Question
from .rivals import Found

MOST_ROWS = 60_000
"""Rows of the largest table."""

MOST_CLOSER = 12
LEVELS = 10**6


def cpsat(question: Question, most_rows: int = MOST_ROWS) -> Found:
    """Solve on tables, again and again on closer ones around the best point."""
    groups = _groups(question)
    most = max((len(g) for g in groups), default=1)
    count = max(3, int(most_rows ** (1 / max(most, 1)) + 1e-9))
    values = [_spread(question, *_window(question, k, groups), k, count) for k in range(question.free.size)]
    best: Floats | None = None
    merit, solved = -np.inf, 0
    while solved < MOST_CLOSER and (row := _solve(question, groups, values)) is not None:
        solved += 1
        reached = float(question.merit(row[:, None])[0])
        if best is not None and reached <= merit and all(np.diff(v).max(initial=1) <= 1 for v in values):
            break
        if best is None or reached >= merit:
            best, merit = row, reached
        values = [_around(v, at, question, k, count) for k, (v, at) in enumerate(zip(values, best, strict=True))]
    return Found(best, f"tables of {count} values a setting, {solved} solved")


def _groups(question: Question) -> dict[tuple[int, ...], list[int]]:
    """Put constraints together by the free settings that move them."""
    found: dict[tuple[int, ...], list[int]] = {}
    for c, (r, _) in enumerate(question.scenarios):
        found.setdefault(tuple(question.touches(question.network.requirements[r].slack)), []).append(c)
    return found


def _window(question: Question, k: int, groups: dict[tuple[int, ...], list[int]]) -> tuple[float, float]:
    """Give the ends of what the constraints on one setting alone allow of it; all of it where that is nothing."""
    alone = np.arange(question.first[k], question.last[k] + 1)
    if (k,) not in groups:
        return alone[0], alone[-1]
    rows = np.repeat(question.first[:, None], alone.size, axis=1)
    rows[k] = alone
    allowed = alone[(question.slacks(rows, groups[(k,)]) >= 0).all(axis=0)]
    return (allowed[0], allowed[-1]) if allowed.size else (alone[0], alone[-1])


def _spread(question: Question, first: float, last: float, k: int, count: int) -> Floats:
    """Choose values of a setting between two places on its lattice."""
    lattice = question.problem.lattices[question.free[k]]
    low, high = lattice[int(first)], lattice[int(last)]
    if low > 0 and high / low > 20:
        wanted = np.interp(np.geomspace(low, high, count), lattice, np.arange(len(lattice)))
    else:
        wanted = np.linspace(first, last, count)
    return np.unique(np.clip(np.rint(wanted), first, last))


def _around(values: Floats, at: float, question: Question, k: int, count: int) -> Floats:
    """Choose values between the neighbours of the best, which stays among them."""
    place = int(np.searchsorted(values, at))
    low, high = values[max(place - 1, 0)], values[min(place + 1, values.size - 1)]
    if high - low < count:
        # Already neighbours: look on both sides of the best.
        low, high = at - count // 2, at + count // 2
    wanted = np.append(np.linspace(low, high, count), at)
    return np.unique(np.clip(np.rint(wanted), question.first[k], question.last[k]))


def _solve(question: Question, groups: dict[tuple[int, ...], list[int]], values: list[Floats]) -> Floats | None:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    chosen = [model.new_int_var(0, v.size - 1, f"s{k}") for k, v in enumerate(values)]
    for settings, constraints in groups.items():
        places, rows = _grid(question, settings, values)
        allowed = places[:, (question.slacks(rows, constraints) >= 0).all(axis=0)]
        if not allowed.size and (settings or not allowed.shape[1]):
            return None
        if settings:
            model.add_allowed_assignments([chosen[k] for k in settings], allowed.T)
    moved = tuple(question.touches(question.merit_node))
    if moved:
        places, rows = _grid(question, moved, values)
        merit = question.merit(rows)
        size = np.abs(merit[np.isfinite(merit)]).max(initial=1e-300)
        level = np.rint(np.where(np.isfinite(merit), merit / size, -1.0) * LEVELS).astype(np.int64)
        reached = model.new_int_var(int(level.min()), int(level.max()), "merit")
        model.add_allowed_assignments([*(chosen[k] for k in moved), reached], np.vstack([places, level]).T)
        model.maximize(reached)
    solver = cp_model.CpSolver()
    # One worker, since processor time is compared.
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 60.0
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return np.array([v[solver.value(c)] for v, c in zip(values, chosen, strict=True)])


def _grid(question: Question, settings: tuple[int, ...], values: list[Floats]) -> tuple[Floats, Floats]:
    """List all choices of some settings: places in ``values`` (settings, rows), and positions (free, rows)."""
    axes = [np.arange(values[k].size) for k in settings]
    places = np.stack([g.ravel() for g in np.meshgrid(*axes, indexing="ij")]) if axes else np.zeros((0, 1), dtype=int)
    rows = np.repeat(np.array([v[0] for v in values])[:, None], places.shape[1], axis=1)
    for k, at in zip(settings, places, strict=True):
        rows[k] = values[k][at]
    return places, rows
