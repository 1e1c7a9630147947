"""Where nothing holds: a smallest set of requirements and pins that cannot hold together, and by how much."""

from collections.abc import Callable

from .answering import Refusal, feasible, margins, nearest
from .problem import Problem
from .search import OutOfEffort

TRIAL_EFFORT = 120
"""Boxes for each question whether a smaller set holds: the answer is known already, only its words get shorter."""


def refusal(problem: Problem, active: list[int], effort: int) -> Refusal:
    """Name what cannot hold together, as few lines as can be found.

    Requirements that cannot hold even alone are conflicts of their own with what is fixed; those that break on the
    same pins are named together, so that no limit hides behind another. Else wants, then laws, then pins are left out
    as long as the rest still cannot hold (a deletion filter). What cannot be decided within the effort is kept: then
    the set cannot hold, but a smaller one may not either.
    """

    def holds(trial: list[int]) -> bool:
        try:
            return feasible(problem, trial, min(effort, TRIAL_EFFORT))
        except OutOfEffort:
            return True

    alone: dict[tuple[int, ...], list[int]] = {}
    for r in active:
        if not holds([r]):
            alone.setdefault(tuple(_pins(problem, [r], holds)), []).append(r)
    if alone:
        pins = min(alone, key=lambda fixed: (len(fixed), -len(alone[fixed]), fixed))
        kept = alone[pins]
    else:
        kept = _fewest(problem, active, holds)
        pins = tuple(_pins(problem, kept, holds))
    missed = _last_want(problem, kept)
    held = [] if alone else [r for r in kept if r != missed]
    point = nearest(problem, missed, held, min(effort, TRIAL_EFFORT))
    return Refusal(tuple(kept), pins, margins(problem, point, kept), problem.boxes)


def _fewest(problem: Problem, active: list[int], holds: Callable[[list[int]], bool]) -> list[int]:
    """Leave out requirements one by one, wants first: the limits of machine and material are the graver news."""
    requirements = problem.network.requirements
    kept = list(active)

    def rank(r: int) -> tuple[bool, str, str]:
        return requirements[r].origin != "want", requirements[r].name, requirements[r].otherwise

    for r in sorted(active, key=rank):
        trial = [k for k in kept if k != r]
        if not holds(trial):
            kept = trial
    return kept


def _pins(problem: Problem, kept: list[int], holds: Callable[[list[int]], bool]) -> list[int]:
    """Leave out pins one by one as long as the requirements still cannot hold; name those that remain."""
    pins = []
    fixed = problem.first.copy(), problem.last.copy()
    for i in problem.by_name:
        setting = problem.network.settings[i]
        reached = any(problem.tape.depends[problem.network.requirements[r].slack] >> i & 1 for r in kept)
        if setting.pin is None or not reached:
            continue
        problem.first[i], problem.last[i] = 0, setting.decl.last
        if holds(kept):
            pins.append(i)
            problem.first[i], problem.last[i] = fixed[0][i], fixed[1][i]
    problem.first, problem.last = fixed
    return pins


def _last_want(problem: Problem, kept: list[int]) -> int:
    """Give the last want of a conflict, or its last requirement where there is no want."""
    wants = [r for r in kept if problem.network.requirements[r].origin == "want"]
    return (wants or kept)[-1]
