"""Problems of one structure, stacked: whatever is asked of one is asked of all in the same pass over the tape.

A *row* is one evaluation: a constraint, the machine it is asked for, and a lattice point or box. Every machine's rows
are computed from its own numbers alone, so that an answer does not hang on what it was solved along with.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from .operators import Interval
from .problem import TOLERANCE, Indices, Problem, base_units
from .tape import Bounds, Floats, Mask, outside

FEW_ROWS = 1500
"""Up to so many rows one pass over all steps costs less than a pass for each output over its own."""


@dataclass(frozen=True, slots=True)
class Constraints:
    """Constraints ``left <= right`` in columns, each machine at input values of its own.

    ``requirement`` is the index of the requirement that a constraint stands for, or -1 for a threshold on a merit:
    then ``left`` is -1 and ``bound`` (constraints, machines) stands on the left. ``output`` is the node whose growth
    helps. ``inputs`` is (inputs, constraints, machines); ``present`` (constraints, machines) tells whom it binds.
    """

    requirement: tuple[int, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]
    output: tuple[int, ...]
    bound: Floats
    inputs: Floats
    present: Mask
    before: dict[int, Floats] = field(default_factory=dict, compare=False, repr=False)
    """What was evaluated of the inputs alone, by node, for each constraint and machine."""

    def nodes(self) -> list[int]:
        """List the nodes of both sides."""
        return [n for n in (*self.left, *self.right) if n >= 0]

    def __len__(self) -> int:
        return len(self.requirement)

    def plus(self, other: "Constraints") -> "Constraints":
        """Join two sets of constraints."""
        return Constraints(
            self.requirement + other.requirement,
            self.left + other.left,
            self.right + other.right,
            self.output + other.output,
            np.concatenate([self.bound, other.bound]),
            np.concatenate([self.inputs, other.inputs], axis=1),
            np.concatenate([self.present, other.present]),
        )


class Batch:
    """Problems that share a tape. Arrays are (settings, machines) and (inputs, machines)."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = problems
        first = problems[0]
        self.network, self.tape, self.lattices, self.by_name = first.network, first.tape, first.lattices, first.by_name
        self.first, self.last = (np.stack([getattr(p, a) for p in problems], axis=1) for a in ("first", "last"))
        self.stated, self.low, self.high = (
            np.stack([getattr(p, a) for p in problems], axis=1) for a in ("stated", "low", "high")
        )
        self.count = len(problems)
        self.setting_count = len(first.lattices)
        self.kept: dict[object, Any] = {}
        """What other modules have found out about all of it."""
        self.verdicts: dict[tuple[int, bytes, int], tuple[int, Floats]] = {}
        """What ``proving`` has decided, by machine, lattice point and requirement."""

    @property
    def everyone(self) -> Indices:
        """The machines' numbers."""
        return np.arange(self.count)

    def settings_at(self, indices: Indices) -> Floats:
        """Turn lattice indices (settings, rows) into base units."""
        return base_units(self.lattices, indices)

    # ---- requirements

    @cached_property
    def left_nodes(self) -> Indices:
        """The node of each requirement's left side."""
        return np.array([r.left for r in self.network.requirements], dtype=np.int64)

    @cached_property
    def right_nodes(self) -> Indices:
        """The node of each requirement's right side."""
        return np.array([r.right for r in self.network.requirements], dtype=np.int64)

    @cached_property
    def slack_nodes(self) -> Indices:
        """The node of each requirement's slack."""
        return np.array([r.slack for r in self.network.requirements], dtype=np.int64)

    def counting(self, active: Sequence[Sequence[int]]) -> Mask:
        """Mark the requirements that count for each machine: (requirements, machines)."""
        counted = np.zeros((len(self.network.requirements), self.count), dtype=np.bool_)
        for m, requirements in enumerate(active):
            counted[list(requirements), m] = True
        return counted

    # ---- constraints

    def at(self, requirements: Sequence[int], inputs: Floats, present: Mask) -> Constraints:
        """Make constraints of requirements, each machine at its column of ``inputs``."""
        chosen = [self.network.requirements[r] for r in requirements]
        return Constraints(
            tuple(requirements),
            tuple(r.left for r in chosen),
            tuple(r.right for r in chosen),
            tuple(r.slack for r in chosen),
            np.zeros((len(chosen), self.count)),
            inputs,
            present,
        )

    def threshold(self, merit: int, bound: Floats) -> Constraints:
        """Make the constraint that a merit at the stated values is not below ``bound`` (machines,)."""
        node = self.network.merits[merit].node
        inputs, present = self.stated[:, None, :], np.ones((1, self.count), dtype=np.bool_)
        return Constraints((-1,), (-1,), (node,), (node,), bound[None, :].copy(), inputs, present)

    def nothing(self) -> Constraints:
        """Make an empty set of constraints."""
        return self.at([], np.zeros((len(self.stated), 0, self.count)), np.zeros((0, self.count), dtype=np.bool_))

    # ---- where operations are defined

    @cached_property
    def whole(self) -> list[Interval]:
        """Every node enclosed over all settings and all input values, a column a machine."""
        low, high = self.settings_at(self.first), self.settings_at(self.last)
        return self.tape.enclosures([*low, *self.low], [*high, *self.high])

    @cached_property
    def doubtful(self) -> list[tuple[str, tuple[int, ...], Mask]]:
        """Operations that may be undefined somewhere, and which nodes are computed from them.

        A slope tells nothing across such a place, so signs and proofs must look whether it is inside.
        """
        return [(name, a, self.tape.relying(node)) for node, name, a in self.tape.partial(self.whole)]

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

    def slacks(self, constraints: Constraints, which: Indices, machine: Indices, points: Indices) -> Floats:
        """Give slack plus tolerance of each row: a constraint, a machine, a lattice point (settings, rows).

        It holds where the result is not negative. NaN where a side is not a finite number: then nothing is known, and
        comparing it says so.
        """
        sides = np.empty((2, which.size))
        before = self._before(constraints)
        settings = self.settings_at(points)
        column = which * self.count + machine
        for rows in self._groups(which):
            members = distinct(which[rows])
            outputs = [n for c in members for n in (constraints.left[c], constraints.right[c]) if n >= 0]
            columns = column[rows]
            given = {i: v if (v := before[i]).size == 1 else v[columns] for i in self.tape.between(outputs)}
            nodes = self.tape.after_settings(settings[:, rows], given, outputs)
            own = which[rows]
            for c in members:
                mine = slice(None) if len(members) == 1 else np.flatnonzero(own == c)
                target = rows if len(members) == 1 else rows[mine]
                for side, node in zip(sides, (constraints.left[c], constraints.right[c]), strict=True):
                    if node < 0:
                        side[target] = constraints.bound[c][machine[target]]
                    else:
                        value = nodes[node]
                        side[target] = value if value.size == 1 else value[mine]
        return slack_of(sides[0], sides[1])

    def _before(self, constraints: Constraints) -> dict[int, Floats]:
        """Evaluate what hangs on the inputs of constraints alone, once for each set of constraints."""
        if not constraints.before:
            flat = constraints.inputs.reshape(len(self.stated), len(constraints) * self.count)
            constraints.before.update(self.tape.before_settings(flat, constraints.nodes()))
        return constraints.before

    def merit(self, merit: int, machine: Indices, points: Indices) -> Floats:
        """Give a merit at the stated values for lattice points (settings, rows)."""
        node = self.network.merits[merit].node
        x = [*self.settings_at(points), *self.stated[:, machine]]
        return np.broadcast_to(self.tape.values(x, outputs=(node,))[node], (machine.size,))

    def values(self, nodes: Sequence[Indices], points: Indices, inputs: Floats) -> list[Floats]:
        """Evaluate each row's own nodes at its lattice point (settings, rows) and input values (inputs, rows)."""
        found = [np.empty(inputs.shape[1]) for _ in nodes]
        settings = self.settings_at(points)
        for rows in self._groups(nodes[0]):
            wanted = sorted({n for each in nodes for n in distinct(each[rows])})
            values = self.tape.values([*settings[:, rows], *inputs[:, rows]], outputs=wanted)
            for target, each in zip(found, nodes, strict=True):
                for node in distinct(each[rows]):
                    mine = np.flatnonzero(each[rows] == node)
                    target[rows[mine]] = values[node] if values[node].size == 1 else values[node][mine]
        return found

    @staticmethod
    def _groups(asked: Indices) -> list[Indices]:
        """Part rows by what is evaluated together: all where they are few, else those for which the same is asked."""
        if asked.size <= FEW_ROWS:
            return [np.arange(asked.size)]
        return [np.flatnonzero(asked == one) for one in distinct(asked)]

    # ---- enclosures of rows

    def enclosed(
        self,
        outputs: Indices,
        low: tuple[Floats, Floats],
        high: tuple[Floats, Floats],
        also: Sequence[Indices] = (),
        slopes: Sequence[int] = (),
    ) -> "Enclosed":
        """Enclose each row's own output over its box, and what belongs to it.

        ``low`` and ``high`` are settings (settings, rows) and inputs (inputs, rows) in base units. ``also`` are further
        nodes of each row. ``slopes`` are the variables with regard to which the output's slope is enclosed.
        """
        wanted = [outputs, *also]
        found = Enclosed(
            [Interval(np.empty(outputs.size), np.empty(outputs.size)) for _ in wanted],
            Interval(np.zeros((len(slopes), outputs.size)), np.zeros((len(slopes), outputs.size))),
            np.ones(outputs.size, dtype=np.bool_),
        )
        for rows in self._groups(outputs):
            self._enclose(found, wanted, rows, low, high, slopes)
        return found

    def _enclose(
        self,
        found: "Enclosed",
        wanted: list[Indices],
        rows: Indices,
        low: tuple[Floats, Floats],
        high: tuple[Floats, Floats],
        slopes: Sequence[int],
    ) -> None:
        """Enclose some rows in one pass."""
        nodes = sorted({n for each in wanted for n in distinct(each[rows]) if n >= 0})
        enclosures = self.tape.enclosures(
            [*low[0][:, rows], *low[1][:, rows]], [*high[0][:, rows], *high[1][:, rows]], outputs=nodes
        )
        for target, each in zip(found.values, wanted, strict=True):
            for node in distinct(each[rows]):
                mine = np.flatnonzero(each[rows] == node)
                for side, end in zip(target, enclosures[node] if node >= 0 else _NONE, strict=True):
                    side[rows[mine]] = end if end.size == 1 else end[mine]
        outputs = wanted[0][rows]
        found.defined[rows] = self.defined(enclosures, outputs, np.arange(rows.size))
        if slopes:
            nodes = distinct(outputs)
            bounds = self.tape.slopes(enclosures, slopes, outputs=nodes)
            for node in nodes:
                _place(found.slopes, bounds[node], rows, np.flatnonzero(outputs == node))


@dataclass(frozen=True, slots=True)
class Enclosed:
    """Rows enclosed: ``values`` for each node asked of them, slopes (variables, rows), and where those are defined."""

    values: list[Interval]
    slopes: Interval
    defined: Mask


def distinct(numbers: Indices) -> list[int]:
    """List the different numbers in order; for a few hundred a set is quicker than sorting an array."""
    return sorted(set(numbers.tolist()))


_NONE = Interval(np.zeros(1), np.zeros(1))


def _place(target: Interval, bounds: Bounds, rows: Indices, mine: Indices) -> None:
    """Put the slope of a node into the rows whose output it is."""
    if bounds is None:
        return
    for side, end in zip(target, bounds, strict=True):
        end = np.broadcast_to(end, (side.shape[0], end.shape[-1]))
        side[:, rows[mine]] = end if end.shape[1] == 1 else end[:, mine]


def slack_of(left: Floats, right: Floats) -> Floats:
    """Give slack plus tolerance of ``left <= right``; NaN where a side is not a finite number."""
    with np.errstate(all="ignore"):
        slack = right - left + TOLERANCE * np.maximum(np.abs(left), np.abs(right))
    return np.where(np.isfinite(slack), slack, np.nan)
