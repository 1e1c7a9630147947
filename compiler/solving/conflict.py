"""Where nothing holds: a smallest set of requirements and pins that cannot hold together, and by how much."""

import numpy as np

from .answering import Refusal, Scenarios, feasible, margins
from .problem import Problem
from .search import OutOfEffort
from .slopes import worst_inputs


TRIAL_EFFORT = 120
"""Boxes for each question whether a smaller set holds: the answer is known already, only its words get shorter."""


def refusal(problem: Problem, active: list[int], effort: int) -> Refusal:
    """Drop requirements, then pins, as long as the rest still cannot hold (a deletion filter).

    What cannot be decided within the effort is kept: then the set cannot hold, but a smaller one may not either.
    """
    scenarios = Scenarios(problem)

    def holds(trial: list[int]) -> bool:
        try:
            return feasible(problem, trial, min(effort, TRIAL_EFFORT), scenarios)
        except OutOfEffort:
            return True

    requirements = problem.network.requirements
    kept = list(active)
    for r in sorted(active, key=lambda r: (requirements[r].origin, requirements[r].name, requirements[r].otherwise)):
        trial = [k for k in kept if k != r]
        if not holds(trial):
            kept = trial
    pins = []
    for i in problem.by_name:
        setting = problem.network.settings[i]
        if setting.pin is None:
            continue
        first, last = int(problem.first[i]), int(problem.last[i])
        problem.first[i], problem.last[i] = 0, setting.decl.last
        if holds(kept):
            problem.first[i], problem.last[i] = first, last
            pins.append(i)
    point = _closest(problem, kept)
    return Refusal(tuple(kept), tuple(pins), margins(problem, point, kept), problem.boxes)


def _closest(problem: Problem, kept: list[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Find settings at which the worst broken requirement is broken least, by moving one setting at a time."""
    point = (problem.first + problem.last) // 2
    best = -np.inf
    for _ in range(8):
        before = point.copy()
        constraints = problem.at(kept, worst_inputs(problem, point)[:, kept])
        for i in range(problem.tape.setting_count):
            width = int(problem.last[i] - problem.first[i])
            if width == 0:
                continue
            moved = np.repeat(point[:, None], width + 1, axis=1)
            moved[i] = np.arange(problem.first[i], problem.last[i] + 1)
            slack = problem.table(constraints, moved)
            scale = np.array([_scale(problem, r, point) for r in kept])[:, None]
            worst = (slack / scale).min(axis=0)
            at = int(np.argmax(worst))
            if worst[at] > best:
                best, point = float(worst[at]), moved[:, at].copy()
        if (point == before).all():
            break
    return point


def _scale(problem: Problem, r: int, point: np.ndarray[tuple[int], np.dtype[np.int64]]) -> float:
    settings = problem.settings_at(point[:, None])
    nodes = problem.tape.values(problem.variables(settings, problem.stated[:, None]))
    requirement = problem.network.requirements[r]
    return max(*(abs(float(np.ravel(nodes[n])[0])) for n in (requirement.left, requirement.right)), 1e-30)
