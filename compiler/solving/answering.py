"""The whole solve: preferences in order, then the middle, then proof, bands and margins; many machines at once."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..network.graph import Merit, Network
from .bands import Band, find_bands, proved_bands
from .batch import Batch, Constraints
from .problem import TOLERANCE, Indices, Problem
from .proving import BROKEN, HOLDS, decide
from .scenarios import Scenarios
from .search import BEST_SO_FAR, FOUND, NONE, UNDECIDED, OutOfEffort, Search, Status
from .settling import roomy, settle
from .tape import Floats, Mask, tape_of

DEFAULT_EFFORT = 5_000
"""Boxes that one search may look at."""

MOST_REPAIRS = 40
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
    every other box was refuted or cannot beat the answer; else the effort ended first.
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


# ---- many networks


def solve(network: Network, effort: int = DEFAULT_EFFORT) -> tuple[Problem, Answer | Refusal]:
    """Solve a network; a refusal names the requirements in conflict. The answer is the same for the same text."""
    return solve_all([network], effort)[0]


def solve_all(networks: Sequence[Network], effort: int = DEFAULT_EFFORT) -> list[tuple[Problem, Answer | Refusal]]:
    """Solve networks, together where they have the same structure; each outcome is as if it were solved alone."""
    found: list[tuple[Problem, Answer | Refusal] | None] = [None] * len(networks)
    for members in _alike(networks):
        problems = _problems([networks[k] for k in members])
        for k, problem, outcome in zip(members, problems, _solved(problems, effort), strict=True):
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
        active = [[r for r, q in enumerate(n.requirements) if not q.soft] for n in networks]
    found: list[bool | None] = [None] * len(networks)
    for members in _alike(networks):
        batch = Batch(_problems([networks[k] for k in members]))
        counted = np.zeros((len(batch.network.requirements), batch.count), dtype=np.bool_)
        for m, k in enumerate(members):
            counted[list(active[k]), m] = True
        _, status = _Solve(batch, effort).feasible(counted, batch.everyone)
        for k, ended in zip(members, status, strict=True):
            found[k] = {FOUND: True, NONE: False}.get(int(ended))
    return found


def feasible(problem: Problem, active: Iterable[int], effort: int) -> bool:
    """Tell whether some settings meet the requirements for all input values.

    Raises OutOfEffort where that was not decided.
    """
    batch = Batch([problem])
    counted = np.zeros((len(problem.network.requirements), 1), dtype=np.bool_)
    counted[list(active)] = True
    _, status = _Solve(batch, effort).feasible(counted, batch.everyone)
    if status[0] == UNDECIDED:
        raise OutOfEffort
    return bool(status[0] == FOUND)


def nearest(problem: Problem, missed: int, held: Sequence[int], effort: int) -> Indices:
    """Find settings where some requirements are held and another, at the stated input values, is missed by least.

    The middle of all lattices where none was found.
    """
    merit = Merit("slack", problem.network.requirements[missed].slack)
    aimed = Problem(replace(problem.network, merits=(merit,)), problem.tape)
    aimed.first, aimed.last = problem.first, problem.last
    batch = Batch([aimed])
    counted = np.zeros((len(aimed.network.requirements), 1), dtype=np.bool_)
    counted[list(held)] = True
    points, status = Search(batch, Scenarios(batch).of(counted), effort, 0).run([0])
    return points[:, 0] if status[0] in (FOUND, BEST_SO_FAR) else (problem.first + problem.last) // 2


def _alike(networks: Sequence[Network]) -> list[list[int]]:
    """Group networks that share nodes and requirements, in parts that are solved together."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, n in enumerate(networks):
        key = (id(n.nodes), id(n.requirements), id(n.merits), n.profile.share, *(i.node for i in n.inputs))
        groups.setdefault(key, []).append(k)
    return [g[at : at + MOST_TOGETHER] for g in groups.values() for at in range(0, len(g), MOST_TOGETHER)]


def _problems(networks: Sequence[Network]) -> list[Problem]:
    tape = tape_of(networks)
    return [Problem(n, tape) for n in networks]


def _solved(problems: list[Problem], effort: int) -> list[Answer | Refusal]:
    """Solve problems that share a tape: for all input values, else for the stated ones, else name a conflict."""
    outcomes = _Solve(Batch(problems), effort).answers(True)
    failed = [m for m, outcome in enumerate(outcomes) if outcome is None]
    if failed:
        stated = [problems[m].stated_only() for m in failed]
        for m, problem, outcome in zip(failed, stated, _Solve(Batch(stated), effort).answers(False), strict=True):
            problems[m].boxes = problem.boxes
            outcomes[m] = outcome
    return [_refused(problems[m], effort) if o is None else o for m, o in enumerate(outcomes)]


def _refused(problem: Problem, effort: int) -> Refusal:
    from .conflict import refusal

    return refusal(problem, [r for r, q in enumerate(problem.network.requirements) if not q.soft], effort)


# ---- one batch


class _Solve:
    """The steps of solving a batch. Status and points are by machine; columns of others mean nothing."""

    def __init__(self, batch: Batch, effort: int) -> None:
        self.batch = batch
        self.effort = effort
        self.scenarios = Scenarios(batch)
        self.certified = np.ones(batch.count, dtype=np.bool_)

    def answers(self, robust: bool) -> list[Answer | Refusal | None]:
        """Solve all; None where nothing holds, a refusal without a conflict where the effort ended first."""
        batch = self.batch
        active, status = self._with_soft()
        points, ended = self._optimise(active, np.flatnonzero(status == FOUND))
        chosen = status == FOUND
        status[chosen] = ended[chosen]
        found: list[Answer | Refusal | None] = [None] * batch.count
        for m in np.flatnonzero(status == UNDECIDED).tolist():
            found[m] = Refusal((), (), (), batch.problems[m].boxes)
        solved = np.flatnonzero(status == FOUND)
        if solved.size:
            for at, answer in enumerate(self._told(active, points, solved, robust)):
                found[int(solved[at])] = answer
        return found

    def _with_soft(self) -> tuple[Mask, Status]:
        """Take in wants that say 'if possible' one by one, by name; give what counts for each machine."""
        requirements, batch = self.batch.network.requirements, self.batch
        hard = np.array([not q.soft for q in requirements], dtype=np.bool_)
        active = np.repeat(hard[:, None], batch.count, axis=1)
        status = np.full(batch.count, FOUND, dtype=np.int8)
        soft = sorted(np.flatnonzero(~hard), key=lambda r: requirements[r].name)
        if soft:
            _, status = self.feasible(active, batch.everyone)
        for r in soft:
            asked = np.flatnonzero(status == FOUND)
            active[r, asked] = True
            _, ended = self.feasible(active, asked)
            active[r] &= ended == FOUND
            status[asked] = np.where(ended[asked] == UNDECIDED, UNDECIDED, FOUND)
        return active, status

    def feasible(self, active: Mask, machines: Indices) -> tuple[Indices, Status]:
        """Find settings that meet the requirements that count, for all input values."""
        return self._repaired(active, machines, lambda c, ms: Search(self.batch, c, self.effort).run(ms))

    def _repaired(
        self,
        active: Mask,
        machines: Indices,
        find: Callable[[Constraints, Indices], tuple[Indices, Status]],
    ) -> tuple[Indices, Status]:
        """Search against scenarios, prove the result, and add the scenarios that break it, until it stands."""
        batch = self.batch
        points = np.zeros_like(batch.first)
        status = np.full(batch.count, UNDECIDED, dtype=np.int8)
        open_ = np.asarray(machines)
        for _ in range(MOST_REPAIRS):
            if not open_.size:
                break
            tried, ended = find(self.scenarios.of(active), open_)
            status[open_] = ended[open_]
            open_ = open_[(ended[open_] == FOUND) | (ended[open_] == BEST_SO_FAR)]
            points[:, open_] = tried[:, open_]
            r, at = np.nonzero(active[:, open_])
            verdicts = decide(batch, open_[at], points[:, open_[at]], r)
            stands = np.bincount(at, weights=verdicts.holds != HOLDS, minlength=open_.size) == 0
            again = []
            for k in np.flatnonzero(~stands):
                m = int(open_[k])
                broken = np.flatnonzero((at == k) & (verdicts.holds == BROKEN))
                new = [self.scenarios.add(m, int(r[q]), verdicts.inputs[:, q]) for q in broken]
                status[m] = UNDECIDED
                if any(new):
                    # Else neither proved nor broken within the limits of the proof.
                    again.append(m)
            open_ = np.array(again, dtype=np.int64)
        self.certified[status == BEST_SO_FAR] = False
        status[status == BEST_SO_FAR] = FOUND
        return points, status

    def _optimise(self, active: Mask, machines: Indices) -> tuple[Indices, Status]:
        """Find the best points by the preference list, moved to the middle of what is left; all of it is proved.

        Every merit's best point is proved before its threshold is set, so that what may be given back is a share of
        what can be had.
        """
        batch = self.batch
        bounds = batch.nothing()
        points, status = np.zeros_like(batch.first), np.full(batch.count, UNDECIDED, dtype=np.int8)
        status[machines] = FOUND
        known: Indices | None = None
        count = len(batch.network.merits)
        for merit in range(count):
            open_ = np.flatnonzero(status == FOUND)
            points, ended = self._repaired(active, open_, self._best(bounds, merit, known))
            status[open_] = ended[open_]
            known, open_ = points, np.flatnonzero(status == FOUND)
            value = np.zeros(batch.count)
            value[open_] = batch.merit(merit, open_, points[:, open_])
            share = batch.network.profile.share if merit + 1 < count else 0.0
            bounds = bounds.plus(batch.threshold(merit, value - share * np.abs(value)))
        open_ = np.flatnonzero(status == FOUND)
        if not count:
            points, ended = self.feasible(active, open_)
            status[open_] = ended[open_]
            open_ = np.flatnonzero(status == FOUND)
        certified = self.certified.copy()
        settled, ended = self._repaired(
            active, open_, lambda c, ms: (settle(batch, c.plus(bounds), ms, points), np.full(batch.count, FOUND))
        )
        self.certified = certified
        chosen = np.where(ended == FOUND, settled, points)
        return chosen, status

    def _best(
        self, bounds: Constraints, merit: int, known: Indices | None
    ) -> Callable[[Constraints, Indices], tuple[Indices, Status]]:
        def find(constraints: Constraints, machines: Indices) -> tuple[Indices, Status]:
            return Search(self.batch, constraints.plus(bounds), self.effort, merit).run(machines, known)

        return find

    # ---- what is told of the answers

    def _told(self, active: Mask, points: Indices, machines: Indices, robust: bool) -> list[Answer]:
        batch, count = self.batch, self.batch.setting_count
        bands = proved_bands(batch, self.scenarios, active, machines, points[:, machines])
        merits = [batch.merit(k, machines, points[:, machines]) for k in range(len(batch.network.merits))]
        limits = self._limits(active, points, machines)
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
                bool(self.certified[m]),
            )
            for at, m in enumerate(machines)
        ]

    def _limits(self, active: Mask, points: Indices, machines: Indices) -> list[tuple[tuple[int, ...], ...]]:
        """Name what keeps each merit from growing: what ends the bands of the settings that move it.

        The bands are taken where there is room: a setting that took its end only because nothing else mattered must
        not look like a limit.
        """
        batch, plain = self.batch, self.scenarios.of(active)
        room = roomy(batch, plain, machines, points)
        found: list[list[list[int]]] = [[[] for _ in batch.network.merits] for _ in machines]
        rows = np.arange(machines.size)
        for k, merit in enumerate(batch.network.merits):
            for i in range(batch.setting_count):
                if not batch.tape.depends[merit.node] >> i & 1:
                    continue
                ends = []
                for step in (-1, 1):
                    moved = room[:, machines]
                    moved[i] = np.clip(moved[i] + step, batch.first[i, machines], batch.last[i, machines])
                    ends.append(batch.merit(k, machines, moved))
                edge = find_bands(batch, plain, machines, room[:, machines], np.full(machines.size, i))
                reason = np.where(ends[1] > ends[0], edge.above, edge.below)
                free = batch.first[i, machines] < batch.last[i, machines]
                for at in rows[free & (reason >= 0)]:
                    if reason[at] not in found[at][k]:
                        found[at][k].append(int(reason[at]))
        return [tuple(tuple(limits) for limits in one) for one in found]


def _margins(batch: Batch, active: Mask, machines: Indices, points: Indices) -> list[tuple[Margin, ...]]:
    """Give both sides of each requirement that counts at its worst inputs, for each machine."""
    at, r = np.nonzero(active[:, machines].T)
    m = machines[at]
    verdicts = decide(batch, m, points[:, m], r)
    requirements = batch.network.requirements
    sides = [np.array([getattr(q, side) for q in requirements], dtype=np.int64)[r] for side in ("left", "right")]
    left, right = batch.values(sides, points[:, m], verdicts.inputs)
    found: list[list[Margin]] = [[] for _ in machines]
    for q in range(r.size):
        found[at[q]].append(Margin(int(r[q]), float(left[q]), float(right[q]), verdicts.inputs[:, q]))
    return [tuple(one) for one in found]


def margins(problem: Problem, point: Indices, active: Sequence[int]) -> tuple[Margin, ...]:
    """Give both sides of each requirement at its worst inputs, at one lattice point."""
    counted = np.zeros((len(problem.network.requirements), 1), dtype=np.bool_)
    counted[list(active)] = True
    batch = Batch([problem])
    return _margins(batch, counted, batch.everyone, point[:, None])[0]


def plainly_refused(problem: Problem) -> bool:
    """Tell whether one look at all settings shows that some requirement fails even at the stated values."""
    batch = Batch([problem.stated_only()])
    hard = [q for q in problem.network.requirements if not q.soft]
    for q in hard:
        left, right, slack = (batch.whole[n] for n in (q.left, q.right, q.slack))
        size = max(float(np.max(np.abs(end))) for side in (left, right) for end in side)
        if float(np.max(slack.hi)) < -2 * TOLERANCE * size:
            return True
    return False
