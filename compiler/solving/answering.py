"""The whole solve: preferences in order, then the middle, then proof, bands and margins; many machines at once."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..network.graph import Merit, Network
from .bands import Band, Bands, Grid, find_bands
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
MOST_LOOKS = 4
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
        active = [[r for r, q in enumerate(n.requirements) if not q.soft] for n in networks]
    found: list[bool | None] = [None] * len(networks)
    for members in _alike(networks):
        batch = Batch(problems([networks[k] for k in members]))
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
    outcomes = _Solve(Batch(asked), effort).answers(True)
    failed = [m for m, outcome in enumerate(outcomes) if outcome is None]
    if failed:
        stated = [asked[m].stated_only() for m in failed]
        for m, problem, outcome in zip(failed, stated, _Solve(Batch(stated), effort).answers(False), strict=True):
            asked[m].boxes = problem.boxes
            outcomes[m] = outcome
    return [_refused(asked[m], effort) if o is None else o for m, o in enumerate(outcomes)]


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
        self.grid: Grid | None = None

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

        The best point of every merit is proved, not only the last: what may be given back is a share of what can be
        had. All are proved together; where one breaks, its machine is searched again from that merit on.
        """
        ladder = _Ladder(self.batch, machines)
        open_ = machines
        for _ in range(MOST_REPAIRS):
            if not open_.size:
                break
            for k in range(ladder.steps):
                todo = open_[(ladder.stage[open_] <= k) & (ladder.status[open_] == FOUND)]
                self._climb(active, ladder, k, todo)
            open_ = open_[ladder.status[open_] == FOUND]
            ladder.settle(self.scenarios.of(active), open_)
            open_ = self._stand(active, ladder, open_)
        ladder.status[open_] = UNDECIDED
        self.certified = np.asarray(ladder.certified.all(axis=0))
        return ladder.chosen, ladder.status

    def _climb(self, active: Mask, ladder: "_Ladder", k: int, machines: Indices) -> None:
        """Search for a step, again where a look at more corners breaks what was found."""
        for _ in range(MOST_LOOKS):
            if not machines.size:
                break
            constraints = self.scenarios.of(active).plus(ladder.bounds(k))
            search = Search(self.batch, constraints, self.effort, ladder.merit(k))
            ladder.climb(k, machines, *search.run(machines, ladder.points[k - 1] if k else None))
            machines = self.scenarios.look(active, machines[ladder.status[machines] == FOUND], ladder.points[k])

    def _stand(self, active: Mask, ladder: "_Ladder", open_: Indices) -> Indices:
        """Prove the points of some machines; note what breaks them, and give the machines to be searched again."""
        if not open_.size:
            return open_
        r, at = np.nonzero(active[:, open_])
        steps = [*ladder.points, ladder.settled]
        asked = [(open_[at], points[:, open_[at]], r) for points in steps]
        # Whoever stands will be asked for bands: they are proved in the same rounds.
        grid = Grid(self.batch, active, open_, ladder.settled[:, open_])
        grid.find(self.scenarios)
        self.grid = grid
        row, _, requirement, moved = grid.questions(np.arange(grid.setting.size))
        asked.append((grid.machine[row], moved, requirement))
        found = decide(self.batch, *(np.concatenate(part, axis=-1) for part in zip(*asked, strict=True)))
        holds = found.holds[: len(steps) * r.size].reshape(len(steps), r.size)
        again = []
        for k, m in enumerate(open_.tolist()):
            mine = at == k
            failing = np.flatnonzero([not (row == HOLDS).all() for row in holds[:, mine]])
            if not failing.size:
                ladder.chosen[:, m] = ladder.settled[:, m]
                continue
            s, q = np.nonzero((holds == BROKEN) & mine)
            new = [self.scenarios.add(m, int(r[b]), found.inputs[:, a * r.size + b]) for a, b in zip(s, q, strict=True)]
            first = int(failing[0])
            if any(new):
                ladder.stage[m] = first
                again.append(m)
            elif first == ladder.steps:
                # Neither proved nor broken within the limits of the proof: then what was proved stands unsettled.
                ladder.chosen[:, m] = ladder.points[-1][:, m]
            else:
                ladder.status[m] = UNDECIDED
        return np.array(again, dtype=np.int64)

    # ---- what is told of the answers

    def _told(self, active: Mask, points: Indices, machines: Indices, robust: bool) -> list[Answer]:
        batch, count = self.batch, self.batch.setting_count
        bands = self._bands(active, machines, points[:, machines])
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
                self.effort,
            )
            for at, m in enumerate(machines)
        ]

    def _bands(self, active: Mask, machines: Indices, points: Indices) -> Bands:
        """Give proved bands; those found when the points were proved are taken where they are of the same points."""
        grid = self.grid
        same = grid is not None and np.array_equal(grid.machine[: machines.size], machines)
        if grid is None or not same or not np.array_equal(grid.points[:, : machines.size], points):
            grid = Grid(self.batch, active, machines, points)
            grid.find(self.scenarios)
        grid.prove(self.scenarios)
        return grid.found

    def _limits(self, active: Mask, points: Indices, machines: Indices) -> list[tuple[tuple[int, ...], ...]]:
        """Name what keeps each merit from growing: what ends the bands of the settings that move it.

        The bands are taken where there is room: a setting that took its end only because nothing else mattered must
        not look like a limit.
        """
        batch, plain = self.batch, self.scenarios.of(active)
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


class _Ladder:
    """The points found for each merit in turn, by machine, and the settled one after them.

    ``stage`` is the first step that is not proved, ``certified`` (steps, machines) whether each search ended by itself.
    A network without merits has one step, any point.
    """

    def __init__(self, batch: Batch, machines: Indices) -> None:
        self.batch = batch
        self.merits = len(batch.network.merits)
        self.steps = max(1, self.merits)
        self.points = [np.zeros_like(batch.first) for _ in range(self.steps)]
        self.values = np.zeros((self.steps, batch.count))
        self.settled, self.chosen = np.zeros_like(batch.first), np.zeros_like(batch.first)
        self.stage = np.zeros(batch.count, dtype=np.int64)
        self.certified = np.ones((self.steps, batch.count), dtype=np.bool_)
        self.status = np.full(batch.count, UNDECIDED, dtype=np.int8)
        self.status[machines] = FOUND

    def merit(self, k: int) -> int | None:
        """Give the merit of a step."""
        return k if self.merits else None

    def bounds(self, k: int) -> Constraints:
        """Ask for what the steps before ``k`` have reached, less what may be given back."""
        bounds = self.batch.nothing()
        for merit in range(min(k, self.merits)):
            share = self.batch.network.profile.share if merit + 1 < self.merits else 0.0
            value = self.values[merit]
            bounds = bounds.plus(self.batch.threshold(merit, value - share * np.abs(value)))
        return bounds

    def climb(self, k: int, machines: Indices, points: Indices, ended: Status) -> None:
        """Take in what a search for step ``k`` has found."""
        self.points[k][:, machines] = points[:, machines]
        self.certified[k, machines] = ended[machines] != BEST_SO_FAR
        found = np.isin(ended[machines], (FOUND, BEST_SO_FAR))
        self.status[machines[~found]] = ended[machines[~found]]
        if self.merits and found.any():
            kept = machines[found]
            self.values[k, kept] = self.batch.merit(k, kept, points[:, kept])

    def settle(self, constraints: Constraints, machines: Indices) -> None:
        """Move what the preferences leave open."""
        if machines.size:
            bounded = constraints.plus(self.bounds(self.steps))
            self.settled[:, machines] = settle(self.batch, bounded, machines, self.points[-1])[:, machines]
