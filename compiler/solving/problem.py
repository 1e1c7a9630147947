"""The search problem: lattices, input ranges and constraints over one network, as arrays."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..meaning.model import SettingDecl
from ..meaning.units import to_base_text
from ..network.graph import Network
from .tape import Floats, Tape

Indices = NDArray[np.int64]

TOLERANCE = 1e-9
"""Two sides of a requirement that differ by no more than this share of the larger count as equal."""

UNKNOWN = 2
"""The sign of a slope that was not proved; the others are -1, 0 (no influence) and 1."""


@dataclass(frozen=True, slots=True)
class Constraints:
    """Constraints ``left <= right``, each at one set of input values (a column of ``inputs``).

    ``requirement`` is the index of the requirement that a constraint stands for, or -1 for a threshold on a merit:
    then ``left`` is -1 and ``bound`` stands on the left. ``output`` is the node whose growth helps.
    """

    requirement: tuple[int, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]
    output: tuple[int, ...]
    bound: Floats
    inputs: Floats

    def __len__(self) -> int:
        return len(self.requirement)

    def take(self, which: Sequence[int]) -> "Constraints":
        """Keep some of the constraints."""
        chosen = list(which)

        def kept(all_of: tuple[int, ...]) -> tuple[int, ...]:
            return tuple(all_of[c] for c in chosen)

        return Constraints(
            kept(self.requirement),
            kept(self.left),
            kept(self.right),
            kept(self.output),
            self.bound[chosen],
            self.inputs[:, chosen],
        )

    def plus(self, other: "Constraints") -> "Constraints":
        """Join two sets of constraints."""
        return Constraints(
            self.requirement + other.requirement,
            self.left + other.left,
            self.right + other.right,
            self.output + other.output,
            np.concatenate([self.bound, other.bound]),
            np.concatenate([self.inputs, other.inputs], axis=1),
        )


class Problem:
    """One network with its lattices and input ranges as arrays; counts the work done on it."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.tape = Tape(network)
        self.lattices = [lattice(s.decl) for s in network.settings]
        self.first = np.array([s.first for s in network.settings], dtype=np.int64)
        self.last = np.array([s.last for s in network.settings], dtype=np.int64)
        self.stated = np.array([i.stated for i in network.inputs])
        self.low = np.array([i.low for i in network.inputs])
        self.high = np.array([i.high for i in network.inputs])
        self.boxes = 0

    def at(self, requirements: Sequence[int], inputs: Floats) -> Constraints:
        """Make constraints of requirements, each at its column of ``inputs`` (inputs, requirements)."""
        chosen = [self.network.requirements[r] for r in requirements]
        return Constraints(
            tuple(requirements),
            tuple(r.left for r in chosen),
            tuple(r.right for r in chosen),
            tuple(r.slack for r in chosen),
            np.zeros(len(chosen)),
            inputs,
        )

    def threshold(self, merit: int, bound: float) -> Constraints:
        """Make the constraint that a merit at the stated values is not below ``bound``."""
        node = self.network.merits[merit].node
        return Constraints((-1,), (-1,), (node,), (node,), np.array([bound]), self.stated[:, None])

    def settings_at(self, indices: Indices) -> Floats:
        """Turn lattice indices (settings, rows) into base units."""
        return np.stack([values[k] for values, k in zip(self.lattices, indices, strict=True)])

    def variables(self, settings: Floats, inputs: Floats) -> Floats:
        """Stack settings (settings, rows or 1) on inputs (inputs, rows or 1)."""
        rows = max(settings.shape[1], inputs.shape[1])
        parts = [np.broadcast_to(a, (a.shape[0], rows)) for a in (settings, inputs)]
        return np.concatenate(parts)

    def slacks(self, constraints: Constraints, which: Indices, indices: Indices) -> Floats:
        """Give slack plus tolerance, one constraint a row: it holds where the result is not negative.

        ``which`` (rows,) names the constraint of each row, ``indices`` (settings, rows) its lattice point.
        """
        x = self.variables(self.settings_at(indices), constraints.inputs[:, which])
        nodes = self.tape.values(x)
        slack = np.empty(which.shape)
        for c in np.unique(which):
            rows = which == c
            right = _pick(nodes[constraints.right[c]], rows)
            if constraints.left[c] < 0:
                left: Floats = constraints.bound[c : c + 1]
            else:
                left = _pick(nodes[constraints.left[c]], rows)
            slack[rows] = right - left + TOLERANCE * np.maximum(np.abs(left), np.abs(right))
        return np.where(np.isnan(slack), -np.inf, slack)

    def table(self, constraints: Constraints, indices: Indices) -> Floats:
        """Give slack plus tolerance of every constraint (constraints, rows) at every lattice point."""
        rows = indices.shape[1]
        count = len(constraints)
        which = np.repeat(np.arange(count), rows)
        return self.slacks(constraints, which, np.tile(indices, count)).reshape(count, rows)

    def merit(self, merit: int, indices: Indices) -> Floats:
        """Give a merit at the stated values for lattice points (settings, rows)."""
        x = self.variables(self.settings_at(indices), self.stated[:, None])
        value = self.tape.values(x)[self.network.merits[merit].node]
        return np.broadcast_to(value, (indices.shape[1],))


def _pick(values: Floats, rows: NDArray[np.bool_]) -> Floats:
    return values if values.shape[-1] == 1 else values[rows]


@lru_cache(maxsize=4096)
def lattice(decl: SettingDecl) -> Floats:
    """Give all values of a setting in base units, each the double nearest to its decimal text."""
    values = np.array([to_base_text(decl.text(i), decl.unit) for i in range(decl.last + 1)])
    values.flags.writeable = False
    return values
