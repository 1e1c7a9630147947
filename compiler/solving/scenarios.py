"""Input values at which requirements are taken: guessed at first, then those that broke a point."""

import numpy as np

from .batch import Batch, Constraints
from .slopes import worst_inputs
from .tape import Floats, Mask


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
                np.array(self._present).reshape(len(self._requirement), self._batch.count) & active[self._requirement]
            )
            chosen = [at for at in range(len(self._requirement)) if present[at].any()]
            columns = [self._inputs[at] for at in chosen]
            inputs = np.stack(columns, axis=1) if columns else np.zeros((len(self._batch.stated), 0, self._batch.count))
            made = self._batch.at([self._requirement[at] for at in chosen], inputs, present[chosen])
            self._made = (key, made)
        return self._made[1]
