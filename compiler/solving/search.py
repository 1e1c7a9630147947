"""Branch and prune over lattice boxes: contraction by proved monotonicity, dominance, best bound first.

All machines of a batch are searched at once: each round takes the best boxes of every machine that is not done.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, Constraints
from .problem import NO_BOUND, TOLERANCE, UNKNOWN, Indices
from .slopes import Signs, directions, setting_signs
from .tape import Floats, Mask

MOST_PASSES = 12
PARTS = 16
FEW_POINTS = 64
"""A box with no more points than this is settled by looking at each, without narrowing it first."""

MANY_POINTS = 4096
"""A narrowed box with no more points than this is settled by looking at each."""

STAGES = (256, 1024)
"""How many of its best points of a box are looked at first, and next."""

ROWS_AT_ONCE = 32768
"""Points that are looked at in one pass."""

AT_ONCE = 2
"""Boxes of one machine that a round takes."""

NONE, FOUND, BEST_SO_FAR, UNDECIDED = 0, 1, 2, 3
"""What came of a search: proved that there is no point; found (the best); the limit came first, with or without one."""

Status = NDArray[np.int8]


@dataclass(slots=True)
class Boxes:
    """Boxes of settings (settings, boxes), the machine of each, and signs (constraints, settings, boxes).

    ``live`` tells which constraints (constraints, boxes) may fail somewhere in a box.
    """

    machine: Indices
    first: Indices
    last: Indices
    signs: Signs
    live: Mask

    def take(self, which: Indices | Mask) -> "Boxes":
        """Copy some of the boxes."""
        return Boxes(
            self.machine[which],
            self.first[:, which],
            self.last[:, which],
            self.signs[:, :, which],
            self.live[:, which],
        )

    def put(self, which: Indices, other: "Boxes") -> None:
        """Take over what became of some of the boxes."""
        self.first[:, which], self.last[:, which], self.signs[:, :, which] = other.first, other.last, other.signs
        self.live[:, which] = other.live

    @property
    def points(self) -> Floats:
        """How many lattice points each box has."""
        with np.errstate(over="ignore"):
            points: Floats = np.prod(self.last - self.first + 1.0, axis=0)
        return points


_Box = tuple[Indices, Indices, Signs, Mask]
"""The ends of a box, the signs in it, and which constraints may fail somewhere in it."""


@dataclass(slots=True)
class _Queue:
    """The open boxes of one machine, best bound first, and the best point seen."""

    left: int
    heap: list[tuple[float, int, _Box]] = field(default_factory=list)
    pushed: int = 0
    best: Indices | None = None
    value: float = -np.inf

    @property
    def promising(self) -> bool:
        """Whether the next box may hold a better point."""
        return bool(self.heap) and (self.best is None or -self.heap[0][0] > self.value)

    def push(self, ceiling: float, box: _Box) -> None:
        heapq.heappush(self.heap, (-ceiling, self.pushed, box))
        self.pushed += 1


class Search:
    """Finds lattice points where constraints hold, for machines of a batch, within a limit of boxes for each."""

    def __init__(self, batch: Batch, constraints: Constraints, limit: int, merit: int | None = None) -> None:
        self.batch = batch
        self.merit = merit
        self.limit = limit
        if merit is not None:
            # The merit rides along as a constraint whose bound is the best found so far.
            constraints = constraints.plus(batch.threshold(merit, np.full(batch.count, NO_BOUND)))
        self.constraints = constraints
        self.queues: dict[int, _Queue] = {}

    def run(self, machines: Sequence[int] | Indices, known: Indices | None = None) -> tuple[Indices, Status]:
        """Search for points: any that holds, or with a merit the one that has most of it.

        ``known`` (settings, machines) holds already, to start from. Gives points (settings, machines) and what came of
        each machine; the columns of other machines mean nothing.
        """
        batch = self.batch
        points = np.zeros_like(batch.first)
        status = np.full(batch.count, UNDECIDED, dtype=np.int8)
        self._start(np.asarray(machines, dtype=np.int64), known)
        open_ = [int(m) for m in machines]
        while open_:
            taken: list[tuple[int, _Box]] = []
            for m in open_:
                ended = self._take(m, taken)
                if ended is not None:
                    status[m] = ended
            open_ = list(dict.fromkeys(m for m, _ in taken))
            self._round(taken)
        for m, queue in self.queues.items():
            if queue.best is not None:
                points[:, m] = queue.best
        return points, status

    def _start(self, machines: Indices, known: Indices | None) -> None:
        """Begin each machine's queue with the whole of its settings."""
        batch = self.batch
        signs = directions(batch).of(self.constraints.output)[:, : batch.setting_count]
        for m in machines:
            queue = self.queues[int(m)] = _Queue(self.limit)
            present = self.constraints.present[:, m]
            queue.push(np.inf, (batch.first[:, m].copy(), batch.last[:, m].copy(), signs[:, :, m], present))
        if known is not None and self.merit is not None:
            values = batch.merit(self.merit, machines, known[:, machines])
            for m, value in zip(machines, values, strict=True):
                self._improve(int(m), known[:, m], float(value))

    def _take(self, m: int, taken: "list[tuple[int, _Box]]") -> int | None:
        """Take the next boxes of a machine; where there are none, tell how its search ended."""
        queue = self.queues[m]
        if self.merit is None and queue.best is not None:
            return FOUND
        before = len(taken)
        while len(taken) < before + AT_ONCE and queue.promising and queue.left:
            queue.left -= 1
            self.batch.problems[m].boxes += 1
            taken.append((m, heapq.heappop(queue.heap)[2]))
        if len(taken) > before:
            return None
        if queue.promising:
            return UNDECIDED if queue.best is None else BEST_SO_FAR
        return NONE if queue.best is None else FOUND

    def _improve(self, m: int, point: Indices, value: float) -> None:
        """Take in a better point, and ask for more of the merit than it has."""
        queue = self.queues[m]
        queue.best, queue.value = point, value
        if self.merit is not None:
            self.constraints.bound[-1, m] = np.nextafter(value, np.inf) + 2 * TOLERANCE * abs(value)

    def _round(self, taken: list[tuple[int, _Box]]) -> None:
        """Look at some boxes: narrow them, try points, split what is left."""
        if not taken:
            return
        boxes = Boxes(
            np.array([m for m, _ in taken]),
            np.stack([b[0] for _, b in taken], axis=1),
            np.stack([b[1] for _, b in taken], axis=1),
            np.stack([b[2] for _, b in taken], axis=2),
            np.stack([b[3] for _, b in taken], axis=1),
        )
        if self.merit is not None:
            # The bound has risen since the box was made.
            boxes.live[-1] = True
        wide = boxes.points > FEW_POINTS
        if wide.any():
            part, kept = boxes.take(wide), ~wide
            kept[wide] = Narrowing(self.batch, self.constraints, part, self.merit is not None).run()
            boxes.put(np.flatnonzero(wide), part)
            boxes = boxes.take(kept)
        few = boxes.points <= MANY_POINTS
        self._probe(boxes.take(~few))
        self._look_at_all(boxes.take(few))
        self._split(boxes.take(~few))

    def _probe(self, boxes: Boxes) -> None:
        """Try a few points of each box."""
        if not boxes.machine.size:
            return
        middle = (boxes.first + boxes.last) // 2
        tried = [middle]
        if self.merit is not None:
            sign = boxes.signs[-1]
            tried.append(np.where(sign == 1, boxes.last, np.where(sign == -1, boxes.first, middle)))
            tried.append(np.where(sign == 1, boxes.first, np.where(sign == -1, boxes.last, middle)))
        tried += [boxes.first, boxes.last]
        owner = np.repeat(np.arange(boxes.machine.size), len(tried))
        points = np.stack(tried, axis=2).reshape(middle.shape[0], owner.size)
        c, p = np.nonzero(boxes.live[:, owner])
        slack = self.batch.slacks(self.constraints, c, boxes.machine[owner[p]], points[:, p])
        holds = np.bincount(p, weights=~(slack >= 0), minlength=owner.size) == 0
        self._keep_best(boxes, owner[holds], points[:, holds])

    def _look_at_all(self, boxes: Boxes) -> None:
        """Look at every point of each box, as many boxes at once as make a good pass."""
        start, rows = 0, np.cumsum(boxes.points)
        while start < rows.size:
            stop = max(start + 1, int(np.searchsorted(rows, (rows[start - 1] if start else 0) + ROWS_AT_ONCE, "right")))
            listed = [self._all_points(boxes.first[:, b], boxes.last[:, b]) for b in range(start, stop)]
            owner = np.repeat(np.arange(start, stop), [points.shape[1] for points in listed])
            self._look_at(boxes, owner, np.concatenate(listed, axis=1))
            start = stop

    def _look_at(self, boxes: Boxes, owner: Indices, points: Indices) -> None:
        """Look at points, those with most of the merit first: further down only where none of them holds."""
        stage = self._stages(owner, np.zeros(owner.size) if self.merit is None else self._merits(boxes, owner, points))
        done = np.zeros(boxes.machine.size, dtype=np.bool_)
        for k in range(len(STAGES) + 1):
            chosen = np.flatnonzero((stage == k) & ~done[owner])
            if chosen.size:
                held, at = self._sift(boxes, owner[chosen], points[:, chosen])
                self._keep_best(boxes, held, at)
                done[held] = True

    def _merits(self, boxes: Boxes, owner: Indices, points: Indices) -> Floats:
        assert self.merit is not None
        return self.batch.merit(self.merit, boxes.machine[owner], points)

    @staticmethod
    def _stages(owner: Indices, values: Floats) -> Indices:
        """Part the points of each box by how much merit they have; points that tie but for rounding stay together."""
        with np.errstate(all="ignore"):
            exponent = np.floor(np.log10(np.abs(values)))
            keys = np.nan_to_num(np.round(values / 10.0**exponent, 11) * 10.0**exponent, nan=0.0)
        order = np.lexsort((-keys, owner))
        first = np.searchsorted(owner, np.unique(owner))
        count = np.diff(np.append(first, owner.size))
        stage = np.zeros(owner.size, dtype=np.int64)
        for place in STAGES:
            last = order[first + np.minimum(place, count) - 1]
            stage += keys < np.repeat(keys[last], count)
        return stage

    def _sift(self, boxes: Boxes, owner: Indices, points: Indices) -> tuple[Indices, Indices]:
        """Leave out points that break a constraint, one constraint after another: what bounds the merit is cheapest."""
        for c in self._cheapest_first():
            asked = np.flatnonzero(boxes.live[c, owner])
            if asked.size:
                which = np.full(asked.size, c)
                slack = self.batch.slacks(self.constraints, which, boxes.machine[owner[asked]], points[:, asked])
                kept = np.ones(owner.size, dtype=np.bool_)
                kept[asked] = slack >= 0
                owner, points = owner[kept], points[:, kept]
        return owner, points

    def _cheapest_first(self) -> list[int]:
        """Order constraints by how much there is to evaluate for them."""
        constraints, tape = self.constraints, self.batch.tape
        return sorted(range(len(constraints)), key=lambda c: (tape.work_after(constraints.output[c]), c))

    def _keep_best(self, boxes: Boxes, owner: Indices, points: Indices) -> None:
        """Take in the best of the points that hold, box by box."""
        if not owner.size:
            return
        machine = boxes.machine[owner]
        if self.merit is None:
            for m, at in zip(*np.unique(machine, return_index=True), strict=True):
                self._improve(int(m), points[:, at].copy(), 0.0)
            return
        values = self._merits(boxes, owner, points)
        for box in np.unique(owner):
            mine = np.flatnonzero(owner == box)
            # The first of those that are best but for rounding, so that the choice does not hang on that.
            best = values[mine].max()
            if not np.isfinite(best):
                continue
            at = mine[int(np.argmax(values[mine] >= best - 1e-12 * abs(best)))]
            m = int(machine[at])
            if values[at] > self.queues[m].value:
                self._improve(m, points[:, at].copy(), float(values[at]))

    def _all_points(self, first: Indices, last: Indices) -> Indices:
        """List the points of a box; the settings first by name change fastest."""
        sizes = last - first + 1
        rest = np.arange(int(np.prod(sizes)))
        found = np.repeat(first[:, None], rest.size, axis=1)
        for i in self.batch.by_name:
            if sizes[i] > 1:
                rest, at = np.divmod(rest, sizes[i])
                found[i] += at
        return found

    def _split(self, boxes: Boxes) -> None:
        """Split boxes: first a setting whose direction is not proved, then where the merit lies, then the widest.

        Where all directions are proved, contraction does the rest.
        """
        if not boxes.machine.size:
            return
        by_name = np.array(self.batch.by_name)
        widths = (boxes.last - boxes.first).astype(np.float64)
        undecided = (boxes.signs == UNKNOWN).any(axis=0) & (widths > 0)
        if self.merit is not None:
            widths = np.where((boxes.signs[-1] != 0) & ~undecided.any(axis=0), 4.0 * widths, widths)
        widths = np.where(undecided.any(axis=0) & ~undecided, 0.0, widths)
        chosen = by_name[np.argmax(widths[by_name], axis=0)]
        rows = np.arange(chosen.size)
        middle = ((boxes.first + boxes.last) // 2)[chosen, rows]
        above, below = (
            Boxes(boxes.machine, boxes.first.copy(), boxes.last.copy(), boxes.signs, boxes.live) for _ in range(2)
        )
        above.first[chosen, rows], below.last[chosen, rows] = middle + 1, middle
        ceilings = [self._ceilings(half) for half in (above, below)]
        for b, m in enumerate(boxes.machine):
            queue = self.queues[int(m)]
            for half, ceiling in zip((above, below), ceilings, strict=True):
                if self.merit is None or queue.best is None or ceiling[b] > queue.value:
                    queue.push(
                        float(ceiling[b]), (half.first[:, b], half.last[:, b], half.signs[:, :, b], half.live[:, b])
                    )

    def _ceilings(self, boxes: Boxes) -> Floats:
        """Bound the merit over each box from above."""
        if self.merit is None:
            widths: Floats = (boxes.last - boxes.first).sum(axis=0).astype(np.float64)
            return widths
        sign = boxes.signs[-1]
        low = self.batch.settings_at(np.where(sign == 1, boxes.last, boxes.first))
        high = self.batch.settings_at(np.where(sign == -1, boxes.first, boxes.last))
        stated = self.batch.stated[:, boxes.machine]
        node = np.full(boxes.machine.size, self.batch.network.merits[self.merit].node)
        ceiling = self.batch.enclosed(node, (low, stated), (high, stated)).values[0].hi
        return np.where(np.isnan(ceiling), np.inf, ceiling)


class Narrowing:
    """Contracts boxes and fixes settings by dominance until nothing changes."""

    def __init__(self, batch: Batch, constraints: Constraints, boxes: Boxes, has_merit: bool) -> None:
        self.batch = batch
        self.constraints = constraints
        self.boxes = boxes
        self.has_merit = has_merit
        self.kept = np.ones(boxes.machine.size, dtype=np.bool_)
        self.live = boxes.live

    def run(self) -> Mask:
        """Narrow the boxes in place; tell which are not refuted.

        First by what is known of directions; then, on what is left, with those that can be proved there.
        """
        self._pass_until_still(False)
        if self._prove_signs():
            self._pass_until_still(True)
        return self.kept

    def _pass_until_still(self, careful: bool) -> None:
        """Contract and dominate until nothing changes; ``careful`` bounds what has no proved direction, too."""
        boxes = self.boxes
        open_ = np.flatnonzero(self.kept)
        for _ in range(MOST_PASSES):
            before = boxes.first[:, open_], boxes.last[:, open_]
            self._contract(open_, careful)
            kept = self.kept[open_]
            open_, before = open_[kept], (before[0][:, kept], before[1][:, kept])
            self._dominate(open_)
            changed = (boxes.first[:, open_] != before[0]) | (boxes.last[:, open_] != before[1])
            open_ = open_[changed.any(axis=0)]
            if not open_.size:
                break

    def _prove_signs(self) -> bool:
        """Prove the signs that are still unknown, and tell whether there were any; what was proved before stays."""
        boxes = self.boxes
        free = boxes.first < boxes.last
        fixed = np.broadcast_to(~free, boxes.signs.shape) & (boxes.signs == UNKNOWN)
        unknown = (boxes.signs == UNKNOWN).any(axis=1) & self.live & self.kept
        boxes.signs[fixed] = 0
        c, b = np.nonzero((boxes.signs == UNKNOWN).any(axis=1) & self.live & self.kept)
        if c.size:
            proved = setting_signs(
                self.batch, self.constraints, c, boxes.machine[b], boxes.first[:, b], boxes.last[:, b]
            ).T
            boxes.signs[c, :, b] = np.where(boxes.signs[c, :, b] == UNKNOWN, proved, boxes.signs[c, :, b])
        return bool(unknown.any())

    def _contract(self, open_: Indices, careful: bool) -> None:
        """Cut off what no value of the other settings can save; note what holds everywhere, and boxes refuted."""
        boxes = self.boxes
        c, at = np.nonzero(self.live[:, open_])
        b = open_[at]
        signs = boxes.signs[c, :, b].T
        first, last = boxes.first[:, b], boxes.last[:, b]
        known = ((signs != UNKNOWN) | (first == last)).all(axis=0)
        up = signs == 1
        best, worst = np.where(up, last, first), np.where(up, first, last)
        machine = boxes.machine[b]
        sure = np.flatnonzero(known)
        slack = self.batch.slacks(
            self.constraints,
            np.concatenate([c[sure], c[sure]]),
            np.concatenate([machine[sure], machine[sure]]),
            np.concatenate([best[:, sure], worst[:, sure]], axis=1),
        )
        at_best, at_worst = slack[: sure.size], slack[sure.size :]
        self.kept[b[sure[at_best < 0]]] = False
        holding = at_worst >= 0
        self.live[c[sure[holding]], b[sure[holding]]] = False
        unsure = np.flatnonzero(~known)
        if careful and unsure.size:
            somewhere, everywhere = self._enclose(c[unsure], b[unsure])
            self.kept[b[unsure[~somewhere]]] = False
            self.live[c[unsure[everywhere]], b[unsure[everywhere]]] = False
        biting = sure[~holding]
        biting = biting[self.kept[b[biting]]]
        self._cut(c[biting], b[biting], signs[:, biting], best[:, biting])
        self.kept[open_] &= (boxes.first[:, open_] <= boxes.last[:, open_]).all(axis=0)

    def _enclose(self, c: Indices, b: Indices) -> tuple[Mask, Mask]:
        """Bound constraints with unproved signs by intervals: may each hold somewhere, does it everywhere.

        Settings of proved sign stand at their better end for the one question, at their worse end for the other.
        """
        batch, boxes, count = self.batch, self.boxes, c.size
        machine = boxes.machine[b]
        signs, first, last = boxes.signs[c, :, b].T, boxes.first[:, b], boxes.last[:, b]
        low = np.concatenate([np.where(signs == 1, last, first), np.where(signs == -1, last, first)], axis=1)
        high = np.concatenate([np.where(signs == -1, first, last), np.where(signs == 1, first, last)], axis=1)
        inputs = np.tile(self.constraints.inputs[:, c, machine], 2)
        outputs, left, right = (
            np.tile(np.array(getattr(self.constraints, n))[c], 2) for n in ("output", "left", "right")
        )
        found = batch.enclosed(
            outputs, (batch.settings_at(low), inputs), (batch.settings_at(high), inputs), also=(left, right)
        )
        bound = self.constraints.bound[c, machine]
        size = np.max([np.abs(end) for side in found.values[1:] for end in side], axis=0)
        size = np.maximum(np.maximum(size[:count], size[count:]), np.abs(bound))
        with np.errstate(invalid="ignore"):
            upper, lower = found.values[0].hi[:count] - bound, found.values[0].lo[count:] - bound
            # Comparisons with NaN are false: then it may hold somewhere, and need not everywhere.
            somewhere = ~(upper + TOLERANCE * size < 0)
        everywhere = np.isfinite(lower) & (lower >= 0) & found.defined[count:]
        return somewhere, everywhere

    def _cut(self, c: Indices, b: Indices, signs: Signs, best: Indices) -> None:
        """Move the ends of boxes to where each constraint, with the other settings at their best, starts to hold."""
        boxes = self.boxes
        free = boxes.first[:, b] < boxes.last[:, b]
        i, row = np.nonzero(((signs == 1) | (signs == -1)) & free)
        if not i.size:
            return
        c, b, up = c[row], b[row], signs[i, row] == 1
        points = best[:, row]
        first, last = boxes.first[i, b], boxes.last[i, b]
        bad, good = np.where(up, first, last), np.where(up, last, first)
        points[i, np.arange(i.size)] = bad
        fails = self.batch.slacks(self.constraints, c, boxes.machine[b], points) < 0
        if not fails.any():
            return
        c, b, i, up, bad, good, points = (
            c[fails],
            b[fails],
            i[fails],
            up[fails],
            bad[fails],
            good[fails],
            points[:, fails],
        )
        good = self._ends(c, b, i, points, bad, good)
        np.maximum.at(boxes.first, (i[up], b[up]), good[up])
        np.minimum.at(boxes.last, (i[~up], b[~up]), good[~up])

    def _ends(self, c: Indices, b: Indices, i: Indices, points: Indices, bad: Indices, good: Indices) -> Indices:
        """Find for each row the value nearest to ``bad`` that does not fail, by cutting the way into parts."""
        machine, parts = self.boxes.machine[b], np.arange(1, PARTS)[:, None]
        while (open_ := np.flatnonzero(np.abs(good - bad) > 1)).size:
            # Several places at once: one batch costs little more than one row.
            places = bad[open_] + (good[open_] - bad[open_]) * parts // PARTS
            tried = np.tile(points[:, open_], PARTS - 1)
            tried[np.tile(i[open_], PARTS - 1), np.arange(tried.shape[1])] = places.ravel()
            asked = np.tile(c[open_], PARTS - 1), np.tile(machine[open_], PARTS - 1)
            fail = (self.batch.slacks(self.constraints, *asked, tried) < 0).reshape(places.shape)
            # Places run from bad to good; slack never falls on the way.
            failing = np.logical_and.accumulate(fail).sum(axis=0)
            ladder = np.concatenate([bad[None, open_], places, good[None, open_]])
            columns = np.arange(open_.size)
            bad[open_], good[open_] = ladder[failing, columns], ladder[failing + 1, columns]
        return good

    def _dominate(self, open_: Indices) -> None:
        """Fix a setting at an end where everything that still bites pushes it the same way."""
        boxes = self.boxes
        live = self.live[:, open_]
        if self.has_merit:
            live[-1] = True
        signs = np.where(live[:, None, :], boxes.signs[:, :, open_], np.int8(0))
        unknown, up, down = ((signs == sign).any(axis=0) for sign in (UNKNOWN, 1, -1))
        first, last = boxes.first[:, open_], boxes.last[:, open_]
        fixable = (first < last) & ~unknown & ~(up & down)
        end = np.where(up, last, np.where(down, first, (first + last) // 2))
        boxes.first[:, open_] = np.where(fixable, end, first)
        boxes.last[:, open_] = np.where(fixable, end, last)
