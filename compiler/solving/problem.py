"""The search problem: lattices, input ranges and constraints over one network, as arrays."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..meaning.model import SettingDecl
from ..meaning.units import exact_base
from ..network.graph import Network
from .operators import Interval
from .tape import Floats, Mask, Tape, outside

Indices = NDArray[np.int64]

TOLERANCE = 1e-9
"""Two sides of a requirement that differ by no more than this share of the larger count as equal."""

NO_BOUND = -1e300
"""The bound of a threshold that every finite merit reaches."""

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
    before: dict[int, dict[int, Floats]] = field(default_factory=dict, compare=False, repr=False)
    """What was evaluated of the inputs alone, by the number of their columns."""

    def nodes(self) -> list[int]:
        """List the nodes of both sides."""
        return [n for n in (*self.left, *self.right) if n >= 0]

    def __len__(self) -> int:
        return len(self.requirement)

    def take(self, which: Sequence[int] | Indices) -> "Constraints":
        """Keep some of the constraints."""
        chosen = [int(c) for c in which]

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
        self.stated = np.array([i.stated for i in network.inputs], dtype=np.float64)
        self.low = np.array([i.low for i in network.inputs], dtype=np.float64)
        self.high = np.array([i.high for i in network.inputs], dtype=np.float64)
        self.by_name = sorted(range(len(network.settings)), key=lambda i: network.settings[i].decl.name)
        """Settings in an order that does not hang on the order of the text."""
        self.boxes = 0
        self._inputs_of: dict[int, Mask] = {}
        self.verdicts: dict[tuple[bytes, bytes, int], Any] = {}
        """What ``proving`` has decided, by input ranges, lattice point and requirement."""
        self.directions: dict[bytes, dict[int, NDArray[np.int8]]] = {}
        """What ``slopes.directions`` has proved, by the ranges it was proved for."""

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
        if not self.lattices:
            return np.zeros(indices.shape)
        return np.stack([values[k] for values, k in zip(self.lattices, indices, strict=True)])

    def variables(self, settings: Floats, inputs: Floats) -> list[Floats]:
        """Put settings and inputs in the order of the tape; their rows must broadcast."""
        return [*settings, *inputs]

    # ---- where operations are defined

    @cached_property
    def doubtful(self) -> list[tuple[str, tuple[int, ...], Mask]]:
        """Operations that may be undefined somewhere in the problem, and which nodes are computed from them.

        A slope tells nothing across such a place, so signs and proofs must look whether it is inside.
        """
        count = len(self.lattices)
        first = self.settings_at(np.zeros((count, 1), dtype=np.int64))
        last = self.settings_at(np.array([[len(v) - 1] for v in self.lattices], dtype=np.int64).reshape(count, 1))
        low = np.array([[i.low] for i in self.network.inputs])
        high = np.array([[i.high] for i in self.network.inputs])
        enclosures = self.tape.enclosures(self.variables(first, low), self.variables(last, high))
        return [(name, a, self.tape.relying(node)) for node, name, a in self.tape.partial(enclosures)]

    def defined(self, enclosures: list[Interval], outputs: Indices, columns: Indices) -> Mask:
        """Tell for each output whether it is defined all over the box in its column of a batch."""
        sound = np.ones(outputs.size, dtype=np.bool_)
        for operator, arguments, relying in self.doubtful:
            concerned = relying[outputs]
            if concerned.any():
                bad = outside(operator, arguments, enclosures)
                sound &= ~(concerned & (bad if bad.size == 1 else bad[columns]))
        return sound

    # ---- evaluation

    def slacks(self, constraints: Constraints, which: Indices, indices: Indices) -> Floats:
        """Give slack plus tolerance, one constraint a row: it holds where the result is not negative.

        ``which`` (rows,) names the constraint of each row, ``indices`` (settings, rows) its lattice point. NaN
        where a side is not a finite number: then nothing is known, and comparing it says so.
        """
        before = {i: v if v.size == 1 else v[which] for i, v in self._before(constraints, constraints.inputs).items()}
        left, right = self._sides(constraints, self.settings_at(indices), before, (), indices.shape[1])
        rows = np.arange(which.size)
        return slack_of(left[which, rows], right[which, rows])

    def table(self, constraints: Constraints, indices: Indices) -> Floats:
        """Give slack plus tolerance of every constraint (constraints, rows) at every lattice point."""
        column, inputs = self._merged(constraints)
        before = {i: v[:, None] for i, v in self._before(constraints, inputs).items()}
        settings = self.settings_at(indices)[:, None, :]
        return slack_of(*self._sides(constraints, settings, before, column, indices.shape[1]))

    def _before(self, constraints: Constraints, inputs: Floats) -> dict[int, Floats]:
        """Evaluate what hangs on the inputs of constraints alone, once for each set of constraints."""
        key = inputs.shape[1]
        found = constraints.before.get(key)
        if found is None:
            found = constraints.before[key] = self.tape.before_settings(inputs, constraints.nodes())
        return found

    def _merged(self, constraints: Constraints) -> tuple[list[int], Floats]:
        """Put constraints that differ in no input they depend on at one column of inputs; give column and inputs."""
        column: list[int] = []
        values: list[Floats] = []
        masks: list[Mask] = []
        for c, output in enumerate(constraints.output):
            cares, wanted = self._cares(output), constraints.inputs[:, c]
            same = ((v[m & cares] == wanted[m & cares]).all() for v, m in zip(values, masks, strict=True))
            at = next((k for k, fits in enumerate(same) if fits), len(values))
            if at == len(values):
                values.append(wanted)
                masks.append(cares)
            else:
                values[at] = np.where(cares, wanted, values[at])
                masks[at] = masks[at] | cares
            column.append(at)
        return column, np.stack(values, axis=1) if values else constraints.inputs

    def _cares(self, node: int) -> Mask:
        """Tell which inputs a node depends on."""
        found = self._inputs_of.get(node)
        if found is None:
            bits = self.tape.depends[node] >> self.tape.setting_count
            found = np.array([bool(bits >> i & 1) for i in range(len(self.stated))], dtype=np.bool_)
            self._inputs_of[node] = found
        return found

    def _sides(
        self, constraints: Constraints, settings: Floats, before: dict[int, Floats], column: Sequence[int], rows: int
    ) -> tuple[Floats, Floats]:
        """Evaluate both sides of each constraint, (constraints, rows); ``column`` is where it stands in a table."""
        nodes = self.tape.after_settings(settings, before, constraints.nodes())
        sides = np.empty((2, len(constraints), rows))
        for side, wanted in zip(sides, (constraints.left, constraints.right), strict=True):
            for c, node in enumerate(wanted):
                value = nodes[node] if node >= 0 else constraints.bound[c]
                side[c] = value if value.ndim < 2 else value[0 if value.shape[0] == 1 else column[c]]
        return sides[0], sides[1]

    def merit(self, merit: int, indices: Indices) -> Floats:
        """Give a merit at the stated values for lattice points (settings, rows)."""
        node = self.network.merits[merit].node
        x = self.variables(self.settings_at(indices), self.stated[:, None])
        return np.broadcast_to(self.tape.values(x, outputs=(node,))[node], (indices.shape[1],))


def slack_of(left: Floats, right: Floats) -> Floats:
    """Give slack plus tolerance of ``left <= right``; NaN where a side is not a finite number."""
    with np.errstate(all="ignore"):
        slack = right - left + TOLERANCE * np.maximum(np.abs(left), np.abs(right))
    return np.where(np.isfinite(slack), slack, np.nan)


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
