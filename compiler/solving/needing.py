"""What would have to change for a requirement to hold: each input and each setting tried alone, all else kept.

The values of a broken requirement are evaluated at the input values that break it, so what is found is needed, though
it may not be enough: other input values may break the requirement too. Nothing here is a proof.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..network.graph import Network
from .problem import TOLERANCE, Indices, Problem
from .tape import Floats

PLACES = 48
"""Values that are looked at each way, before the first that does is looked at closer."""

CUTS = 8
ROUNDS = 11
"""How finely, and how often, the nearest value that does is looked for between two places."""


@dataclass(frozen=True, slots=True)
class Need:
    """A variable that alone would do: ``more`` or less than now, from ``value`` on.

    ``value`` is in base units for an input and a lattice index for a setting.
    """

    variable: int
    more: bool
    value: float


class Trial:
    """A network whose inputs may take any believable value, for looking at settings and inputs without a proof."""

    def __init__(self, network: Network, believable: Sequence[tuple[float, float]]) -> None:
        # An input that is known exactly is folded into the tape; here every one must be free to move.
        wide = [
            replace(v, low=min(low, v.low), high=max(high, v.high, np.nextafter(v.low, np.inf)))
            for v, (low, high) in zip(network.inputs, believable, strict=True)
        ]
        self.network = network
        self.problem = Problem(replace(network, inputs=tuple(wide)))
        self.low = np.array([v.low for v in wide])
        self.high = np.array([v.high for v in wide])
        self.stated = np.array([v.stated for v in network.inputs])

    def share(self, requirement: int, indices: Indices, inputs: Floats) -> Floats:
        """Give the slack of a requirement as a share of its larger side (rows,); NaN where it is not defined."""
        r = self.network.requirements[requirement]
        left, right = self._values((r.left, r.right), indices, inputs)
        with np.errstate(all="ignore"):
            size = np.maximum(np.abs(left), np.abs(right))
            return np.where(size > 0, (right - left) / np.where(size > 0, size, 1.0), right - left)

    def merits(self, indices: Indices) -> Floats:
        """Give all merits (merits, rows) at the stated input values."""
        nodes = tuple(m.node for m in self.network.merits)
        return np.stack(self._values(nodes, indices, self.stated[:, None])) if nodes else np.zeros((0, 1))

    def needs(self, requirement: int, point: Indices, inputs: Floats) -> tuple[list[Need], list[Need]]:
        """Find the settings, and the inputs, that alone would make a requirement hold at a point and input values.

        Of two ways the nearer is given. Settings that are fixed are not tried.
        """
        depends = self.problem.tape.depends[self.network.requirements[requirement].slack]
        count = len(point)
        free = [i for i, s in enumerate(self.network.settings) if s.first < s.last and depends >> i & 1]
        used = [i for i in range(len(inputs)) if depends >> (count + i) & 1]

        def by_setting(which: Indices, values: Floats) -> Floats:
            indices = np.repeat(point[:, None], len(which), axis=1)
            indices[which, np.arange(len(which))] = np.rint(values).astype(np.int64)
            return self.share(requirement, indices, inputs[:, None])

        def by_input(which: Indices, values: Floats) -> Floats:
            rows = np.repeat(inputs[:, None], len(which), axis=1)
            rows[which, np.arange(len(which))] = values
            return self.share(requirement, point[:, None], rows)

        ends = [(float(s.first), float(s.last)) for s in self.network.settings]
        ranges = list(zip(self.low.tolist(), self.high.tolist(), strict=True))
        settings = [replace(n, value=float(np.rint(n.value))) for n in _nearest(free, point, ends, by_setting)]
        return settings, _nearest(used, inputs, ranges, by_input)

    def _values(self, nodes: Sequence[int], indices: Indices, inputs: Floats) -> list[Floats]:
        rows = max(indices.shape[1], inputs.shape[1])
        settings = self.problem.settings_at(indices)
        found = self.problem.tape.values(self.problem.variables(settings, inputs), outputs=nodes)
        return [np.broadcast_to(np.ravel(found[n]), (rows,)) for n in nodes]


def _nearest(
    variables: Sequence[int],
    now: Floats | Indices,
    ends: Sequence[tuple[float, float]],
    share: Callable[[Indices, Floats], Floats],
) -> list[Need]:
    """Look from what a variable is now towards both its ends for the nearest value that does."""
    ways = [(v, end) for v in variables for end in ends[v] if end != now[v]]
    if not ways:
        return []
    which = np.array([v for v, _ in ways], dtype=np.int64)
    start = np.array([float(now[v]) for v, _ in ways])
    length = np.array([end for _, end in ways]) - start
    steps = np.arange(1, PLACES + 1) / PLACES
    values = start[:, None] + length[:, None] * steps
    slack = share(np.repeat(which, PLACES), values.ravel()).reshape(len(ways), PLACES)
    holds = slack >= -TOLERANCE
    rows = np.flatnonzero(holds.any(axis=1))
    first = holds[rows].argmax(axis=1)
    good, bad = steps[first], np.where(first > 0, steps[first - 1], 0.0)
    for _ in range(ROUNDS if rows.size else 0):
        between = bad[:, None] + (good - bad)[:, None] * np.arange(1, CUTS + 1) / CUTS
        asked = start[rows, None] + length[rows, None] * between
        does = share(np.repeat(which[rows], CUTS), asked.ravel()).reshape(len(rows), CUTS) >= -TOLERANCE
        does[:, -1] = True
        first, row = does.argmax(axis=1), np.arange(len(rows))
        good, bad = between[row, first], np.where(first > 0, between[row, first - 1], bad)
    found: dict[int, tuple[float, Need]] = {}
    for at, reached in zip(rows.tolist(), good.tolist(), strict=True):
        v, far = int(which[at]), abs(float(length[at])) * reached
        need = Need(v, bool(length[at] > 0), float(start[at] + length[at] * reached))
        if v not in found or far < found[v][0]:
            found[v] = (far, need)
    return [found[v][1] for v in sorted(found)]
