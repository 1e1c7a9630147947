"""What derived quantities are at chosen settings: stated value and range over the inputs."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .batch import Batch
from .operators import Interval
from .problem import UNKNOWN, Indices
from .slopes import Signs, signs_of
from .tape import Floats, Mask

FIRST_PIECES = 16
"""Pieces into which the inputs without a proved direction are cut at first, where a range is looked at closely."""

MOST_CUT = 4
"""Inputs that are cut at first; more would make the pieces too many."""

PARTS, ROUNDS, MOST_PIECES = 4, 5, 400
"""A piece that may hold the end of a range is cut again, so often, while a machine has no more pieces than that."""

CLOSE = 1e-7
"""A range is known well enough where its end is known to this share."""

MOST_ROWS = 2000
"""Rows of one pass over many corners: more would not fit the caches of a processor."""

LEAST_COST = 1e-6
"""A smaller share of slack is not told as a cost."""

NOT_USED, LOW, HIGH, WHOLE, STATED = range(5)
"""Where an input stands for an end of a node's range."""


def ranges(batch: Batch, points: Indices, nodes: Sequence[int], closely: Collection[int] = ()) -> Floats:
    """Give stated value, low and high end of nodes in base units: (3, nodes, machines).

    Low and high enclose each node over the input ranges. Inputs whose direction is proved stand at their ends; the
    mean value form keeps the others' share small. For the nodes ``closely`` the others are cut into pieces.
    """
    count, machines = len(nodes), batch.count
    if not count:
        return np.zeros((3, 0, machines))
    settings = batch.settings_at(points)
    stated = batch.tape.values([*settings, *batch.stated], outputs=nodes)
    signs = _signs(batch, settings, nodes)
    middle = np.array([np.broadcast_to(stated[n], (machines,)) for n in nodes])
    found = np.stack([middle, *_at_ends(batch, settings, nodes, signs)])
    unsure = (signs == UNKNOWN).any(axis=0)
    for at, node in enumerate(nodes):
        members = np.flatnonzero(unsure[at])
        if members.size and node in closely:
            low, high = _closer(batch, settings, node, signs[:, at], members)
            found[1, at, members] = np.maximum(found[1, at, members], low)
            found[2, at, members] = np.minimum(found[2, at, members], high)
    return found


def _signs(batch: Batch, settings: Floats, nodes: Sequence[int]) -> Signs:
    """Prove signs (inputs, nodes, machines) of slopes over the whole input ranges at the chosen settings."""
    signs = np.zeros((len(batch.stated), len(nodes), batch.count), dtype=np.int8)
    wanted = [int(i) for i in np.flatnonzero((batch.low < batch.high).any(axis=1))]
    if not wanted:
        return signs
    enclosures = batch.tape.enclosures([*settings, *batch.low], [*settings, *batch.high], outputs=nodes)
    slopes = batch.tape.slopes(enclosures, [batch.setting_count + i for i in wanted], outputs=nodes)
    for at, node in enumerate(nodes):
        bounds = slopes[node]
        if bounds is not None:
            signs[wanted, at] = signs_of(*(np.broadcast_to(end, (len(wanted), batch.count)) for end in bounds))
    return signs


# ---- the ends of ranges


def _at_ends(batch: Batch, settings: Floats, nodes: Sequence[int], signs: Signs) -> tuple[Floats, Floats]:
    """Enclose the least and the greatest of each node, each (nodes, machines)."""
    count, machines = len(nodes), batch.count
    depends = batch.tape.depends
    used = np.array([[depends[n] >> (batch.setting_count + i) & 1 for n in nodes] for i in range(len(batch.stated))])
    used = used.reshape(len(batch.stated), count).astype(np.bool_)
    # Where each input stands: (inputs, ends, machines), first for the least of each node, then for the greatest.
    stands = np.empty((len(batch.stated), 2 * count, machines), dtype=np.int8)
    for first, way in ((0, -1), (count, 1)):
        placed = np.where(signs == way, HIGH, np.where(signs == -way, LOW, np.where(signs == UNKNOWN, WHOLE, STATED)))
        stands[:, first : first + count] = np.where(used[:, :, None], placed, NOT_USED)
    row, kinds = _shared(stands)
    box = _boxes(batch, settings, kinds, nodes)
    ends = [np.empty((count, machines)), np.empty((count, machines))]
    for end, first, side in ((ends[0], 0, 0), (ends[1], count, 1)):
        for at, node in enumerate(nodes):
            values = box[node][side]
            end[at] = values if values.size == 1 else values.reshape(-1, machines)[row[first + at]]
    moving = (stands == WHOLE) & (batch.low < batch.high)[:, None, :]
    _by_mean_value(batch, settings, nodes, stands, moving.any(axis=0), ends)
    return ends[0], ends[1]


def _shared(stands: Signs) -> tuple[list[int], Signs]:
    """Let ends of ranges share a row where no input has to stand at two places; gives the row of each, and the rows."""
    inputs, count, machines = stands.shape
    kinds = np.zeros((count, inputs, machines), dtype=np.int8)
    row, rows = [], 0
    for at in range(count):
        own = stands[:, at]
        taken = kinds[:rows]
        clash = ((taken != own) & (taken != NOT_USED) & (own != NOT_USED)).any(axis=(1, 2))
        free = np.flatnonzero(~clash)
        if free.size:
            chosen = int(free[0])
        else:
            chosen, rows = rows, rows + 1
        np.copyto(kinds[chosen], own, where=own != NOT_USED)
        row.append(chosen)
    return row, kinds[:rows]


def _boxes(batch: Batch, settings: Floats, kinds: Signs, nodes: Sequence[int]) -> list[Interval]:
    """Enclose nodes over the boxes that rows (rows, inputs, machines) of standing inputs make."""
    rows, inputs, machines = kinds.shape
    own = (batch.low[:, None], batch.high[:, None], batch.stated[:, None])
    low, high = _placed(kinds.swapaxes(0, 1), *own)
    low, high = low.reshape(inputs, rows * machines), high.reshape(inputs, rows * machines)
    tiled = np.tile(settings, rows)
    return batch.tape.enclosures([*tiled, *low], [*tiled, *high], outputs=nodes)


def _placed(stands: Signs, low: Floats, high: Floats, stated: Floats) -> tuple[Floats, Floats]:
    """Give the lower and upper values of inputs that stand somewhere between their own."""
    first = np.where(stands == HIGH, high, np.where(stands == STATED, stated, low))
    return first, np.where(stands == WHOLE, high, first)


def _by_mean_value(
    batch: Batch, settings: Floats, nodes: Sequence[int], stands: Signs, open_: Mask, ends: Sequence[Floats]
) -> None:
    """Narrow the ends (ends, machines) that are ``open_``, where inputs move, by the mean value form."""
    count = len(nodes)
    columns, machine = np.nonzero(open_)
    if not columns.size:
        return
    limits = (batch.low[:, machine], batch.high[:, machine], batch.stated[:, machine])
    low, high = _placed(stands[:, columns, machine], *limits)
    own = np.array(nodes)[columns % count]
    distinct = [int(n) for n in np.unique(own)]
    settings = settings[:, machine]
    half = (high - low) / 2
    middle = low + half
    centre = batch.tape.enclosures([*settings, *middle], [*settings, *middle], outputs=distinct)
    box = batch.tape.enclosures([*settings, *low], [*settings, *high], outputs=distinct)
    moving = [int(i) for i in np.flatnonzero((half > 0).any(axis=1))]
    slopes = batch.tape.slopes(box, [batch.setting_count + i for i in moving], outputs=distinct)
    for node in distinct:
        mine = np.flatnonzero(own == node)
        bounds = slopes[node]
        spread = np.zeros(mine.size)
        if bounds is not None:
            steepest = _rows(np.maximum(np.abs(bounds.lo), np.abs(bounds.hi)), own.size)[:, mine]
            with np.errstate(all="ignore"):
                widths = half[moving][:, mine]
                spread = np.where(widths > 0, steepest * widths, 0.0).sum(axis=0) * (1 + 1e-12)
        lo, hi = (_rows(end, own.size)[mine] for end in centre[node])
        least = columns[mine] < count
        for chosen, end, value, pick in (
            (least, ends[0], lo - spread, np.fmax),
            (~least, ends[1], hi + spread, np.fmin),
        ):
            at, m = columns[mine][chosen] % count, machine[mine][chosen]
            end[at, m] = pick(end[at, m], value[chosen])


def _rows(values: Floats, count: int) -> Floats:
    """Give every row its value, where one stands for all."""
    return np.broadcast_to(values, (*values.shape[:-1], count))


# ---- a closer look


def _closer(batch: Batch, settings: Floats, node: int, signs: Signs, members: Indices) -> tuple[Floats, Floats]:
    """Enclose one node more closely for some machines: the inputs whose direction is not proved are cut into pieces.

    A piece in which a direction is proved has its end there; one that cannot hold the end of the range, as the node
    goes further elsewhere, is left; the others are cut again.
    """
    ways = np.repeat(np.array([-1, 1], dtype=np.int8), members.size)
    owner = np.tile(members, 2)
    unsure = signs[:, owner] == UNKNOWN
    placed = np.where(signs[:, owner] == ways, HIGH, np.where(signs[:, owner] == -ways, LOW, STATED))
    placed = np.where(unsure, WHOLE, placed)
    low, high = _placed(placed, batch.low[:, owner], batch.high[:, owner], batch.stated[:, owner])
    moving = [int(i) for i in np.flatnonzero(unsure.any(axis=1))]
    low, high, group = _cut_evenly(low, high, np.arange(owner.size), moving[:MOST_CUT])
    reached, proved = np.full(owner.size, -np.inf), np.full(owner.size, -np.inf)
    for turn in range(ROUNDS):
        ends = _Pieces.of(batch, settings[:, owner[group]], node, moving, low, high, ways[group])
        np.maximum.at(reached, group, ends.reached)
        counts = np.bincount(group, minlength=owner.size)
        again = ends.open & (ends.bound > reached[group] + CLOSE * np.abs(reached[group]))
        again = again & (counts[group] <= MOST_PIECES) & (turn < ROUNDS - 1)
        np.maximum.at(proved, group[~again], ends.bound[~again])
        if not again.any():
            break
        low, high, group = _cut_steepest(
            ends.low[:, again], ends.high[:, again], group[again], moving, ends.spread[:, again]
        )
    half = members.size
    return -proved[:half], proved[half:]


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Pieces of input ranges after what is proved in them: ``bound`` none goes beyond, ``reached`` somewhere in each.

    Both are counted the way that is looked for: up for the greatest, negative for the least. ``spread`` (inputs,
    rows) tells how much each input may move the node.
    """

    low: Floats
    high: Floats
    bound: Floats
    reached: Floats
    spread: Floats

    @property
    def open(self) -> Mask:
        """Tell which still have an extent."""
        return np.asarray((self.low < self.high).any(axis=0))

    @staticmethod
    def of(
        batch: Batch, settings: Floats, node: int, moving: Sequence[int], low: Floats, high: Floats, ways: Signs
    ) -> "_Pieces":
        """Look at pieces (inputs, rows) of the inputs ``moving``."""
        tape, count = batch.tape, ways.size
        boxes = tape.enclosures([*settings, *low], [*settings, *high], outputs=[node])
        bounds = tape.slopes(boxes, [batch.setting_count + i for i in moving], outputs=[node])[node]
        low, high = low.copy(), high.copy()
        steepest = np.zeros((len(moving), count))
        if bounds is not None:
            lo, hi = _rows(bounds.lo, count), _rows(bounds.hi, count)
            steepest = np.maximum(np.abs(lo), np.abs(hi))
            rising, falling = np.where(ways > 0, lo, -hi) >= 0, np.where(ways > 0, hi, -lo) <= 0
            low[moving] = np.where(rising, high[moving], low[moving])
            high[moving] = np.where(falling & ~rising, low[moving], high[moving])
        narrowed = tape.enclosures([*settings, *low], [*settings, *high], outputs=[node])
        middle = low + (high - low) / 2
        reached = tape.values([*settings, *middle], outputs=[node])[node]
        ends = [np.where(ways > 0, *(_rows(e, count) for e in (b[node].hi, -b[node].lo))) for b in (boxes, narrowed)]
        bound, inside = np.fmin(*ends), ways * _rows(reached, count)
        with np.errstate(all="ignore"):
            spread = steepest * (high - low)[moving]
        return _Pieces(
            low,
            high,
            np.where(np.isnan(bound), np.inf, bound),
            np.where(np.isnan(inside), -np.inf, inside),
            np.where(np.isnan(spread), np.inf, spread),
        )


def _cut_evenly(low: Floats, high: Floats, group: Indices, inputs: Sequence[int]) -> tuple[Floats, Floats, Indices]:
    """Cut the ranges of some inputs of each row evenly into at most ``FIRST_PIECES`` boxes."""
    each = max(2, int(FIRST_PIECES ** (1 / len(inputs)) + 1e-9))
    for i in inputs:
        low, high, group = _cut(low, high, group, np.full(group.size, i), each)
    return low, high, group


def _cut_steepest(
    low: Floats, high: Floats, group: Indices, moving: Sequence[int], spread: Floats
) -> tuple[Floats, Floats, Indices]:
    """Cut each row into ``PARTS`` along the input that may move the node most."""
    return _cut(low, high, group, np.array(moving)[spread.argmax(axis=0)], PARTS)


def _cut(low: Floats, high: Floats, group: Indices, along: Indices, parts: int) -> tuple[Floats, Floats, Indices]:
    """Cut each row into equal parts along one input of its own."""
    rows = np.arange(group.size)
    shares = np.arange(parts + 1)[:, None] / parts
    first, last = low[along, rows], high[along, rows]
    cuts = first + shares * (last - first)
    cuts[-1] = last
    low, high = np.tile(low, parts), np.tile(high, parts)
    columns = np.arange(low.shape[1])
    low[np.tile(along, parts), columns] = cuts[:-1].ravel()
    high[np.tile(along, parts), columns] = cuts[1:].ravel()
    return low, high, np.tile(group, parts)


# ---- what a range costs


class Corner(NamedTuple):
    """A requirement of one machine where it is closest; ``costs`` are asked for where it is ``tight``."""

    machine: int
    requirement: int
    inputs: Floats
    tight: bool


class Closest(NamedTuple):
    """What holds at a corner: the values of the nodes that were asked for, and what the inputs' ranges cost.

    Costs are (input, share of the larger side): how much slack each input's range takes, that goes from its worst end
    to its stated value while the others stay.
    """

    values: tuple[float, ...]
    costs: list[tuple[int, float]]


def closest(
    batch: Batch, points: Indices, corners: Sequence[Corner], nodes: Mapping[int, Sequence[int]]
) -> list[Closest]:
    """Evaluate corners, those of many machines in one pass: for each, the ``nodes`` of its requirement."""
    found: list[Closest] = []
    rows, begun = 0, 0
    wanted = _stated_rows(batch, corners)
    for at, moved in enumerate(wanted):
        rows += 1 + len(moved)
        if rows >= MOST_ROWS or at == len(corners) - 1:
            chosen = slice(begun, at + 1)
            found += _closest(batch, points, corners[chosen], wanted[chosen], nodes)
            rows, begun = 0, at + 1
    return found


def _stated_rows(batch: Batch, corners: Sequence[Corner]) -> list[list[int]]:
    """List for each corner the inputs that are put to their stated values in turn."""
    open_ = [np.flatnonzero(column).tolist() for column in (batch.low < batch.high).T]
    depends = [batch.tape.depends[r.slack] >> batch.setting_count for r in batch.network.requirements]
    return [[i for i in open_[c.machine] if depends[c.requirement] >> i & 1] if c.tight else [] for c in corners]


def _closest(
    batch: Batch,
    points: Indices,
    corners: Sequence[Corner],
    moved: Sequence[Sequence[int]],
    nodes: Mapping[int, Sequence[int]],
) -> list[Closest]:
    requirements = batch.network.requirements
    counts = np.array([1 + len(m) for m in moved])
    first = np.cumsum(counts) - counts
    corner = np.repeat(np.arange(len(corners)), counts)
    machine = np.array([c.machine for c in corners])[corner]
    inputs = np.stack([c.inputs for c in corners], axis=1)[:, corner]
    # After a corner's own row there is one for each input that is put to its stated value.
    which = np.array([i for m in moved for i in m], dtype=np.int64)
    rows = np.setdiff1d(np.arange(corner.size), first, assume_unique=True)
    inputs[which, rows] = batch.stated[which, machine[rows]]
    shown = {n for c in corners for n in nodes[c.requirement]}
    tight = {c.requirement for c, m in zip(corners, moved, strict=True) if m}
    outputs = shown | {n for r in tight for n in (requirements[r].left, requirements[r].right)}
    values = batch.tape.values([*batch.settings_at(points[:, machine]), *inputs], outputs=outputs)
    here = {n: _rows(values[n], corner.size)[first].tolist() for n in shown}
    costs: list[list[tuple[int, float]]] = [[] for _ in corners]
    if rows.size:
        own = np.array([c.requirement for c in corners])[corner]
        left, right = np.zeros(corner.size), np.zeros(corner.size)
        for r in tight:
            mine = np.flatnonzero(own == r)
            for side, node in ((left, requirements[r].left), (right, requirements[r].right)):
                side[mine] = _rows(values[node], corner.size)[mine]
        size = np.maximum(np.abs(left[first]), np.abs(right[first]))
        with np.errstate(all="ignore"):
            share = (right - left) / np.where(size == 0, 1.0, size)[corner]
            gain = (share - share[first][corner])[rows]
            dear = gain > LEAST_COST
        for at, i, cost in zip(corner[rows][dear].tolist(), which[dear].tolist(), gain[dear].tolist(), strict=True):
            costs[at].append((i, cost))
    return [Closest(tuple([here[n][at] for n in nodes[c.requirement]]), costs[at]) for at, c in enumerate(corners)]
