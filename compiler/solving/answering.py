"""The whole solve of one network: preferences in order, then the middle, then proof, bands and margins."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..network.graph import Network
from .bands import Band, band, proved_bands
from .problem import TOLERANCE, Constraints, Indices, Problem
from .proving import prove
from .search import OutOfEffort, Search
from .slopes import worst_inputs
from .tape import Floats, row

DEFAULT_EFFORT = 5_000
"""Boxes that one search may look at."""

MOST_REPAIRS = 40
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


def solve_all(networks: Sequence[Network], effort: int = DEFAULT_EFFORT) -> list[tuple[Problem, Answer | Refusal]]:
    """Solve networks, together where they have the same structure; each outcome is as if it were solved alone."""
    return [solve(n, effort) for n in networks]


def hold_all(
    networks: Sequence[Network], effort: int = DEFAULT_EFFORT, active: Sequence[Sequence[int]] | None = None
) -> list[bool | None]:
    """Tell for each network whether some settings meet its requirements for all input values; None: not decided.

    ``active`` names the requirements of each network that count: all, where it is left out, but wants that say
    'if possible'. Networks of the same structure are looked at together.
    """
    if active is None:
        active = [[r for r, q in enumerate(n.requirements) if not q.soft] for n in networks]
    return [_holds(n, counted, effort) for n, counted in zip(networks, active, strict=True)]


def _holds(network: Network, active: Sequence[int], effort: int) -> bool | None:
    try:
        return feasible(Problem(network), active, effort)
    except OutOfEffort:
        return None


def _solve(problem: Problem, effort: int) -> Answer | Refusal:
    found = _choose(problem, effort)
    if found is not None:
        return _answer(problem, found, True)
    stated = stated_only(problem)
    found = _choose(stated, effort)
    problem.boxes += stated.boxes
    if found is not None:
        stated.boxes = problem.boxes
        return _answer(stated, found, False)
    from .conflict import refusal

    return refusal(problem, [r for r, q in enumerate(problem.network.requirements) if not q.soft], effort)


def plainly_refused(problem: Problem) -> bool:
    """Tell whether one look at all settings shows that some requirement fails even at the stated values."""
    hard = [q for q in problem.network.requirements if not q.soft]
    stated = problem.stated[:, None]
    boxes = problem.tape.enclosures(
        problem.variables(problem.settings_at(problem.first[:, None]), stated),
        problem.variables(problem.settings_at(problem.last[:, None]), stated),
        outputs=[n for q in hard for n in (q.left, q.right, q.slack)],
    )
    for q in hard:
        size = max(abs(end) for side in (q.left, q.right) for end in row(boxes[side], 0))
        if row(boxes[q.slack], 0)[1] < -2 * TOLERANCE * size:
            return True
    return False


def stated_only(problem: Problem) -> Problem:
    """Make the same problem with every input at its stated value."""
    stated = Problem(problem.network)
    stated.low = stated.high = stated.stated
    return stated


@dataclass(frozen=True, slots=True)
class _Choice:
    """The best point, what it was found under, the requirements that count, and the wants set aside."""

    point: Indices
    constraints: Constraints
    active: tuple[int, ...]
    dropped: tuple[int, ...]


def _choose(problem: Problem, effort: int) -> _Choice | None:
    """Take in wants that say 'if possible' one by one, by name, then find the best point."""
    requirements = problem.network.requirements
    active = [r for r, q in enumerate(requirements) if not q.soft]
    soft = sorted((r for r, q in enumerate(requirements) if q.soft), key=lambda r: requirements[r].name)
    scenarios = Scenarios(problem)
    if soft and not feasible(problem, active, effort, scenarios):
        return None
    dropped = []
    for r in soft:
        if feasible(problem, [*active, r], effort, scenarios):
            active.append(r)
        else:
            dropped.append(r)
    active.sort()
    found = _optimise(problem, active, effort, scenarios)
    return None if found is None else _Choice(*found, tuple(active), tuple(sorted(dropped)))


def start(problem: Problem) -> Indices:
    """Give the middle of all lattices, where the first scenarios are taken."""
    return (problem.first + problem.last) // 2


class Scenarios:
    """Input values at which requirements are taken: guessed at first, then those that broke a point.

    Each is only ever a necessary condition, so what one search has learned serves all others over the same ranges.
    """

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        corners = worst_inputs(problem, start(problem))
        self._known = {(r, corners[:, r].tobytes()): corners[:, r] for r in range(corners.shape[1])}

    def add(self, requirement: int, inputs: Floats) -> bool:
        """Take in input values for a requirement; tell whether they are new."""
        key = (requirement, inputs.tobytes())
        new = key not in self._known
        self._known.setdefault(key, inputs)
        return new

    def of(self, active: Sequence[int]) -> Constraints:
        """Give the constraints of some requirements."""
        chosen = [(r, inputs) for (r, _), inputs in self._known.items() if r in active]
        columns = [inputs for _, inputs in chosen]
        inputs = np.stack(columns, axis=1) if columns else np.zeros((len(self._problem.stated), 0))
        return self._problem.at([r for r, _ in chosen], inputs)


def feasible(problem: Problem, active: Sequence[int], effort: int, scenarios: Scenarios | None = None) -> bool:
    """Tell whether some settings meet the requirements for all input values."""
    scenarios = scenarios or Scenarios(problem)
    return _repaired(problem, active, lambda c: any_point(problem, c, effort), scenarios) is not None


def _repaired(
    problem: Problem,
    active: Sequence[int],
    find: Callable[[Constraints], Indices | None],
    scenarios: Scenarios,
) -> Indices | None:
    """Search against scenarios, prove the result, and add the scenario that breaks it, until it stands."""
    for _ in range(MOST_REPAIRS):
        point = find(scenarios.of(active))
        if point is None:
            return None
        verdicts = prove(problem, point, active)
        if all(v.holds for v in verdicts):
            return point
        broken = [(r, v.inputs) for r, v in zip(active, verdicts, strict=True) if v.holds is False]
        if not [new for r, inputs in broken if (new := scenarios.add(r, inputs))]:
            # Neither proved nor broken within the limits of the proof.
            break
    raise OutOfEffort


def _optimise(
    problem: Problem, active: list[int], effort: int, scenarios: Scenarios
) -> tuple[Indices, Constraints] | None:
    """Find the best point by the preference list, moved to the middle of what is left; all of it is proved.

    Every merit's best point is proved before its threshold is set, so that what may be given back is a share of what
    can be had. Returns the point with the constraints it was settled under.
    """
    bounds = problem.at([], np.zeros((len(problem.stated), 0)))
    point: Indices | None = None
    merits = range(len(problem.network.merits))
    for m in merits:
        point = _repaired(problem, active, partial(best_point, problem, effort, bounds, m, point), scenarios)
        if point is None:
            return None
        value = float(problem.merit(m, point[:, None])[0])
        share = problem.network.profile.share if m + 1 < len(merits) else 0.0
        bounds = bounds.plus(problem.threshold(m, value - share * abs(value)))
    if point is None:
        point = _repaired(problem, active, lambda c: any_point(problem, c, effort), scenarios)
    if point is None:
        return None
    proved = point
    try:
        settled = _repaired(problem, active, lambda c: settle(problem, c.plus(bounds), proved), scenarios)
    except OutOfEffort:
        settled = None
    return proved if settled is None else settled, scenarios.of(active).plus(bounds)


def best_point(
    problem: Problem, effort: int, bounds: Constraints, merit: int, known: Indices | None, constraints: Constraints
) -> Indices | None:
    """Give the point with most of a merit where constraints and bounds hold, or None where there is none."""
    search = Search(problem, constraints.plus(bounds), effort)
    return search.best_point(problem.first, problem.last, merit, known)


def any_point(problem: Problem, constraints: Constraints, effort: int) -> Indices | None:
    """Give a point where constraints hold, or None where there is none."""
    return Search(problem, constraints, effort).any_point(problem.first, problem.last)


def roomy(problem: Problem, constraints: Constraints, point: Indices) -> Indices:
    """Move settings that rather be low or high as far as holds the other way, so that the others have room."""
    settings = problem.network.settings
    point = point.copy()
    for i in problem.by_name:
        if settings[i].decl.rather:
            found = band(problem, constraints, point, i)
            point[i] = found.last if settings[i].decl.rather == "low" else found.first
    return point


def settle(problem: Problem, constraints: Constraints, point: Indices) -> Indices:
    """Move what the preferences leave open: to the middle of its band, or to the end its setting names.

    Settings that rather be low or high first give the others room, then take their end.
    """
    settings = problem.network.settings
    leaning = [i for i in problem.by_name if settings[i].decl.rather]
    centred = [i for i in problem.by_name if not settings[i].decl.rather]
    point = roomy(problem, constraints, point)
    for _ in range(MOST_ROUNDS):
        before = point.copy()
        for i in centred:
            found = band(problem, constraints, point, i)
            point[i] = (found.first + found.last) // 2
        if (point == before).all():
            break
    for _ in range(MOST_ROUNDS):
        before = point.copy()
        for i in leaning:
            found = band(problem, constraints, point, i)
            point[i] = found.first if settings[i].decl.rather == "low" else found.last
        if (point == before).all():
            break
    return point


def _answer(problem: Problem, choice: _Choice, robust: bool) -> Answer:
    point = choice.point
    plain = _without_merits(choice.constraints)
    bands = proved_bands(problem, plain, point)
    merits = tuple(float(problem.merit(m, point[:, None])[0]) for m in range(len(problem.network.merits)))
    room = roomy(problem, plain, point)
    limits = tuple(_limits(problem, plain, room, m) for m in range(len(merits)))
    closest = margins(problem, point, choice.active)
    return Answer(point, bands, closest, merits, limits, choice.dropped, robust, problem.boxes)


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
    """Name what keeps a merit from growing: what ends the band of each setting that moves it, where it would help.

    ``point`` gives room: a setting that took its end only because nothing else mattered must not look like a limit.
    """
    node = problem.network.merits[merit].node
    found: list[int] = []
    for i in range(problem.tape.setting_count):
        if not problem.tape.depends[node] >> i & 1 or problem.first[i] == problem.last[i]:
            continue
        moved = np.repeat(point[:, None], 2, axis=1)
        moved[i] = [max(point[i] - 1, problem.first[i]), min(point[i] + 1, problem.last[i])]
        down, up = problem.merit(merit, moved)
        edge = band(problem, constraints, point, i)
        reason = edge.above if up > down else edge.below
        if reason >= 0 and reason not in found:
            found.append(reason)
    return tuple(found)
