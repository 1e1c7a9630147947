"""The whole solve of one network: preferences in order, then the middle, then proof, bands and margins."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..network.graph import Network
from .bands import Band, band, proved_band
from .problem import Constraints, Indices, Problem
from .proving import prove
from .search import OutOfEffort, Search
from .slopes import worst_inputs
from .tape import Floats

DEFAULT_EFFORT = 20_000
"""Boxes that one search may look at."""

MOST_REPAIRS = 12
MOST_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Margin:
    """A requirement at the chosen settings: both sides where it is closest, and the inputs there (base units)."""

    requirement: int
    left: float
    right: float
    inputs: Floats

    @property
    def share(self) -> float:
        """The slack as a share of the larger side."""
        size = max(abs(self.left), abs(self.right))
        return (self.right - self.left) / size if size else 0.0


@dataclass(frozen=True, slots=True)
class Answer:
    """Settings that hold for all input values (``robust``) or for the stated ones only, with bands and margins.

    ``point`` and ``bands`` follow the network's settings. ``limits`` gives for each merit the requirements that keep
    it from growing. ``dropped`` lists wants set aside because they said 'if possible'.
    """

    point: Indices
    bands: tuple[Band, ...]
    margins: tuple[Margin, ...]
    merits: tuple[float, ...]
    limits: tuple[tuple[int, ...], ...]
    dropped: tuple[int, ...]
    robust: bool
    boxes: int


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no answer: ``conflict`` requirements that cannot hold together, or none where effort ran out."""

    conflict: tuple[int, ...]
    pins: tuple[int, ...]
    margins: tuple[Margin, ...]
    boxes: int

    @property
    def out_of_effort(self) -> bool:
        """Whether the search ended at its limit, so that nothing is known."""
        return not self.conflict


def solve(network: Network, effort: int = DEFAULT_EFFORT) -> tuple[Problem, Answer | Refusal]:
    """Solve a network; a refusal names the requirements in conflict. The answer is the same for the same text."""
    problem = Problem(network)
    try:
        return problem, _solve(problem, effort)
    except OutOfEffort:
        return problem, Refusal((), (), (), problem.boxes)


def _solve(problem: Problem, effort: int) -> Answer | Refusal:
    requirements = problem.network.requirements
    active = [r for r, q in enumerate(requirements) if not q.soft]
    dropped = []
    if len(active) < len(requirements):
        for r, q in enumerate(requirements):
            if q.soft:
                if feasible(problem, [*active, r], effort):
                    active.append(r)
                else:
                    dropped.append(r)
    found = _optimise(problem, sorted(active), effort)
    if found is not None:
        return _answer(problem, *found, sorted(active), tuple(dropped), True)
    from .conflict import refusal

    stated = StatedOnly(problem)
    if (found := _optimise(stated.problem, sorted(active), effort)) is not None:
        problem.boxes += stated.problem.boxes
        return _answer(stated.problem, *found, sorted(active), tuple(dropped), False)
    return refusal(problem, sorted(active), effort)


class StatedOnly:
    """The same problem with every input at its stated value."""

    def __init__(self, problem: Problem) -> None:
        self.problem = Problem(problem.network)
        self.problem.low = self.problem.high = self.problem.stated


def start(problem: Problem) -> Indices:
    """Give the middle of all lattices, where the first scenarios are taken."""
    return (problem.first + problem.last) // 2


def feasible(problem: Problem, active: Sequence[int], effort: int) -> bool:
    """Tell whether some settings meet the requirements for all input values."""

    def find(constraints: Constraints) -> Indices | None:
        return Search(problem, constraints, effort).any_point(problem.first, problem.last)

    return _repaired(problem, active, find) is not None


def _repaired(
    problem: Problem, active: Sequence[int], find: Callable[[Constraints], Indices | None]
) -> tuple[Indices, Constraints] | None:
    """Search against scenarios, prove the result, and add the scenario that breaks it, until it stands."""
    corners = worst_inputs(problem, start(problem))
    constraints = problem.at(list(active), corners[:, list(active)])
    for _ in range(MOST_REPAIRS):
        point = find(constraints)
        if point is None:
            return None
        verdicts = prove(problem, point, list(active))
        failing = [(r, v.inputs) for r, v in zip(active, verdicts, strict=True) if not v.holds]
        if not failing:
            return point, constraints
        constraints = constraints.plus(problem.at([r for r, _ in failing], np.stack([u for _, u in failing], axis=1)))
    raise OutOfEffort


def _optimise(problem: Problem, active: list[int], effort: int) -> tuple[Indices, Constraints] | None:
    """Find the best point by the preference list, moved to the middle of what is left; prove it."""
    kept: list[Constraints] = []

    def find(constraints: Constraints) -> Indices | None:
        kept.clear()
        found = _lexicographic(problem, constraints, effort)
        if found is None:
            return None
        point, bounded = found
        kept.append(bounded)
        return settle(problem, bounded, point)

    found = _repaired(problem, active, find)
    return None if found is None else (found[0], kept[0])


def _lexicographic(problem: Problem, constraints: Constraints, effort: int) -> tuple[Indices, Constraints] | None:
    """Maximise merits in order; give a best point and the constraints with a threshold for every merit."""
    first, last = problem.first, problem.last
    merits = problem.network.merits
    point: Indices | None = None
    for m in range(len(merits)):
        better = Search(problem, constraints, effort).best_point(first, last, m)
        if better is None:
            if m == 0:
                return None
            # The last point still holds; only rounding at a threshold can have refuted all others.
            better = point
        assert better is not None
        point = better
        value = float(problem.merit(m, point[:, None])[0])
        share = problem.network.profile.share if m + 1 < len(merits) else 0.0
        constraints = constraints.plus(problem.threshold(m, value - share * abs(value)))
    if point is None:
        point = Search(problem, constraints, effort).any_point(first, last)
    return None if point is None else (point, constraints)


def settle(problem: Problem, constraints: Constraints, point: Indices) -> Indices:
    """Move what the preferences leave open: to the middle of its band, or to the end its setting names.

    Settings that rather be low or high first give the others room, then take their end.
    """
    settings = problem.network.settings
    leaning = [i for i, s in enumerate(settings) if s.decl.rather]
    centred = [i for i, s in enumerate(settings) if not s.decl.rather]
    point = point.copy()
    for i in leaning:
        found = band(problem, constraints, point, i)
        point[i] = found.last if settings[i].decl.rather == "low" else found.first
    for _ in range(MOST_ROUNDS):
        before = point.copy()
        for i in centred:
            found = band(problem, constraints, point, i)
            point[i] = (found.first + found.last) // 2
        if (point == before).all():
            break
    for i in leaning:
        found = band(problem, constraints, point, i)
        point[i] = found.first if settings[i].decl.rather == "low" else found.last
    return point


def _answer(
    problem: Problem,
    point: Indices,
    constraints: Constraints,
    active: list[int],
    dropped: tuple[int, ...],
    robust: bool,
) -> Answer:
    settings = range(problem.tape.setting_count)
    bands = tuple(proved_band(problem, _without_merits(constraints), point, i) for i in settings)
    merits = tuple(float(problem.merit(m, point[:, None])[0]) for m in range(len(problem.network.merits)))
    limits = tuple(_limits(problem, constraints, point, m) for m in range(len(merits)))
    return Answer(point, bands, margins(problem, point, active), merits, limits, dropped, robust, problem.boxes)


def _without_merits(constraints: Constraints) -> Constraints:
    return constraints.take([c for c, r in enumerate(constraints.requirement) if r >= 0])


def margins(problem: Problem, point: Indices, active: Sequence[int]) -> tuple[Margin, ...]:
    """Give both sides of each requirement at its worst inputs."""
    verdicts = prove(problem, point, list(active))
    inputs = np.stack([v.inputs for v in verdicts], axis=1) if verdicts else np.zeros((len(problem.stated), 0))
    settings = problem.settings_at(point[:, None])
    nodes = problem.tape.values(problem.variables(settings, inputs))
    found = []
    for at, r in enumerate(active):
        requirement = problem.network.requirements[r]
        left, right = (
            float(np.ravel(nodes[n])[0 if np.size(nodes[n]) == 1 else at])
            for n in (requirement.left, requirement.right)
        )
        found.append(Margin(r, left, right, inputs[:, at]))
    return tuple(found)


def _limits(problem: Problem, constraints: Constraints, point: Indices, merit: int) -> tuple[int, ...]:
    """Name what keeps a merit from growing: what ends the band of each setting that moves it, on the side that helps."""
    node = problem.network.merits[merit].node
    plain = _without_merits(constraints)
    found: list[int] = []
    for i in range(problem.tape.setting_count):
        if not problem.tape.depends[node] >> i & 1 or problem.first[i] == problem.last[i]:
            continue
        moved = np.repeat(point[:, None], 2, axis=1)
        moved[i] = [max(point[i] - 1, problem.first[i]), min(point[i] + 1, problem.last[i])]
        down, up = problem.merit(merit, moved)
        edge = band(problem, plain, point, i)
        reason = edge.above if up > down else edge.below
        if reason >= 0 and reason not in found:
            found.append(reason)
    return tuple(found)
