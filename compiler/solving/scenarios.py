"""Input values at which requirements are taken: guessed at first, then those that broke a point."""

from functools import cached_property

import numpy as np

from .batch import Batch, Constraints, slack_of
from .problem import UNKNOWN, Indices
from .slopes import directions, worst_inputs
from .tape import Floats, Mask

MOST_TURNED = 4
"""Inputs of unproved direction that are tried at both ends, all against all."""


class Scenarios:
    """The scenarios of all machines of a batch, in columns: a column holds one scenario of one requirement a machine.

    Each is only ever a necessary condition, so what one search has learned serves all others over the same ranges.
    """

    def __init__(self, batch: Batch) -> None:
        self._batch = batch
        corners = worst_inputs(batch)
        count = corners.shape[1]
        self._requirement = list(range(count))
        self._inputs = [corners[:, r].copy() for r in range(count)]
        self._present = [np.ones(batch.count, dtype=np.bool_) for _ in range(count)]
        self._known = {(m, r, corners[:, r, m].tobytes()) for r in range(count) for m in range(batch.count)}
        self._made: tuple[bytes, Constraints] | None = None
        self._corners = corners

    def add(self, machine: int, requirement: int, inputs: Floats) -> bool:
        """Take in input values for a requirement of a machine; tell whether they are new."""
        key = (machine, requirement, inputs.tobytes())
        if key in self._known:
            return False
        self._known.add(key)
        self._made = None
        for at, r in enumerate(self._requirement):
            if r == requirement and not self._present[at][machine]:
                break
        else:
            at = len(self._requirement)
            self._requirement.append(requirement)
            self._inputs.append(self._batch.stated.copy())
            self._present.append(np.zeros(self._batch.count, dtype=np.bool_))
        self._inputs[at][:, machine] = inputs
        self._present[at][machine] = True
        return True

    def of(self, active: Mask) -> Constraints:
        """Give the constraints of the requirements that count for each machine: (requirements, machines)."""
        key = active.tobytes()
        if self._made is None or self._made[0] != key:
            present = (
                np.array(self._present, dtype=np.bool_).reshape(len(self._requirement), self._batch.count)
                & active[self._requirement]
            )
            chosen = [at for at in range(len(self._requirement)) if present[at].any()]
            columns = [self._inputs[at] for at in chosen]
            inputs = np.stack(columns, axis=1) if columns else np.zeros((len(self._batch.stated), 0, self._batch.count))
            made = self._batch.at([self._requirement[at] for at in chosen], inputs, present[chosen])
            self._made = (key, made)
        return self._made[1]

    def look(self, active: Mask, machines: Indices, points: Indices) -> Indices:
        """Look whether points (settings, machines) break at corners that were not thought of; give their machines.

        Inputs of unproved direction are tried at both ends, all against all. What breaks a point becomes a scenario.
        """
        batch, found = self._batch, set()
        for r, turned, members in self._open:
            asked = machines[members[machines] & active[r, machines]]
            if not asked.size:
                continue
            requirement, inputs = batch.network.requirements[r], self._turned(r, turned, asked)
            ways = inputs.shape[2]
            rows = np.repeat(points[:, asked], ways, axis=1), inputs.reshape(inputs.shape[0], asked.size * ways)
            left, right = batch.values([np.full(asked.size * ways, n) for n in requirement.sides], *rows)
            slack = slack_of(left, right).reshape(asked.size, ways)
            broken = np.flatnonzero((slack < 0).any(axis=1))
            for at, way in zip(broken, np.nanargmin(slack[broken], axis=1), strict=True):
                if self.add(int(asked[at]), r, inputs[:, at, way]):
                    found.add(int(asked[at]))
        return np.array(sorted(found), dtype=np.int64)

    @cached_property
    def _open(self) -> list[tuple[int, Indices, Mask]]:
        """List requirements with inputs of unproved direction: which, and the machines where just those are."""
        proved, found = directions(self._batch), []
        for r, requirement in enumerate(self._batch.network.requirements):
            unknown = proved.signs[proved.row[requirement.slack], self._batch.setting_count :] == UNKNOWN
            if unknown.any():
                for pattern in np.unique(unknown.T, axis=0):
                    turned = np.flatnonzero(pattern)
                    if 0 < turned.size <= MOST_TURNED:
                        found.append((r, turned, np.asarray((pattern == unknown.T).all(axis=1))))
        return found

    def _turned(self, requirement: int, turned: Indices, machines: Indices) -> Floats:
        """Give a requirement's corners with some inputs at all combinations of their ends: (inputs, machines, ways)."""
        ways = np.array(np.unravel_index(np.arange(2**turned.size), [2] * turned.size))
        ends = np.stack([self._batch.low[turned], self._batch.high[turned]])[ways, np.arange(turned.size)[:, None]]
        found = np.repeat(self._corners[:, requirement, machines, None], ways.shape[1], axis=2)
        found[turned] = ends[:, :, machines].transpose(0, 2, 1)
        return found
