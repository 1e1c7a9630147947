"""The best points of a batch by the preferences: searched, settled in the middle of what is left, and proved."""

from dataclasses import dataclass

import numpy as np

from .bands import Grid
from .batch import Batch, Constraints
from .problem import Indices
from .proving import BROKEN, HOLDS, decide
from .scenarios import Scenarios
from .search import BEST_SO_FAR, FOUND, UNDECIDED, Search, Status
from .settling import settle
from .tape import Mask

MOST_REPAIRS = 40
MOST_LOOKS = 4


@dataclass(frozen=True, slots=True)
class Best:
    """Points (settings, machines) and what came of each machine; ``active`` tells which requirements count.

    ``certified`` tells where every other box was refuted or cannot beat the point. ``grid`` has bands found on the way.
    """

    points: Indices
    status: Status
    active: Mask
    certified: Mask
    grid: Grid | None


class Optimiser:
    """Looks for points. Status and points are by machine; columns of machines that were not asked for mean nothing."""

    def __init__(self, batch: Batch, effort: int) -> None:
        self.batch = batch
        self.effort = effort
        self.scenarios = Scenarios(batch)
        self.grid: Grid | None = None

    def best(self) -> Best:
        """Find the best point of every machine that has one."""
        active, status = self._with_soft()
        asked = np.flatnonzero(status == FOUND)
        ladder = self._optimise(active, asked)
        status[asked] = ladder.status[asked]
        return Best(ladder.chosen, status, active, np.asarray(ladder.certified.all(axis=0)), self.grid)

    def feasible(self, active: Mask, machines: Indices) -> Status:
        """Tell whether some settings meet the requirements that count, for all input values."""
        batch = self.batch
        status = np.full(batch.count, UNDECIDED, dtype=np.int8)
        open_ = np.asarray(machines)
        for _ in range(MOST_REPAIRS):
            if not open_.size:
                break
            points, ended = Search(batch, self.scenarios.of(active), self.effort).run(open_)
            status[open_] = ended[open_]
            open_ = open_[ended[open_] == FOUND]
            r, at = np.nonzero(active[:, open_])
            verdicts = decide(batch, open_[at], points[:, open_[at]], r)
            broken = np.bincount(at, weights=verdicts.holds != HOLDS, minlength=open_.size) > 0
            status[open_[broken]] = UNDECIDED
            new = [
                self.scenarios.add(int(open_[at[q]]), int(r[q]), verdicts.inputs[:, q])
                for q in np.flatnonzero(verdicts.holds == BROKEN)
            ]
            # Where nothing new was found it is neither proved nor broken within the limits of the proof.
            open_ = np.unique(open_[at[verdicts.holds == BROKEN]][np.array(new, dtype=np.bool_)])
        return status

    def _with_soft(self) -> tuple[Mask, Status]:
        """Take in wants that say 'if possible' one by one, by name; give what counts for each machine."""
        requirements, batch = self.batch.network.requirements, self.batch
        hard = np.array([not q.soft for q in requirements], dtype=np.bool_)
        active = np.repeat(hard[:, None], batch.count, axis=1)
        status = np.full(batch.count, FOUND, dtype=np.int8)
        soft = sorted(np.flatnonzero(~hard), key=lambda r: requirements[r].name)
        if soft:
            status = self.feasible(active, batch.everyone)
        for r in soft:
            asked = np.flatnonzero(status == FOUND)
            active[r, asked] = True
            ended = self.feasible(active, asked)
            active[r] &= ended == FOUND
            status[asked] = np.where(ended[asked] == UNDECIDED, UNDECIDED, FOUND)
        return active, status

    def _optimise(self, active: Mask, machines: Indices) -> "_Ladder":
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
        return ladder

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
