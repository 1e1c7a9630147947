"""What the preferences leave open: to the middle of its band, or to the end that its setting names."""

import numpy as np

from .bands import find_bands, reach_of
from .batch import Batch, Constraints
from .problem import Indices

MOST_ROUNDS = 6


class _Walk:
    """Moves settings of many machines one after the other; a band is found again only where it may have changed."""

    def __init__(self, batch: Batch, constraints: Constraints, machines: Indices, points: Indices) -> None:
        self.batch = batch
        self.constraints = constraints
        self.machines = machines
        self.points = points[:, machines]
        reach = reach_of(batch, constraints.output)
        self.coupled = (reach.T.astype(np.int64) @ reach.astype(np.int64)) > 0
        self.first, self.last = np.zeros_like(self.points), np.zeros_like(self.points)
        self.stale = np.ones(self.points.shape, dtype=np.bool_)

    def bands(self, i: int, ahead: list[int]) -> tuple[Indices, Indices]:
        """Give the first and last value of a setting's band for every machine.

        Where it is not known, those of the settings ``ahead`` that are not known either are found in the same pass.
        """
        if self.stale[i].any():
            chosen = np.array([k for k in dict.fromkeys([i, *ahead]) if self.stale[k].any()], dtype=np.int64)
            at, column = np.nonzero(self.stale[chosen])
            setting = chosen[at]
            found = find_bands(self.batch, self.constraints, self.machines[column], self.points[:, column], setting)
            self.first[setting, column], self.last[setting, column] = found.first, found.last
            self.stale[chosen] = False
        return self.first[i], self.last[i]

    def move(self, i: int, values: Indices) -> None:
        """Put a setting at values; bands of settings that share a constraint with it are no longer known."""
        moved = values != self.points[i]
        self.points[i] = values
        others = self.coupled[i].copy()
        others[i] = False
        self.stale |= others[:, None] & moved

    def whole(self) -> Indices:
        """Give the points of all machines of the batch."""
        found = np.zeros_like(self.batch.first)
        found[:, self.machines] = self.points
        return found


def roomy(batch: Batch, constraints: Constraints, machines: Indices, points: Indices) -> Indices:
    """Move settings that rather be low or high as far as holds the other way, so that the others have room."""
    walk = _Walk(batch, constraints, machines, points)
    _give_room(walk)
    return walk.whole()


def settle(batch: Batch, constraints: Constraints, machines: Indices, points: Indices) -> Indices:
    """Move what the preferences leave open: to the middle of its band, or to the end its setting names.

    Settings that rather be low or high first give the others room, then take their end.
    """
    settings = batch.network.settings
    leaning = [i for i in batch.by_name if settings[i].decl.rather]
    centred = [i for i in batch.by_name if not settings[i].decl.rather]
    walk = _Walk(batch, constraints, machines, points)
    _give_room(walk)
    for chosen in (centred, leaning):
        for turn in range(MOST_ROUNDS):
            before = walk.points.copy()
            for k, i in enumerate(chosen):
                # At first nearly every setting moves, and what was found ahead would not last.
                first, last = walk.bands(i, chosen[k:] if turn else [])
                low = settings[i].decl.rather
                walk.move(i, (first + last) // 2 if not low else first if low == "low" else last)
            if (walk.points == before).all():
                break
    return walk.whole()


def _give_room(walk: _Walk) -> None:
    settings = walk.batch.network.settings
    leaning = [i for i in walk.batch.by_name if settings[i].decl.rather]
    for i in leaning:
        first, last = walk.bands(i, [])
        walk.move(i, last if settings[i].decl.rather == "low" else first)
