"""Bands: the values of one setting that hold with the others kept, and what ends them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .batch import FEW_ROWS, Batch, Constraints
from .problem import UNKNOWN, Indices
from .proving import HOLDS, decide
from .scenarios import Scenarios
from .slopes import directions, signs_of
from .tape import Mask

LATTICE_END = -1
MERIT_END = -2

PLACES = 16
"""Values at which each way of a long band is looked at; then closer, where it was seen to end."""

MOST_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Band:
    """Lattice indices from ``first`` to ``last`` hold; ``below`` and ``above`` say what ends the band there.

    An end is the index of a requirement, ``LATTICE_END`` (the lattice, or a pin) or ``MERIT_END`` (a preference).
    """

    first: int
    last: int
    below: int
    above: int


@dataclass(frozen=True, slots=True)
class Bands:
    """Bands as arrays, one a row; see ``Band``."""

    first: Indices
    last: Indices
    below: Indices
    above: Indices

    def row(self, at: int) -> Band:
        """Give one."""
        return Band(int(self.first[at]), int(self.last[at]), int(self.below[at]), int(self.above[at]))


def find_bands(batch: Batch, constraints: Constraints, machine: Indices, points: Indices, setting: Indices) -> Bands:
    """Find the unbroken band of a setting around a point at which all constraints hold.

    Each row is a machine, a point (settings, rows) and a setting. Values between the places looked at are taken to
    hold: that is proved afterwards, where it matters.
    """
    return _Bands(batch, constraints, machine, points, setting).found()


class _Bands:
    def __init__(
        self, batch: Batch, constraints: Constraints, machine: Indices, points: Indices, setting: Indices
    ) -> None:
        self.batch, self.constraints = batch, constraints
        self.machine, self.points, self.setting = machine, points, setting
        rows = np.arange(setting.size)
        at = points[setting, rows]
        # Two ways a row, downwards first: the last value known to hold, the nearest known to fail (or one beyond the
        # lattice), and why.
        self.good = np.stack([at, at])
        self.bad = np.stack([batch.first[setting, machine] - 1, batch.last[setting, machine] + 1])
        self.reason = np.full((2, setting.size), LATTICE_END, dtype=np.int64)
        self.bites: Mask = np.stack([self._touched()] * 2)
        """Which constraints (ways, constraints, rows) may end the band on that way."""

    def _touched(self) -> Mask:
        """Tell which constraints depend on the setting of each row."""
        reach = reach_of(self.batch, self.constraints.output)
        touched: Mask = reach[:, self.setting] & self.constraints.present[:, self.machine]
        return touched

    def _look_far(self) -> None:
        """Set aside what has a proved direction and holds at the end of the lattice: it holds all the way.

        That changes no band; it saves rows where there are many.
        """
        batch = self.batch
        proved = directions(batch).of(self.constraints.output)[:, self.setting, self.machine]
        way, c, row = np.nonzero(self.bites & (proved != UNKNOWN))
        if not row.size:
            return
        ends = np.stack([batch.first[self.setting, self.machine], batch.last[self.setting, self.machine]])
        tried = self.points[:, row]
        tried[self.setting[row], np.arange(row.size)] = ends[way, row]
        slack = batch.slacks(self.constraints, c, self.machine[row], tried)
        holds = slack >= 0
        self.bites[way[holds], c[holds], row[holds]] = False

    def found(self) -> Bands:
        """Look closer until every end is known."""
        if np.count_nonzero(self.bites) * PLACES > FEW_ROWS:
            self._look_far()
        free: Mask = np.asarray(~self.bites.any(axis=1))
        self.good[free] = (self.bad + np.array([[1], [-1]]))[free]
        while True:
            between = np.abs(self.bad - self.good) - 1
            way, row = np.nonzero(between)
            if not way.size:
                break
            self._look(way, row, between[way, row])
        return Bands(self.good[0], self.good[1], self.reason[0], self.reason[1])

    def _look(self, way: Indices, row: Indices, between: Indices) -> None:
        """Evaluate the constraints at some places of each open end, and take in what is seen."""
        batch, count = self.batch, way.size
        few = between <= PLACES
        k = np.arange(PLACES)[:, None]
        steps = np.where(few, np.minimum(k + 1, between), 1 + (between - 1) * k // (PLACES - 1))
        places = self.good[way, row] + np.where(way == 1, 1, -1) * steps
        bites = self.bites[way, :, row].T
        c, end = np.nonzero(bites)
        tried = np.repeat(self.points[:, row[end]], PLACES, axis=1)
        owners = np.repeat(np.arange(end.size), PLACES)
        tried[np.repeat(self.setting[row[end]], PLACES), np.arange(owners.size)] = places.T[end].ravel()
        slack = batch.slacks(self.constraints, c[owners], self.machine[row[end]][owners], tried)
        fails = np.zeros((bites.shape[0], count, PLACES), dtype=np.bool_)
        fails[c, end] = ~(slack.reshape(-1, PLACES) >= 0)
        broken: Mask = np.asarray(fails.any(axis=0))
        failing = np.where(broken.any(axis=1), np.argmax(broken, axis=1), PLACES)
        ladder = np.concatenate([self.good[way, row][None], places, self.bad[way, row][None]])
        columns = np.arange(count)
        stopped = failing < PLACES
        self.good[way, row] = ladder[failing, columns]
        self.bad[way, row] = np.where(stopped, ladder[np.minimum(failing + 1, PLACES), columns], self.bad[way, row])
        at = columns[stopped]
        self.reason[way[at], row[at]] = self._reasons(fails[:, at, failing[at]])
        # What holds at the far end and has a proved direction holds all the way.
        far = fails[:, :, -1] | ~bites
        proved = directions(batch).of(self.constraints.output)[:, self.setting[row], self.machine[row]]
        self.bites[way, :, row] = (bites & ((proved == UNKNOWN) | far)).T

    def _reasons(self, broken: Mask) -> Indices:
        """Choose, where several constraints (constraints, ends) end a band at once, what says it most directly."""
        depends = self.batch.tape.depends
        outputs = self.constraints.output
        order = sorted(range(len(outputs)), key=lambda c: (depends[outputs[c]].bit_count(), outputs[c]))
        requirement = np.array(self.constraints.requirement)[order]
        found = requirement[np.argmax(broken[order], axis=0)]
        return np.where(found >= 0, found, MERIT_END)


def reach_of(batch: Batch, outputs: Sequence[int]) -> Mask:
    """Tell which settings each output depends on: (outputs, settings)."""
    key = ("reach", *outputs)
    found: Mask | None = batch.kept.get(key)
    if found is None:
        depends = batch.tape.depends
        bits = [[bool(depends[n] >> i & 1) for i in range(batch.setting_count)] for n in outputs]
        found = batch.kept[key] = np.array(bits, dtype=np.bool_).reshape(len(outputs), batch.setting_count)
    return found


class Grid:
    """The bands of all settings of some machines at a point each; rows are (settings, machines), raveled."""

    def __init__(self, batch: Batch, active: Mask, machines: Indices, points: Indices) -> None:
        """Take ``points`` (settings, machines) and the requirements that count."""
        self.batch, self.active = batch, active
        self.setting = np.repeat(np.arange(batch.setting_count), machines.size)
        self.machine = np.tile(machines, batch.setting_count)
        self.points = np.tile(points, batch.setting_count)
        self.at = self.points[self.setting, np.arange(self.setting.size)]
        self.found = Bands(self.at, self.at, self.at, self.at)

    def find(self, scenarios: Scenarios) -> None:
        """Find the bands under the scenarios; they are not proved yet."""
        constraints = scenarios.of(self.active)
        self.found = find_bands(self.batch, constraints, self.machine, self.points, self.setting)

    def questions(self, rows: Indices) -> tuple[Indices, Indices, Indices, Indices]:
        """List what proves bands: row, index on the lattice, requirement, and the point.

        The two ends will do where the requirement has a proved direction along the band.
        """
        reach = reach_of(self.batch, self.batch.slack_nodes.tolist())
        r, at = np.nonzero(reach[:, self.setting[rows]] & self.active[:, self.machine[rows]])
        row = rows[at]
        first, last, here = self.found.first[row], self.found.last[row], self.at[row]
        whole = self._wavering(row, r)
        asked = [np.flatnonzero(first != here), np.flatnonzero((last != here) & (last != first))]
        index = [first[asked[0]], last[asked[1]]]
        for q in np.flatnonzero(whole):
            inner = np.setdiff1d(np.arange(first[q] + 1, last[q]), [here[q]])
            asked.append(np.full(inner.size, q))
            index.append(inner)
        chosen, values = np.concatenate(asked), np.concatenate(index)
        moved = self.points[:, row[chosen]]
        moved[self.setting[row[chosen]], np.arange(chosen.size)] = values
        return row[chosen], values, r[chosen], moved

    def _wavering(self, row: Indices, requirement: Indices) -> Mask:
        """Tell where the direction of a requirement along a band is not proved for all input values."""
        batch, setting, machine = self.batch, self.setting[row], self.machine[row]
        slack, proved = batch.slack_nodes[requirement], directions(batch)
        wavering: Mask = proved.signs[proved.rows(slack), setting, machine] == UNKNOWN
        open_ = np.flatnonzero(wavering & (self.found.first[row] < self.found.last[row]))
        if open_.size:
            first, last = self.points[:, row[open_]], self.points[:, row[open_]]
            columns = np.arange(open_.size)
            first[setting[open_], columns] = self.found.first[row[open_]]
            last[setting[open_], columns] = self.found.last[row[open_]]
            moving = [int(i) for i in np.unique(setting[open_])]
            boxes = batch.enclosed(
                slack[open_],
                (batch.settings_at(first), batch.low[:, machine[open_]]),
                (batch.settings_at(last), batch.high[:, machine[open_]]),
                slopes=moving,
            )
            own = np.searchsorted(moving, setting[open_]), columns
            sign = signs_of(boxes.slopes.lo[own], boxes.slopes.hi[own])
            wavering[open_] = (sign == UNKNOWN) | ~boxes.defined
        return wavering

    def prove(self, scenarios: Scenarios) -> None:
        """Prove the bands over the whole input ranges, cut where that fails.

        The input values that break a value of a band become scenarios; a value that can be neither proved nor broken
        is left out as well.
        """
        open_ = np.flatnonzero((self.found.first != self.at) | (self.found.last != self.at))
        for _ in range(MOST_ROUNDS):
            row, index, requirement, moved = self.questions(open_)
            verdicts = decide(self.batch, self.machine[row], moved, requirement)
            bad = np.flatnonzero(verdicts.holds != HOLDS)
            open_ = np.unique(row[bad])
            if not open_.size:
                return
            for q in bad:
                scenarios.add(int(self.machine[row[q]]), int(requirement[q]), verdicts.inputs[:, q])
            constraints = scenarios.of(self.active)
            closer = find_bands(
                self.batch, constraints, self.machine[open_], self.points[:, open_], self.setting[open_]
            )
            self._cut(open_, closer, row[bad], index[bad], requirement[bad])
        self.found.first[open_], self.found.last[open_] = self.at[open_], self.at[open_]

    def _cut(self, open_: Indices, closer: Bands, row: Indices, index: Indices, requirement: Indices) -> None:
        """Cut bands to those found closer, and to the values between those that failed."""
        first, last, below, above = (self.found.first, self.found.last, self.found.below, self.found.above)
        for k, b in enumerate(open_):
            mine = np.flatnonzero(row == b)
            failed = list(zip(index[mine].tolist(), requirement[mine].tolist(), strict=True))
            cuts = [(int(first[b]), int(below[b])), (int(closer.first[k]), int(closer.below[k]))]
            cuts += [(i + 1, r) for i, r in failed if i < self.at[b]]
            first[b], below[b] = max(cuts, key=lambda cut: cut[0])
            cuts = [(int(last[b]), int(above[b])), (int(closer.last[k]), int(closer.above[k]))]
            cuts += [(i - 1, r) for i, r in failed if i > self.at[b]]
            last[b], above[b] = min(cuts, key=lambda cut: cut[0])
