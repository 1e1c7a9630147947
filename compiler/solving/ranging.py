"""What derived quantities are at chosen settings: stated value and range over the inputs."""

from collections.abc import Sequence

import numpy as np

from .batch import Batch
from .operators import Interval
from .problem import UNKNOWN, Indices
from .slopes import Signs, input_slopes, signs_of
from .tape import Floats

MOST_PIECES = 400


def ranges(batch: Batch, points: Indices, nodes: Sequence[int]) -> Floats:
    """Give stated value, low and high end of nodes in base units: (3, nodes, machines).

    Low and high enclose each node over the input ranges. Inputs whose direction is proved stand at their ends; the
    mean value form keeps the others' share small.
    """
    count, machines = len(nodes), batch.count
    if not count:
        return np.zeros((3, 0, machines))
    settings = batch.settings_at(points)
    stated = batch.tape.values([*settings, *batch.stated], outputs=nodes)
    signs = _signs(batch, settings, nodes)
    low, high = np.repeat(batch.low[:, None], count, axis=1), np.repeat(batch.high[:, None], count, axis=1)
    still = np.repeat(batch.stated[:, None], count, axis=1)
    ends = []
    for way in (-1, 1):
        # Where each node is lowest, then where each is highest.
        first = np.where(signs == way, high, np.where(signs == UNKNOWN, low, np.where(signs == 0, still, low)))
        last = np.where(signs == way, high, np.where(signs == UNKNOWN, high, np.where(signs == 0, still, low)))
        box = _enclosed(batch, np.repeat(nodes, machines), np.tile(points, count), first, last)
        ends.append((box.lo if way < 0 else box.hi).reshape(count, machines))
    middle = np.array([np.broadcast_to(stated[n], (machines,)) for n in nodes])
    return np.stack([middle, *ends])


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


def _enclosed(batch: Batch, nodes: Indices, points: Indices, low: Floats, high: Floats) -> Interval:
    """Enclose each row's node over its box of inputs, also by the mean value form where an input moves."""
    low, high = low.reshape(low.shape[0], nodes.size), high.reshape(high.shape[0], nodes.size)
    settings = batch.settings_at(points)
    box = batch.enclosed(nodes, (settings, low), (settings, high)).values[0]
    open_ = np.flatnonzero((low < high).any(axis=0))
    if open_.size:
        low, high, nodes, points = low[:, open_], high[:, open_], nodes[open_], points[:, open_]
        middle = low + (high - low) / 2
        centre = batch.enclosed(nodes, (settings[:, open_], middle), (settings[:, open_], middle)).values[0]
        slopes, _ = input_slopes(batch, nodes, points, low, high)
        half = (high - low) / 2
        with np.errstate(all="ignore"):
            steepest = np.maximum(np.abs(slopes.lo), np.abs(slopes.hi))
            spread = np.where(half > 0, steepest * half, 0.0).sum(axis=0) * (1 + 1e-12)
        box.lo[open_] = np.fmax(box.lo[open_], centre.lo - spread)
        box.hi[open_] = np.fmin(box.hi[open_], centre.hi + spread)
    return box


def refined(batch: Batch, points: Indices, node: int) -> tuple[Floats, Floats]:
    """Enclose one node more closely (machines,): the inputs whose direction is not proved are cut into pieces."""
    signs = _signs(batch, batch.settings_at(points), [node])[:, 0]
    lows, highs = np.full(batch.count, -np.inf), np.full(batch.count, np.inf)
    for m in np.flatnonzero((signs == UNKNOWN).any(axis=0)):
        open_inputs = [int(i) for i in np.flatnonzero(signs[:, m] == UNKNOWN)][:4]
        low, high = _pieces(batch.low[:, m], batch.high[:, m], open_inputs)
        count = low.shape[1]
        nodes, settings = np.full(count, node), np.repeat(points[:, m][:, None], count, axis=1)
        slopes, _ = input_slopes(batch, nodes, settings, low, high)
        rising, falling = slopes.lo >= 0, slopes.hi <= 0
        ends = []
        for up, down in ((falling, rising), (rising, falling)):
            # Each piece at the end where the node is least, then where it is greatest.
            box = _enclosed(batch, nodes, settings, np.where(up, high, low), np.where(down & ~up, low, high))
            ends.append(box)
        lows[m], highs[m] = ends[0].lo.min(), ends[1].hi.max()
    return lows, highs


def _pieces(low: Floats, high: Floats, open_inputs: list[int]) -> tuple[Floats, Floats]:
    """Cut the ranges of some inputs evenly into at most ``MOST_PIECES`` boxes (inputs, boxes)."""
    count = max(1, int(MOST_PIECES ** (1 / len(open_inputs))))
    total = count ** len(open_inputs)
    first, last = np.repeat(low[:, None], total, axis=1), np.repeat(high[:, None], total, axis=1)
    for i, index in zip(open_inputs, np.unravel_index(np.arange(total), [count] * len(open_inputs)), strict=True):
        cuts = np.linspace(low[i], high[i], count + 1)
        first[i], last[i] = cuts[index], cuts[index + 1]
    return first, last


def cost_of_ranges(batch: Batch, point: Indices, requirement: int, inputs: Floats) -> list[tuple[int, float]]:
    """Tell how much slack each input's range takes from a requirement, as a share of its larger side.

    Each input in turn goes from its worst end (``inputs``) to its stated value. The batch is of one machine. Returns
    (input, share), largest first.
    """
    uncertain = [int(i) for i in np.flatnonzero(batch.low[:, 0] < batch.high[:, 0])]
    if not uncertain:
        return []
    rows = np.repeat(inputs[:, None], len(uncertain) + 1, axis=1)
    for at, i in enumerate(uncertain, start=1):
        rows[i, at] = batch.stated[i, 0]
    r = batch.network.requirements[requirement]
    count = rows.shape[1]
    sides = np.full(count, r.left), np.full(count, r.right)
    left, right = batch.values(sides, np.repeat(point[:, None], count, axis=1), rows)
    size = max(abs(float(left[0])), abs(float(right[0]))) or 1.0
    slack = (right - left) / size
    gains = [(i, float(slack[at] - slack[0])) for at, i in enumerate(uncertain, start=1)]
    return sorted((g for g in gains if g[1] > 1e-6), key=lambda g: (-g[1], g[0]))
