"""Branch and prune over lattice boxes: contraction by proved monotonicity, dominance, best bound first."""

import heapq
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from .problem import TOLERANCE, UNKNOWN, Constraints, Indices, Problem
from .slopes import Signs, setting_signs
from .tape import Floats, row

MOST_PASSES = 12


class OutOfEffort(Exception):
    """The stated limit of boxes was reached before the search ended."""


@dataclass(slots=True)
class _Box:
    first: Indices
    last: Indices
    signs: Signs

    @property
    def is_point(self) -> bool:
        return bool((self.first == self.last).all())


class Search:
    """Finds lattice points where constraints hold, within a box of settings and a limit of boxes."""

    def __init__(self, problem: Problem, constraints: Constraints, limit: int) -> None:
        self.problem = problem
        self.constraints = constraints
        self.limit = limit

    def any_point(self, first: Indices, last: Indices) -> Indices | None:
        """Give a point that holds, or None where it is proved that there is none."""
        return self._run(first, last, None)

    def best_point(self, first: Indices, last: Indices, merit: int) -> Indices | None:
        """Give a point that holds with the largest merit, or None where it is proved that none holds."""
        return self._run(first, last, merit)

    # ---- the loop

    def _run(self, first: Indices, last: Indices, merit: int | None) -> Indices | None:
        constraints = self.constraints
        if merit is not None:
            # The merit rides along as a constraint whose bound is the best found so far.
            constraints = constraints.plus(self.problem.threshold(merit, -np.inf))
        best: Indices | None = None
        best_value = -np.inf
        order = count()
        root = _Box(first.copy(), last.copy(), np.full((len(constraints), len(first)), UNKNOWN, dtype=np.int8))
        heap: list[tuple[float, int, _Box]] = [(-np.inf, next(order), root)]
        while heap:
            bound, _, box = heapq.heappop(heap)
            if merit is not None and best is not None and -bound <= best_value:
                break
            self.problem.boxes += 1
            self.limit -= 1
            if self.limit < 0:
                raise OutOfEffort
            if not self._narrow(box, constraints, merit):
                continue
            found = self._probe(box, constraints, merit)
            if found is not None:
                if merit is None:
                    return found
                value = float(self.problem.merit(merit, found[:, None])[0])
                if value > best_value:
                    best, best_value = found, value
                    constraints.bound[-1] = np.nextafter(value, np.inf) + 2e-9 * abs(value)
            if box.is_point:
                continue
            for half in self._halves(box, merit):
                ceiling = self._ceiling(half, merit)
                if merit is None or best is None or ceiling > best_value:
                    heapq.heappush(heap, (-ceiling, next(order), half))
        return best

    # ---- one box

    def _narrow(self, box: _Box, constraints: Constraints, merit: int | None) -> bool:
        """Contract and fix by dominance until nothing changes; False where the box is refuted."""
        for _ in range(MOST_PASSES):
            self._prove_signs(box, constraints)
            before = (box.first.copy(), box.last.copy())
            live = self._contract(box, constraints)
            if live is None:
                return False
            self._dominate(box, live, merit)
            if (before[0] == box.first).all() and (before[1] == box.last).all():
                break
        return True

    def _prove_signs(self, box: _Box, constraints: Constraints) -> None:
        """Prove the signs that are still unknown; a sign proved on a larger box stays."""
        free = box.first < box.last
        if not (box.signs[:, free] == UNKNOWN).any():
            return
        proved = setting_signs(self.problem, constraints, box.first, box.last)
        box.signs = np.where(box.signs == UNKNOWN, proved, box.signs).astype(np.int8)

    def _contract(self, box: _Box, constraints: Constraints) -> NDArray[np.bool_] | None:
        """Cut off what no value of the other settings can save; give the constraints that still bite.

        None where a constraint fails at its best corner.
        """
        known = (box.signs != UNKNOWN).all(axis=1)
        everyone = np.arange(len(constraints))
        best, worst = self._corners(box)
        ends = np.concatenate([best, worst], axis=1)
        slack = self.problem.slacks(constraints, np.tile(everyone, 2), ends)
        at_best, at_worst = slack[: len(everyone)], slack[len(everyone) :]
        if (known & (at_best < 0)).any():
            return None
        live = ~(known & (at_worst >= 0))
        if not known.all():
            holds_somewhere, holds_everywhere = self._enclose(box, constraints, everyone[~known])
            if not holds_somewhere.all():
                return None
            live[~known] = ~holds_everywhere
        self._cut(box, constraints, [int(c) for c in everyone[known & live]], best)
        return live if (box.first <= box.last).all() else None

    def _corners(self, box: _Box) -> tuple[Indices, Indices]:
        """Give each constraint's best and worst corner (settings, constraints)."""
        up = (box.signs == 1).T
        first, last = box.first[:, None], box.last[:, None]
        return np.where(up, last, first), np.where(up, first, last)

    def _enclose(
        self, box: _Box, constraints: Constraints, which: Indices
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Bound constraints with unproved signs by intervals: may each hold somewhere, does it everywhere."""
        part = constraints.take([int(c) for c in which])
        signs = box.signs[which].T
        first, last = box.first[:, None], box.last[:, None]
        upper = self._bounds(part, np.where(signs == 1, last, first), first, last, signs)
        lower = self._bounds(part, np.where(signs == -1, last, first), first, last, signs)
        return upper[1] >= 0, lower[0] >= 0

    def _bounds(
        self, part: Constraints, fixed: Indices, first: Indices, last: Indices, signs: Signs
    ) -> tuple[Floats, Floats]:
        """Enclose slack plus tolerance: settings of proved sign at ``fixed``, the others over the box."""
        problem = self.problem
        low, high = np.where(signs == UNKNOWN, first, fixed), np.where(signs == UNKNOWN, last, fixed)
        enclosures = problem.tape.enclosures(
            problem.variables(problem.settings_at(low), part.inputs),
            problem.variables(problem.settings_at(high), part.inputs),
        )
        lo, hi = np.empty(len(part)), np.empty(len(part))
        for c in range(len(part)):
            slack = row(enclosures[part.output[c]], c)
            sides = [row(enclosures[n], c) for n in (part.left[c], part.right[c]) if n >= 0]
            size = max((abs(v) for side in sides for v in side), default=0.0)
            tolerance = TOLERANCE * size if np.isfinite(size) else 0.0
            lo[c], hi[c] = slack[0] - part.bound[c], slack[1] - part.bound[c] + tolerance
        return lo, hi

    def _cut(self, box: _Box, constraints: Constraints, which: list[int], best: Indices) -> None:
        """Move the ends of the box to where each constraint, with the others at their best, starts to hold."""
        pairs = [
            (c, i)
            for c in which
            for i in range(len(box.first))
            if box.signs[c, i] in (1, -1) and box.first[i] < box.last[i]
        ]
        if not pairs:
            return
        cs = np.array([c for c, _ in pairs])
        settings = np.array([i for _, i in pairs])
        rows = np.arange(len(pairs))
        points = best[:, cs].copy()
        up = box.signs[cs, settings] == 1
        bad = np.where(up, box.first[settings], box.last[settings])
        good = np.where(up, box.last[settings], box.first[settings])
        points[settings, rows] = bad
        fails = self.problem.slacks(constraints, cs, points) < 0
        if not fails.any():
            return
        cs, settings, up, bad, good = cs[fails], settings[fails], up[fails], bad[fails], good[fails]
        points, rows = points[:, fails], np.arange(int(fails.sum()))
        while (np.abs(good - bad) > 1).any():
            middle = (good + bad) // 2
            points[settings, rows] = middle
            holds = self.problem.slacks(constraints, cs, points) >= 0
            open_ = np.abs(good - bad) > 1
            good = np.where(holds & open_, middle, good)
            bad = np.where(~holds & open_, middle, bad)
        for i, rising, end in zip(settings, up, good, strict=True):
            if rising:
                box.first[i] = max(box.first[i], end)
            else:
                box.last[i] = min(box.last[i], end)

    def _dominate(self, box: _Box, live: NDArray[np.bool_], merit: int | None) -> None:
        """Fix a setting at an end where everything that still bites pushes it the same way."""
        for i in range(len(box.first)):
            if box.first[i] == box.last[i]:
                continue
            signs = box.signs[live, i]
            if merit is not None:
                signs = np.append(signs, box.signs[-1, i])
            if (signs == UNKNOWN).any():
                continue
            if (signs >= 0).all() and (signs == 1).any():
                box.first[i] = box.last[i]
            elif (signs <= 0).all() and (signs == -1).any():
                box.last[i] = box.first[i]
            elif (signs == 0).all():
                box.first[i] = box.last[i] = (box.first[i] + box.last[i]) // 2

    def _probe(self, box: _Box, constraints: Constraints, merit: int | None) -> Indices | None:
        """Try a few points of the box; give the best that holds."""
        middle = (box.first + box.last) // 2
        points = [middle]
        if merit is not None:
            sign = box.signs[-1]
            points += [
                np.where(sign == 1, box.last, np.where(sign == -1, box.first, middle)),
                np.where(sign == 1, box.first, np.where(sign == -1, box.last, middle)),
            ]
        points += [box.first, box.last]
        candidates = np.unique(np.stack(points, axis=1), axis=1)
        holds = (self.problem.table(constraints, candidates) >= 0).all(axis=0)
        if not holds.any():
            return None
        sound = candidates[:, holds]
        if merit is None:
            return np.asarray(sound[:, 0])
        return np.asarray(sound[:, int(np.argmax(self.problem.merit(merit, sound)))])

    def _halves(self, box: _Box, merit: int | None) -> list[_Box]:
        """Split a box: first where the merit lies, else the setting with the most steps."""
        widths = (box.last - box.first).astype(float)
        if merit is not None:
            widths[box.signs[-1] != 0] *= 4.0
        i = int(np.argmax(widths))
        middle = (box.first[i] + box.last[i]) // 2
        below = _Box(box.first.copy(), box.last.copy(), box.signs.copy())
        above = _Box(box.first.copy(), box.last.copy(), box.signs.copy())
        below.last[i] = middle
        above.first[i] = middle + 1
        return [above, below]

    def _ceiling(self, box: _Box, merit: int | None) -> float:
        """Bound the merit over a box from above."""
        if merit is None:
            return float((box.last - box.first).sum())
        sign = box.signs[-1]
        low = np.where(sign == 1, box.last, box.first)
        high = np.where(sign == -1, box.first, box.last)
        if (sign[box.first < box.last] != UNKNOWN).all():
            return float(self.problem.merit(merit, np.where(sign == 1, box.last, box.first)[:, None])[0])
        problem = self.problem
        enclosures = problem.tape.enclosures(
            problem.variables(problem.settings_at(low[:, None]), problem.stated[:, None]),
            problem.variables(problem.settings_at(high[:, None]), problem.stated[:, None]),
        )
        return float(np.ravel(enclosures[problem.network.merits[merit].node].hi)[0])
