"""Networks in, answers out: the best settings with their bands, margins and limits; many machines at once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..network.graph import Merit, Network
from .bands import Band, Bands, Grid, find_bands
from .batch import Batch, Constraints
from .optimising import Best, Optimiser
from .problem import TOLERANCE, Indices, Problem
from .proving import decide
from .scenarios import Scenarios
from .search import BEST_SO_FAR, FOUND, NONE, UNDECIDED, Search
from .settling import roomy
from .tape import Floats, Mask, tape_of

DEFAULT_EFFORT = 5_000
"""Boxes that one search may look at."""

MOST_TOGETHER = 64
"""Machines that are solved in one batch: more would not fit the caches of a processor."""


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
    it from growing. ``dropped`` lists wants set aside because they said 'if possible'. ``certified`` tells whether
    every other box was refuted or cannot beat the answer; else the limit of ``effort`` boxes ended the search first.
    """

    point: Indices
    bands: tuple[Band, ...]
    margins: tuple[Margin, ...]
    merits: tuple[float, ...]
    limits: tuple[tuple[int, ...], ...]
    dropped: tuple[int, ...]
    robust: bool
    boxes: int
    certified: bool = True
    effort: int = DEFAULT_EFFORT


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no answer: ``conflict`` requirements that cannot hold together, or none where effort ran out.

    ``margins`` are those of the settings at ``point``, lattice indices.
    """

    conflict: tuple[int, ...]
    pins: tuple[int, ...]
    margins: tuple[Margin, ...]
    boxes: int
    point: tuple[int, ...] = ()

    @property
    def out_of_effort(self) -> bool:
        """Whether the search ended at its limit, so that nothing is known."""
        return not self.conflict


# ---- many networks


def solve(network: Network, effort: int = DEFAULT_EFFORT) -> tuple[Problem, Answer | Refusal]:
    """Solve a network; a refusal names the requirements in conflict. The answer is the same for the same text."""
    return solve_all([network], effort)[0]


def solve_all(networks: Sequence[Network], effort: int = DEFAULT_EFFORT) -> list[tuple[Problem, Answer | Refusal]]:
    """Solve networks, together where they have the same structure; each outcome is as if it were solved alone."""
    found: list[tuple[Problem, Answer | Refusal] | None] = [None] * len(networks)
    for members in _alike(networks):
        chosen = problems([networks[k] for k in members])
        for k, problem, outcome in zip(members, chosen, _solved(chosen, effort), strict=True):
            found[k] = problem, outcome
    return [f for f in found if f is not None]


def hold_all(
    networks: Sequence[Network], effort: int = DEFAULT_EFFORT, active: Sequence[Sequence[int]] | None = None
) -> list[bool | None]:
    """Tell for each network whether some settings meet its requirements for all input values; None: not decided.

    ``active`` names the requirements of each network that count: all, where it is left out, but wants that say
    'if possible'. Networks of the same structure are looked at together.
    """
    if active is None:
        active = [n.hard for n in networks]
    found: list[bool | None] = [None] * len(networks)
    for members in _alike(networks):
        batch = Batch(problems([networks[k] for k in members]))
        status = Optimiser(batch, effort).feasible(batch.counting([active[k] for k in members]), batch.everyone)
        for k, ended in zip(members, status, strict=True):
            found[k] = {FOUND: True, NONE: False}.get(int(ended))
    return found


def nearest(problem: Problem, missed: int, held: Sequence[int], effort: int) -> Indices:
    """Find settings where some requirements are held and another, at the stated input values, is missed by least.

    The middle of all lattices where none was found.
    """
    merit = Merit("slack", problem.network.requirements[missed].slack)
    aimed = Problem(replace(problem.network, merits=(merit,)), problem.tape)
    aimed.first, aimed.last = problem.first, problem.last
    batch = Batch([aimed])
    points, status = Search(batch, Scenarios(batch).of(batch.counting([held])), effort, 0).run([0])
    return points[:, 0] if status[0] in (FOUND, BEST_SO_FAR) else (problem.first + problem.last) // 2


def problems(networks: Sequence[Network]) -> list[Problem]:
    """Make problems of networks; those of one structure share a tape."""
    found: list[Problem | None] = [None] * len(networks)
    for members in _alike(networks):
        tape = tape_of([networks[k] for k in members])
        for k in members:
            found[k] = Problem(networks[k], tape)
    return [f for f in found if f is not None]


def _alike(networks: Sequence[Network]) -> list[list[int]]:
    """Group networks that share nodes and requirements, in parts that are solved together."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, n in enumerate(networks):
        key = (id(n.nodes), id(n.requirements), id(n.merits), n.profile.share, *(i.node for i in n.inputs))
        groups.setdefault(key, []).append(k)
    return [g[at : at + MOST_TOGETHER] for g in groups.values() for at in range(0, len(g), MOST_TOGETHER)]


def _solved(asked: list[Problem], effort: int) -> list[Answer | Refusal]:
    """Solve problems that share a tape: for all input values, else for the stated ones, else name a conflict."""
    outcomes = _answers(Batch(asked), effort, True)
    failed = [m for m, outcome in enumerate(outcomes) if outcome is None]
    if failed:
        stated = [asked[m].stated_only() for m in failed]
        for m, problem, outcome in zip(failed, stated, _answers(Batch(stated), effort, False), strict=True):
            asked[m].boxes = problem.boxes
            outcomes[m] = outcome
    return [_refused(asked[m], effort) if o is None else o for m, o in enumerate(outcomes)]


def _refused(problem: Problem, effort: int) -> Refusal:
    from .conflict import refusal

    return refusal(problem, problem.network.hard, effort)


# ---- what is told of the answers


def _answers(batch: Batch, effort: int, robust: bool) -> list[Answer | Refusal | None]:
    """Solve a batch; None where nothing holds, a refusal without a conflict where the effort ended first."""
    optimiser = Optimiser(batch, effort)
    best = optimiser.best()
    found: list[Answer | Refusal | None] = [None] * batch.count
    for m in np.flatnonzero(best.status == UNDECIDED).tolist():
        found[m] = Refusal((), (), (), batch.problems[m].boxes)
    solved = np.flatnonzero(best.status == FOUND)
    for m, answer in zip(solved.tolist(), _told(optimiser, best, solved, robust) if solved.size else (), strict=True):
        found[m] = answer
    return found


def _told(optimiser: Optimiser, best: Best, machines: Indices, robust: bool) -> list[Answer]:
    """Make the answers of some machines from their points."""
    batch, active, points = optimiser.batch, best.active, best.points
    count = batch.setting_count
    bands = _bands(optimiser, best, machines)
    merits = [batch.merit(k, machines, points[:, machines]) for k in range(len(batch.network.merits))]
    limits = _limits(batch, optimiser.scenarios.of(active), points, machines)
    closest = _margins(batch, active, machines, points)
    return [
        Answer(
            points[:, m].copy(),
            tuple(bands.row(i * machines.size + at) for i in range(count)),
            closest[at],
            tuple(float(values[at]) for values in merits),
            limits[at],
            tuple(int(r) for r in np.flatnonzero(~active[:, m])),
            robust,
            batch.problems[m].boxes,
            bool(best.certified[m]),
            optimiser.effort,
        )
        for at, m in enumerate(machines)
    ]


def _bands(optimiser: Optimiser, best: Best, machines: Indices) -> Bands:
    """Give proved bands; those found when the points were proved are taken where they are of the same points."""
    grid, points = best.grid, best.points[:, machines]
    same = grid is not None and np.array_equal(grid.machine[: machines.size], machines)
    if grid is None or not same or not np.array_equal(grid.points[:, : machines.size], points):
        grid = Grid(optimiser.batch, best.active, machines, points)
        grid.find(optimiser.scenarios)
    grid.prove(optimiser.scenarios)
    return grid.found


def _limits(batch: Batch, plain: Constraints, points: Indices, machines: Indices) -> list[tuple[tuple[int, ...], ...]]:
    """Name what keeps each merit from growing: what ends the bands of the settings that move it.

    The bands are taken where there is room: a setting that took its end only because nothing else mattered must
    not look like a limit.
    """
    room = roomy(batch, plain, machines, points)[:, machines]
    depends = batch.tape.depends
    count = machines.size
    found: list[list[list[int]]] = [[[] for _ in batch.network.merits] for _ in machines]
    movers = [[i for i in range(batch.setting_count) if depends[m.node] >> i & 1] for m in batch.network.merits]
    setting = np.repeat(sorted({i for moving in movers for i in moving}), count).astype(np.int64)
    owner, rows = np.tile(np.arange(count), setting.size // max(1, count)), np.arange(setting.size)
    edges = find_bands(batch, plain, machines[owner], room[:, owner], setting)
    lower, upper = room[:, owner], room[:, owner]
    first, last = batch.first[setting, machines[owner]], batch.last[setting, machines[owner]]
    lower[setting, rows] = np.maximum(lower[setting, rows] - 1, first)
    upper[setting, rows] = np.minimum(upper[setting, rows] + 1, last)
    for k, moving in enumerate(movers):
        less, more = (batch.merit(k, machines[owner], moved) for moved in (lower, upper))
        reason = np.where(more > less, edges.above, edges.below)
        telling = np.isin(setting, moving) & (first < last) & (reason >= 0)
        for row in np.flatnonzero(telling).tolist():
            limits = found[owner[row]][k]
            if reason[row] not in limits:
                limits.append(int(reason[row]))
    return [tuple(tuple(limits) for limits in one) for one in found]


def _margins(batch: Batch, active: Mask, machines: Indices, points: Indices) -> list[tuple[Margin, ...]]:
    """Give both sides of each requirement that counts at its worst inputs, for each machine."""
    at, r = np.nonzero(active[:, machines].T)
    m = machines[at]
    verdicts = decide(batch, m, points[:, m], r)
    left, right = batch.values([batch.left_nodes[r], batch.right_nodes[r]], points[:, m], verdicts.inputs)
    found: list[list[Margin]] = [[] for _ in machines]
    for q in range(r.size):
        found[at[q]].append(Margin(int(r[q]), float(left[q]), float(right[q]), verdicts.inputs[:, q]))
    return [tuple(one) for one in found]


def margins(problem: Problem, point: Indices, active: Sequence[int]) -> tuple[Margin, ...]:
    """Give both sides of each requirement at its worst inputs, at one lattice point."""
    batch = Batch([problem])
    return _margins(batch, batch.counting([active]), batch.everyone, point[:, None])[0]


def plainly_refused(networks: Sequence[Network]) -> list[bool]:
    """Tell of which networks one look at all settings shows that a requirement fails even at the stated values."""
    found = [False] * len(networks)
    for members in _alike(networks):
        batch = Batch([p.stated_only() for p in problems([networks[k] for k in members])])
        for q in (batch.network.requirements[r] for r in batch.network.hard):
            left, right, slack = (batch.whole[n] for n in (q.left, q.right, q.slack))
            size = np.max([np.broadcast_to(np.abs(end), batch.count) for side in (left, right) for end in side], axis=0)
            fails = np.broadcast_to(slack.hi < -2 * TOLERANCE * size, batch.count)
            for m in np.flatnonzero(fails):
                found[members[m]] = True
    return found
