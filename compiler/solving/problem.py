"""The search problem: lattices and input ranges over one network, as arrays."""

import math
from functools import lru_cache
from itertools import count as counting

import numpy as np
from numpy.typing import NDArray

from ..meaning.model import SettingDecl
from ..meaning.units import exact_base
from ..network.graph import Network
from .tape import Floats, Tape, tape_of

Indices = NDArray[np.int64]

TOLERANCE = 1e-9
"""Two sides of a requirement that differ by no more than this share of the larger count as equal."""

NO_BOUND = -1e300
"""The bound of a threshold that every finite merit reaches."""

UNKNOWN = 2
"""The sign of a slope that was not proved; the others are -1, 0 (no influence) and 1."""


class Problem:
    """One network with its lattices and input ranges as arrays; counts the boxes that were looked at for it."""

    def __init__(self, network: Network, tape: Tape | None = None) -> None:
        self.network = network
        self.tape = tape or tape_of([network])
        self.lattices = [lattice(s.decl) for s in network.settings]
        self.first = np.array([s.first for s in network.settings], dtype=np.int64)
        self.last = np.array([s.last for s in network.settings], dtype=np.int64)
        self.stated = np.array([i.stated for i in network.inputs], dtype=np.float64)
        self.low = np.array([i.low for i in network.inputs], dtype=np.float64)
        self.high = np.array([i.high for i in network.inputs], dtype=np.float64)
        self.by_name = sorted(range(len(network.settings)), key=lambda i: network.settings[i].decl.name)
        """Settings in an order that does not hang on the order of the text."""
        self.boxes = 0

    def stated_only(self) -> "Problem":
        """Make the same problem with every input at its stated value."""
        stated = Problem(self.network, self.tape)
        stated.low = stated.high = stated.stated
        stated.boxes = self.boxes
        return stated

    def settings_at(self, indices: Indices) -> Floats:
        """Turn lattice indices (settings, rows) into base units."""
        return base_units(self.lattices, indices)

    def variables(self, settings: Floats, inputs: Floats) -> list[Floats]:
        """Put settings and inputs in the order of the tape; their rows must broadcast."""
        return [*settings, *inputs]


def base_units(lattices: list[Floats], indices: Indices) -> Floats:
    """Turn lattice indices (settings, rows) into base units."""
    found = np.empty(indices.shape)
    for i, values, k in zip(counting(), lattices, indices, strict=False):
        found[i] = values[k]
    return found


@lru_cache(maxsize=4096)
def lattice(decl: SettingDecl) -> Floats:
    """Give all values of a setting in base units, each the double nearest to its decimal text."""
    start, step = (exact_base(n, decl.unit) for n in (decl.number(0), decl.number(1)))
    step -= start
    whole = math.lcm(start.denominator, step.denominator)
    first, each = int(start * whole), int(step * whole)
    largest = max(abs(first), abs(first + each * decl.last), whole)
    if largest < 2**53:
        # Both parts of each fraction are exact, so one division gives the nearest double.
        values = (first + each * np.arange(decl.last + 1)) / whole
    else:
        values = np.array([float(start + step * i) for i in range(decl.last + 1)])
    values.flags.writeable = False
    return values
