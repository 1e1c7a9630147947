"""Proved signs of slopes: which way each setting moves each constraint, and each input each requirement."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, Constraints
from .operators import Interval
from .problem import UNKNOWN, Indices
from .tape import Floats

Signs = NDArray[np.int8]

LEVEL = 1e-290
"""A slope below this in base units is none."""


def signs_of(low: Floats, high: Floats) -> Signs:
    """Give the proved signs of slopes between ``low`` and ``high``, of any shape.

    Nothing is known of an empty slope: it stands where an operation is defined nowhere.
    """
    signs = np.full(low.shape, UNKNOWN, dtype=np.int8)
    known = low <= high
    rising, falling = known & (low >= -LEVEL), known & (high <= LEVEL)
    signs[rising] = 1
    signs[falling] = -1
    signs[rising & falling] = 0
    return signs


@dataclass(frozen=True, slots=True)
class Directions:
    """Signs (outputs, variables, machines) that hold over all settings and inputs, settings first.

    Where a sign is not proved, ``lean`` tells which way the slope rather goes. ``row`` finds an output node.
    """

    signs: Signs
    lean: Floats
    row: dict[int, int]

    def rows(self, nodes: Iterable[int]) -> Indices:
        """Find some output nodes."""
        return np.array([self.row[int(n)] for n in nodes], dtype=np.int64)

    def of(self, nodes: Iterable[int]) -> Signs:
        """Pick the signs of some nodes."""
        return self.signs[self.rows(nodes)]


def directions(batch: Batch) -> Directions:
    """Prove signs for all requirements and merits, over all settings and all input values of each machine.

    What is proved here holds in every box and at every point; most directions are.
    """
    found: Directions | None = batch.kept.get("directions")
    if found is None:
        found = batch.kept["directions"] = _directions(batch)
    return found


def _directions(batch: Batch) -> Directions:
    tape, network = batch.tape, batch.network
    outputs = list(dict.fromkeys([*batch.slack_nodes.tolist(), *(m.node for m in network.merits)]))
    moving = np.concatenate([(batch.first < batch.last).any(axis=1), (batch.low < batch.high).any(axis=1)])
    wanted = [int(v) for v in np.flatnonzero(moving)]
    slopes = tape.slopes(batch.whole, wanted, outputs=outputs) if wanted else []
    signs = np.zeros((len(outputs), len(moving), batch.count), dtype=np.int8)
    lean = np.zeros(signs.shape)
    for at, output in enumerate(outputs):
        bounds = slopes[output] if wanted else None
        if bounds is None:
            continue
        defined = batch.defined(batch.whole, np.full(batch.count, output), batch.everyone)
        low, high = (np.broadcast_to(end, (len(wanted), end.shape[-1])) for end in bounds)
        with np.errstate(invalid="ignore"):
            lean[at, wanted] = np.nan_to_num(np.sign(low + high))
        reached = np.array([bool(tape.depends[output] >> v & 1) for v in wanted])
        proved = np.where(defined, signs_of(low, high), np.int8(UNKNOWN))
        signs[at, wanted] = np.where(reached[:, None], proved, np.int8(0))
    return Directions(signs, lean, {node: at for at, node in enumerate(outputs)})


def setting_signs(
    batch: Batch, constraints: Constraints, which: Indices, machine: Indices, first: Indices, last: Indices
) -> Signs:
    """Prove signs (settings, rows) over boxes of settings, each constraint at the inputs of its machine."""
    signs = np.zeros((batch.setting_count, which.size), dtype=np.int8)
    free = [int(i) for i in np.flatnonzero((first < last).any(axis=1))]
    if not free or not which.size:
        return signs
    inputs = constraints.inputs[:, which, machine]
    outputs = np.array(constraints.output)[which]
    low, high = batch.settings_at(first), batch.settings_at(last)
    found = batch.enclosed(outputs, (low, inputs), (high, inputs), slopes=free)
    signs[free] = np.where(found.defined, signs_of(*found.slopes), np.int8(UNKNOWN))
    return signs


def worst_corner(signs: Signs, low: Floats, high: Floats, stated: Floats) -> Floats:
    """Put inputs at the end that makes a slack least, where its slope's sign is known; else at the stated value."""
    return np.where(signs == 1, low, np.where(signs == -1, high, stated))


def worst_inputs(batch: Batch) -> Floats:
    """Guess the worst input values (inputs, requirements, machines) from the slopes over everything.

    The corner is exact where the slopes' signs are proved; an input whose sign is not goes where its slope leans. Any
    choice is sound: a scenario only ever adds a necessary condition.
    """
    proved = directions(batch)
    rows = proved.rows(batch.slack_nodes)
    inputs = slice(batch.setting_count, None)
    signs = np.where(proved.signs[rows, inputs] == UNKNOWN, proved.lean[rows, inputs], proved.signs[rows, inputs])
    return worst_corner(signs.swapaxes(0, 1), *(a[:, None] for a in (batch.low, batch.high, batch.stated)))


def input_slopes(
    batch: Batch, outputs: Indices, points: Indices, low: Floats, high: Floats
) -> tuple[Interval, NDArray[np.bool_]]:
    """Enclose each row's output's slope with regard to the inputs (inputs, rows), and tell where it is defined.

    The slope is zero for inputs that do not move.
    """
    wanted = [int(i) for i in np.flatnonzero((low < high).any(axis=1))]
    settings = batch.settings_at(points)
    variables = [batch.setting_count + i for i in wanted]
    found = batch.enclosed(outputs, (settings, low), (settings, high), slopes=variables)
    slopes = Interval(np.zeros(low.shape), np.zeros(low.shape))
    for side, end in zip(slopes, found.slopes, strict=True):
        side[wanted] = end
    return slopes, found.defined
