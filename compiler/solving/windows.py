"""Windows: what is to spare of every requirement over two settings, the others kept or given all their room.

A window is evaluated, not searched: each requirement at its worst input values on a grid of two settings. The values
of inputs whose direction is proved are the worst; the others are tried at both ends, and where the answer had them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .answering import Answer
from .bands import find_bands, reach_of
from .batch import Batch
from .problem import TOLERANCE, UNKNOWN, Indices, Problem
from .proving import HOLDS, decide
from .slopes import directions, worst_inputs
from .tape import Floats, Mask

FINE, COARSE = 25, (13, 11)
"""Places along each side of the grid for lines, and at most so many across and up of the one for reading off."""

SCOUTED = 24
"""Places along each side at which it is looked where anything holds at all."""

PAD, LEAST_STEPS = 0.25, 1
"""What is shown around the part that holds: a share of it, and so many lattice steps at least."""

MOST_TURNED = 4
"""Inputs of unproved direction that are tried at both ends, all against all."""

MOST_PLACES = 8_000
"""Places of one pass over the tape: more would not fit the caches of a processor."""

WIDE = 20.0
"""A lattice whose last value is so many times its first is scouted by equal factors instead of equal steps."""


@dataclass(frozen=True, slots=True)
class Grid:
    """What is to spare over two settings: ``x`` and ``y`` in base units, ``shares`` (y, x) by requirement."""

    x: Floats
    y: Floats
    shares: Mapping[int, Floats]


@dataclass(frozen=True, slots=True)
class Window:
    """A window of one machine. ``across`` and ``up`` are settings; ``fine`` is for lines, ``coarse`` on the lattice.

    ``followers`` are settings that stand where they give most room, at ``room``; all others stand where the answer
    has them. ``doubtful`` are requirements whose worst input values are not proved to be among those tried.
    """

    across: int
    up: int
    fine: Grid
    coarse: Grid
    followers: tuple[int, ...]
    room: tuple[int, ...]
    doubtful: frozenset[int]


def axes(problem: Problem, across: Sequence[str], up: Sequence[str]) -> tuple[int, int] | None:
    """Choose two settings to span a window: those named first that are there, else those that decide most.

    None where fewer than two are open. Settings that move the first merit come first, then those on which most
    requirements hang.
    """
    network, depends = problem.network, problem.tape.depends
    names = [s.decl.name for s in network.settings]
    touched = [sum(depends[q.slack] >> i & 1 for q in network.requirements) for i in range(len(names))]
    moves = [bool(network.merits and depends[network.merits[0].node] >> i & 1) for i in range(len(names))]
    open_ = [i for i in range(len(names)) if problem.first[i] < problem.last[i] and (touched[i] or moves[i])]
    order = sorted(open_, key=lambda i: (not moves[i], -touched[i], names[i]))
    named_up = [names.index(n) for n in up if n in names and touched[names.index(n)]]
    first = (named_up or order or [-1])[0]
    named_across = [names.index(n) for n in across if n in names and touched[names.index(n)]]
    second = ([i for i in named_across if i != first] or [i for i in order if i != first] or [-1])[0]
    return None if first < 0 or second < 0 else (second, first)


def windows(problems: Sequence[Problem], answers: Sequence[Answer], pair: tuple[int, int]) -> list[Window]:
    """Look at the windows of machines that share a tape, over the settings ``pair`` (across, up)."""
    return _Windows(problems, answers, pair).found()


def _whole(problem: Problem, answer: Answer, pair: tuple[int, int]) -> Problem:
    """Open the two settings to all of their lattices, and take the input values that the answer is for."""
    opened = Problem(problem.network, problem.tape)
    for i in pair:
        opened.first[i], opened.last[i] = 0, problem.network.settings[i].decl.last
    if not answer.robust:
        opened.low = opened.high = opened.stated
    return opened


class _Windows:
    def __init__(self, problems: Sequence[Problem], answers: Sequence[Answer], pair: tuple[int, int]) -> None:
        self.batch = Batch([_whole(p, a, pair) for p, a in zip(problems, answers, strict=True)])
        self.across, self.up = pair
        self.points = np.stack([a.point for a in answers], axis=1)
        self.active = self.batch.counting([[m.requirement for m in a.margins] for a in answers])
        self.known = [{m.requirement: m.inputs for m in a.margins} for a in answers]
        nodes = self.batch.slack_nodes.tolist()
        reach = reach_of(self.batch, nodes)
        self.crossing = np.asarray(reach[:, self.across] | reach[:, self.up])
        """Which requirements hang on one of the two settings."""
        self.wanted = [int(r) for r in np.flatnonzero(self.crossing & self.active.any(axis=1))]
        self.signs = directions(self.batch).of(nodes)
        self.reach = reach
        self.worst = worst_inputs(self.batch)
        self.corners = {r: self._corners(r) for r in self.wanted}

    def found(self) -> list[Window]:
        """Give each machine room, find where anything holds, and look there closely."""
        room, moved = self._room()
        settings = self.batch.settings_at(room)
        scouted = [self._scouted(i) for i in (self.across, self.up)]
        x, y = (np.take_along_axis(self._lattice(i)[None], at, 1) for i, at in zip(self._pair, scouted, strict=True))
        holds = self._holding(self._shares(settings, x, y, 1))
        sides = self._side(self.across, x, holds, 1), self._side(self.up, y, holds, 2)
        fine = [np.linspace(low, high, FINE, axis=1) for low, high in sides]
        coarse = [
            self._read(i, low, high, most) for i, (low, high), most in zip(self._pair, sides, COARSE, strict=True)
        ]
        levelled = [_level(places) for places in coarse]
        shares = self._shares(settings, fine[0], fine[1])
        read = self._shares(settings, levelled[0], levelled[1])
        return [
            Window(
                self.across,
                self.up,
                self._grid(m, fine[0][m], fine[1][m], shares),
                self._grid(m, coarse[0][m], coarse[1][m], read),
                tuple(int(i) for i in np.flatnonzero(moved[:, m])),
                tuple(int(k) for k in room[:, m]),
                frozenset(r for r in self.wanted if self.active[r, m] and self._unsure(r)[:, m].sum() > MOST_TURNED),
            )
            for m in range(self.batch.count)
        ]

    def _grid(self, m: int, x: Floats, y: Floats, shares: Mapping[int, Floats]) -> Grid:
        own = [r for r in self.wanted if self.active[r, m]]
        return Grid(x, y, {r: shares[r][m, : y.size, : x.size] for r in own})

    @property
    def _pair(self) -> tuple[int, int]:
        return self.across, self.up

    def _lattice(self, i: int) -> Floats:
        return self.batch.lattices[i]

    # ---- input values

    def _unsure(self, r: int) -> Mask:
        """Tell for which inputs (inputs, machines) it is not proved which way they move a requirement."""
        return np.asarray(self.signs[r, self.batch.setting_count :] == UNKNOWN)

    def _corners(self, r: int) -> list[Floats]:
        """Give input values (inputs, machines) at which a requirement may be closest."""
        first = self.worst[:, r]
        turned = np.flatnonzero(self._unsure(r).any(axis=1))[:MOST_TURNED]
        found = []
        for way in range(2**turned.size):
            corner = first.copy()
            for bit, i in enumerate(turned):
                corner[i] = (self.batch.low if way >> bit & 1 else self.batch.high)[i]
            found.append(corner)
        if turned.size:
            known = [one.get(r, first[:, m]) for m, one in enumerate(self.known)]
            found.append(np.stack(known, axis=1))
        return found

    # ---- room

    def _room(self) -> tuple[Indices, Mask]:
        """Move settings that only make room for the two out of their way; gives the points, and which were moved.

        Such a setting names the end it would rather have, does not move the first merit, and all requirements that
        hang on the two settings push it one way. It goes that way as far as the requirements hold that hang on
        neither of them. Where that is not proved in the end, nothing is moved.
        """
        batch, settings = self.batch, self.batch.network.settings
        room, moved = self.points.copy(), np.zeros(self.points.shape, dtype=np.bool_)
        rest = [int(r) for r in np.flatnonzero(~self.crossing & self.active.any(axis=1))]
        kept = batch.at(rest, self.worst[:, rest], self.active[rest])
        merits = batch.network.merits
        first = batch.tape.depends[merits[0].node] if merits else 0
        for i in batch.by_name:
            if i in self._pair or not settings[i].decl.rather or first >> i & 1:
                continue
            pushes = np.where(self.active[self.wanted], self.signs[self.wanted, i], 0)
            rises, falls = (pushes == 1).any(axis=0), (pushes == -1).any(axis=0)
            sure = (pushes != UNKNOWN).all(axis=0) & (batch.first[i] < batch.last[i]) & (rises != falls)
            machines = np.flatnonzero(sure)
            if not machines.size:
                continue
            bands = find_bands(batch, kept, machines, room[:, machines], np.full(machines.size, i))
            room[i, machines] = np.where(rises[machines], bands.last, bands.first)
            moved[i, machines] = True
        self._give_way(room, moved, first)
        return self._proved(rest, room, moved)

    def _give_way(self, room: Indices, moved: Mask, merit: int) -> None:
        """Move what else would rather be low or high away from that end, as far as all holds at the chosen place.

        It is moved where that may give room to a requirement that hangs on the two settings, once more in a second
        round: what one of them leaves, another can take.
        """
        batch, settings = self.batch, self.batch.network.settings
        outputs = list(range(len(self.crossing)))
        kept = batch.at(outputs, self.worst[:, outputs], self.active[outputs])
        for i in [*batch.by_name] * 2:
            lean = settings[i].decl.rather
            signs, reached = self.signs[self.wanted, i], self.reach[self.wanted, i, None]
            helped = (signs == 1) if lean == "low" else (signs != 1)
            helps = (helped & reached & self.active[self.wanted]).any(axis=0)
            machines = np.flatnonzero(~moved[i] & helps & (batch.first[i] < batch.last[i]))
            if i in self._pair or not lean or merit >> i & 1 or not machines.size:
                continue
            bands = find_bands(batch, kept, machines, room[:, machines], np.full(machines.size, i))
            ends = bands.first if lean == "high" else bands.last
            changed = machines[ends != room[i, machines]]
            room[i, changed] = ends[ends != room[i, machines]]
            moved[i, changed] = True

    def _proved(self, rest: Sequence[int], room: Indices, moved: Mask) -> tuple[Indices, Mask]:
        """Keep what was moved only on machines where the requirements that hang on it are proved to hold still."""
        asked = [(m, r) for m in range(self.batch.count) for r in rest if (self.reach[r] & moved[:, m]).any()]
        asked = [(m, r) for m, r in asked if self.active[r, m]]
        if asked:
            machine, requirement = (np.array(a) for a in zip(*asked, strict=True))
            verdicts = decide(self.batch, machine, room[:, machine], requirement)
            broken = np.unique(machine[verdicts.holds != HOLDS])
            room[:, broken], moved[:, broken] = self.points[:, broken], False
        return room, moved

    # ---- values

    def _shares(self, settings: Floats, x: Floats, y: Floats, most: int | None = None) -> dict[int, Floats]:
        """Give what is to spare of each requirement at its worst, over ``x`` and ``y`` (machines, places).

        Shares are of the larger side, as in margins; -1 where a side is not a number. ``most`` limits the corners that
        are looked at, where a rough look will do.
        """
        count = self.batch.count
        found = {r: np.full((count, y.shape[1], x.shape[1]), np.inf) for r in self.wanted}
        each = max(1, MOST_PLACES // (x.shape[1] * y.shape[1]))
        for start in range(0, count, each):
            part = slice(start, start + each)
            placed = [s[part, None, None] for s in settings]
            placed[self.across], placed[self.up] = x[part, None, :], y[part, :, None]
            for r in self.wanted:
                self._least(r, placed, part, found[r][part], self.corners[r][:most])
        return found

    def _least(self, r: int, placed: Sequence[Floats], part: slice, least: Floats, corners: Sequence[Floats]) -> None:
        """Lower ``least`` to what is to spare of a requirement at each of its corners."""
        left, right = self.batch.network.requirements[r].sides
        for corner in corners:
            nodes = self.batch.tape.values([*placed, *(v[part, None, None] for v in corner)], outputs=(left, right))
            with np.errstate(all="ignore"):
                size = np.maximum(np.abs(nodes[left]), np.abs(nodes[right]))
                share = np.where(size > 0, (nodes[right] - nodes[left]) / size, 0.0)
            np.minimum(least, np.where(np.isfinite(share), share, -1.0), out=least)

    def _holding(self, shares: Mapping[int, Floats]) -> Mask:
        """Tell where all requirements hold: (machines, y, x)."""
        parts = [(s >= -TOLERANCE) | ~self.active[r][:, None, None] for r, s in shares.items()]
        return np.asarray(np.logical_and.reduce(parts))

    # ---- places

    def _scouted(self, i: int) -> Indices:
        """Choose lattice places to look at: spread over all of it, and that of the answer (machines, places)."""
        values = self._lattice(i)
        if 0 < values[0] * WIDE < values[-1]:
            spread: Indices = np.searchsorted(values, np.geomspace(values[0], values[-1], SCOUTED) * (1 - 1e-12))
        else:
            spread = np.linspace(0, values.size - 1, SCOUTED).round().astype(np.int64)
        at = np.unique(np.minimum(spread, values.size - 1))
        found = np.tile(at, (self.batch.count, 1))
        nearest = np.abs(at - self.points[i][:, None]).argmin(axis=1)
        found[np.arange(self.batch.count), nearest] = self.points[i]
        return found

    def _side(self, i: int, places: Floats, holding: Mask, other: int) -> tuple[Floats, Floats]:
        """Give the ends (machines,) of what is shown along a setting: what holds, the next place, and some more."""
        values = self._lattice(i)
        count = places.shape[1]
        machines = np.arange(self.batch.count)
        at = np.arange(count)
        here = values[self.points[i]]
        # The answer itself holds; should rounding hide that, it is shown all the same.
        holds = holding.any(axis=other) | (places == here[:, None])
        first = np.where(holds, at, count).min(axis=1)
        last = np.where(holds, at, -1).max(axis=1)
        low, high = places[machines, np.maximum(first - 1, 0)], places[machines, np.minimum(last + 1, count - 1)]
        step = (values[-1] - values[0]) / max(values.size - 1, 1)
        pad = np.maximum(PAD * (high - low), LEAST_STEPS * step)
        return np.maximum(low - pad, values[0]), np.minimum(high + pad, values[-1])

    def _read(self, i: int, low: Floats, high: Floats, most: int) -> list[Floats]:
        """Choose lattice values for reading off between two ends, the answer's among them; one array a machine."""
        values, found = self._lattice(i), []
        for m in range(self.batch.count):
            inside = np.flatnonzero((values >= low[m] - 1e-12) & (values <= high[m] + 1e-12))
            chosen = int(self.points[i, m])
            each = max(1, -(-inside.size // most))
            at = inside[(inside - chosen) % each == 0]
            found.append(values[at])
        return found


def _level(places: Sequence[Floats]) -> Floats:
    """Stack arrays of different lengths; the shorter ones end with their last value again."""
    most = max(p.size for p in places)
    return np.stack([np.pad(p, (0, most - p.size), mode="edge") for p in places])
