"""Bands: the values of one setting that hold with the others kept, and what ends them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, Constraints
from .problem import UNKNOWN, Indices
from .proving import HOLDS, decide
from .scenarios import Scenarios
from .slopes import directions, signs_of
from .tape import Mask

LATTICE_END = -1
MERIT_END = -2

PLACES = 32
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

    def found(self) -> Bands:
        """Look closer until every end is known."""
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
    depends = batch.tape.depends
    bits = [[bool(depends[n] >> i & 1) for i in range(batch.setting_count)] for n in outputs]
    return np.array(bits, dtype=np.bool_).reshape(len(outputs), batch.setting_count)


def proved_bands(batch: Batch, scenarios: Scenarios, active: Mask, machines: Indices, points: Indices) -> Bands:
    """Find the bands of all settings, proved over the whole input ranges; rows are (settings, machines), raveled.

    The input values that break a value of a band become scenarios; a value that can be neither proved nor broken is
    left out as well. ``points`` is (settings, machines) for the machines asked.
    """
    setting = np.repeat(np.arange(batch.setting_count), machines.size)
    machine = np.tile(machines, batch.setting_count)
    wide = np.tile(points, batch.setting_count)
    at = wide[setting, np.arange(setting.size)]
    found = find_bands(batch, scenarios.of(active), machine, wide, setting)
    open_ = np.flatnonzero((found.first != at) | (found.last != at))
    for _ in range(MOST_ROUNDS):
        failing = _Failing(batch, active, machine, wide, setting, found, open_)
        open_ = failing.rows
        if not open_.size:
            return found
        for r, m, inputs in failing.scenarios:
            scenarios.add(m, r, inputs)
        closer = find_bands(batch, scenarios.of(active), machine[open_], wide[:, open_], setting[open_])
        found = failing.inside(found, closer, at)
    first, last = found.first.copy(), found.last.copy()
    first[open_], last[open_] = at[open_], at[open_]
    return replace(found, first=first, last=last)


class _Failing:
    """Proves bands in one batch; ``rows`` are those that fail, ``scenarios`` the input values that broke them.

    The two ends will do where the requirement has a proved direction along the band.
    """

    def __init__(
        self,
        batch: Batch,
        active: Mask,
        machine: Indices,
        points: Indices,
        setting: Indices,
        found: Bands,
        open_: Indices,
    ) -> None:
        requirements = batch.network.requirements
        touching = reach_of(batch, [r.slack for r in requirements])[:, setting[open_]] & active[:, machine[open_]]
        r, at = np.nonzero(touching)
        row = open_[at]
        wavering = self._wavering(batch, machine[row], points[:, row], setting[row], found, row, r)
        asked: list[tuple[int, int, int]] = []
        here = points[setting, np.arange(setting.size)]
        for q, b, whole in zip(r.tolist(), row.tolist(), wavering.tolist(), strict=True):
            first, last = int(found.first[b]), int(found.last[b])
            values = range(first, last + 1) if whole else {first, last}
            asked += [(b, k, q) for k in values if k != here[b]]
        self.row, self.index, self.requirement = (
            np.array(part, dtype=np.int64) for part in (zip(*asked, strict=True) if asked else ((), (), ()))
        )
        moved = points[:, self.row]
        moved[setting[self.row], np.arange(self.row.size)] = self.index
        verdicts = decide(batch, machine[self.row], moved, self.requirement)
        bad = np.flatnonzero(verdicts.holds != HOLDS)
        self.row, self.index, self.requirement = self.row[bad], self.index[bad], self.requirement[bad]
        self.rows = np.unique(self.row)
        self.scenarios = [
            (int(q), int(machine[b]), verdicts.inputs[:, at])
            for q, b, at in zip(self.requirement, self.row, bad, strict=True)
        ]

    @staticmethod
    def _wavering(
        batch: Batch,
        machine: Indices,
        points: Indices,
        setting: Indices,
        found: Bands,
        row: Indices,
        requirement: Indices,
    ) -> NDArray[np.bool_]:
        """Tell where the direction of a requirement along a band is not proved for all input values."""
        slack = np.array([r.slack for r in batch.network.requirements], dtype=np.int64)[requirement]
        proved = directions(batch)
        rows = np.array([proved.row[int(n)] for n in slack], dtype=np.int64)
        wavering: Mask = proved.signs[rows, setting, machine] == UNKNOWN
        open_ = np.flatnonzero(wavering)
        if open_.size:
            first, last = points[:, open_], points[:, open_]
            columns = np.arange(open_.size)
            first[setting[open_], columns] = found.first[row[open_]]
            last[setting[open_], columns] = found.last[row[open_]]
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

    def inside(self, before: Bands, closer: Bands, at: Indices) -> Bands:
        """Cut the failing bands to those found closer, and to the values between what failed."""
        first, last, below, above = (a.copy() for a in (before.first, before.last, before.below, before.above))
        for k, b in enumerate(self.rows):
            mine = np.flatnonzero(self.row == b)
            failed = list(zip(self.index[mine].tolist(), self.requirement[mine].tolist(), strict=True))
            cuts = [(int(first[b]), int(below[b])), (int(closer.first[k]), int(closer.below[k]))]
            cuts += [(index + 1, r) for index, r in failed if index < at[b]]
            first[b], below[b] = max(cuts, key=lambda cut: cut[0])
            cuts = [(int(last[b]), int(above[b])), (int(closer.last[k]), int(closer.above[k]))]
            cuts += [(index - 1, r) for index, r in failed if index > at[b]]
            last[b], above[b] = min(cuts, key=lambda cut: cut[0])
        return Bands(first, last, below, above)
