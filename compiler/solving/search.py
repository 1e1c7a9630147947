"""Branch and prune over lattice boxes: contraction by proved monotonicity, dominance, best bound first."""

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from .problem import NO_BOUND, TOLERANCE, UNKNOWN, Constraints, Indices, Problem
from .slopes import Signs, directions, setting_signs
from .tape import row

MOST_PASSES = 12
_PARTS = 16
FEW_POINTS = 512
"""A box with no more points than this is settled by looking at each."""


class OutOfEffort(Exception):
    """The stated limit of boxes was reached before the search ended; ``best`` is the best point seen, if any."""

    def __init__(self, best: Indices | None = None) -> None:
        super().__init__()
        self.best = best


@dataclass(slots=True)
class _Box:
    first: Indices
    last: Indices
    signs: Signs

    @property
    def points(self) -> int:
        """How many lattice points the box has."""
        return math.prod(int(n) for n in self.last - self.first + 1)

    def all_points(self, order: Sequence[int]) -> Indices:
        """List them (settings, points); the settings first in ``order`` change fastest."""
        rest = np.arange(self.points)
        found = np.repeat(self.first[:, None], rest.size, axis=1)
        for i in order:
            rest, at = np.divmod(rest, self.last[i] - self.first[i] + 1)
            found[i] += at
        return found


class Search:
    """Finds lattice points where constraints hold, within a box of settings and a limit of boxes."""

    def __init__(self, problem: Problem, constraints: Constraints, limit: int) -> None:
        self.problem = problem
        self.constraints = constraints
        self.limit = limit

    def any_point(self, first: Indices, last: Indices) -> Indices | None:
        """Give a point that holds, or None where it is proved that there is none."""
        return self._run(first, last, None)

    def best_point(self, first: Indices, last: Indices, merit: int, known: Indices | None = None) -> Indices | None:
        """Give a point that holds with the largest merit, or None where it is proved that none holds.

        ``known`` is a point that holds, to start from.
        """
        return self._run(first, last, merit, known)

    # ---- the loop

    def _run(self, first: Indices, last: Indices, merit: int | None, known: Indices | None = None) -> Indices | None:
        constraints = self.constraints
        best, best_value = None, -np.inf
        if merit is not None:
            # The merit rides along as a constraint whose bound is the best found so far.
            constraints = constraints.plus(self.problem.threshold(merit, NO_BOUND))
            if known is not None:
                best, best_value = known, self._raise(constraints, merit, known)
        order = count()
        root = _Box(first.copy(), last.copy(), self._known_signs(constraints))
        heap: list[tuple[float, int, _Box]] = [(-np.inf, next(order), root)]
        while heap:
            bound, _, box = heapq.heappop(heap)
            if merit is not None and best is not None and -bound <= best_value:
                break
            self.problem.boxes += 1
            self.limit -= 1
            if self.limit < 0:
                raise OutOfEffort(best)
            if box.points > FEW_POINTS and not self._narrow(box, constraints, merit):
                continue
            found = self._probe(box, constraints, merit)
            if found is not None:
                if merit is None:
                    return found
                value = float(self.problem.merit(merit, found[:, None])[0])
                if value > best_value:
                    best, best_value = found, self._raise(constraints, merit, found)
            if box.points <= FEW_POINTS:
                continue
            for half in self._halves(box, merit):
                ceiling = self._ceiling(half, merit)
                if merit is None or best is None or ceiling > best_value:
                    heapq.heappush(heap, (-ceiling, next(order), half))
        return best

    def _known_signs(self, constraints: Constraints) -> Signs:
        """Give the signs (constraints, settings) that hold over all settings and inputs; each box proves the others."""
        proved, count = directions(self.problem), self.problem.tape.setting_count
        rows = [proved[o][:count] for o in constraints.output]
        return np.array(rows, dtype=np.int8).reshape(len(constraints), count)

    def _raise(self, constraints: Constraints, merit: int, point: Indices) -> float:
        """Ask for more of the merit than a point has; give what it has."""
        value = float(self.problem.merit(merit, point[:, None])[0])
        constraints.bound[-1] = np.nextafter(value, np.inf) + 2 * TOLERANCE * abs(value)
        return value

    # ---- one box

    def _narrow(self, box: _Box, constraints: Constraints, merit: int | None) -> bool:
        """Contract and fix by dominance until nothing changes; False where the box is refuted."""
        self._prove_signs(box, constraints)
        for _ in range(MOST_PASSES):
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
        open_ = np.flatnonzero((box.signs[:, free] == UNKNOWN).any(axis=1))
        if open_.size:
            proved = setting_signs(self.problem, constraints.take(open_), box.first, box.last)
            box.signs[open_] = np.where(box.signs[open_] == UNKNOWN, proved, box.signs[open_])
        box.signs[:, ~free] = np.where(box.signs[:, ~free] == UNKNOWN, 0, box.signs[:, ~free])

    def _contract(self, box: _Box, constraints: Constraints) -> NDArray[np.bool_] | None:
        """Cut off what no value of the other settings can save; give the constraints that still bite.

        None where a constraint fails at its best corner.
        """
        known = ((box.signs != UNKNOWN) | (box.first == box.last)).all(axis=1)
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
        """Bound constraints with unproved signs by intervals: may each hold somewhere, does it everywhere.

        Settings of proved sign stand at their better end for the one question, at their worse end for the other.
        """
        problem, count = self.problem, which.size
        part = constraints.take(which)
        signs = np.tile(box.signs[which].T, 2)
        rows = np.arange(2 * count)
        first, last = box.first[:, None], box.last[:, None]
        low = np.where((signs == 1) & (rows < count), last, first)
        high = np.where((signs == -1) & (rows < count), first, last)
        low = np.where((signs == -1) & (rows >= count), last, low)
        high = np.where((signs == 1) & (rows >= count), first, high)
        inputs = np.tile(part.inputs, 2)
        outputs = [n for n in (*part.output, *part.left, *part.right) if n >= 0]
        enclosures = problem.tape.enclosures(
            problem.variables(problem.settings_at(low), inputs),
            problem.variables(problem.settings_at(high), inputs),
            outputs=outputs,
        )
        defined = problem.defined(enclosures, np.array(part.output * 2), rows)
        somewhere, everywhere = np.ones(count, dtype=np.bool_), np.zeros(count, dtype=np.bool_)
        for c in range(count):
            sides = [row(enclosures[n], c) for n in (part.left[c], part.right[c]) if n >= 0]
            size = max(abs(v) for v in (*(end for side in sides for end in side), part.bound[c]))
            upper = row(enclosures[part.output[c]], c)[1] - part.bound[c]
            lower = row(enclosures[part.output[c]], count + c)[0] - part.bound[c]
            # Comparisons with NaN are false: then it may hold somewhere, and need not everywhere.
            somewhere[c] = not upper + TOLERANCE * size < 0
            everywhere[c] = bool(np.isfinite(lower) and lower >= 0 and defined[count + c])
        return somewhere, everywhere

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
        points = points[:, fails]
        while (np.abs(good - bad) > 1).any():
            # Several places at once: one batch costs little more than one row.
            places = bad + (good - bad) * np.arange(1, _PARTS)[:, None] // _PARTS
            tried = np.tile(points, _PARTS - 1)
            tried[np.tile(settings, _PARTS - 1), np.arange(tried.shape[1])] = places.ravel()
            fail = self.problem.slacks(constraints, np.tile(cs, _PARTS - 1), tried) < 0
            fail = fail.reshape(places.shape)
            # Places run from bad to good; slack never falls on the way.
            failing = np.logical_and.accumulate(fail).sum(axis=0)
            ladder = np.concatenate([bad[None], places, good[None]])
            columns = np.arange(len(cs))
            bad, good = ladder[failing, columns], ladder[failing + 1, columns]
        for i, rising, end in zip(settings, up, good, strict=True):
            if rising:
                box.first[i] = max(box.first[i], end)
            else:
                box.last[i] = min(box.last[i], end)

    def _dominate(self, box: _Box, live: NDArray[np.bool_], merit: int | None) -> None:
        """Fix a setting at an end where everything that still bites pushes it the same way."""
        if merit is not None:
            live[-1] = True
        signs = box.signs[live]
        unknown, up, down = ((signs == sign).any(axis=0) for sign in (UNKNOWN, 1, -1))
        for i in self.problem.by_name:
            if box.first[i] == box.last[i] or unknown[i] or (up[i] and down[i]):
                continue
            middle = (box.first[i] + box.last[i]) // 2
            box.first[i] = box.last[i] = box.last[i] if up[i] else box.first[i] if down[i] else middle

    def _probe(self, box: _Box, constraints: Constraints, merit: int | None) -> Indices | None:
        """Try a few points of the box, or all where they are few; give the best that holds."""
        if box.points <= FEW_POINTS:
            candidates = box.all_points(self.problem.by_name)
        else:
            middle = (box.first + box.last) // 2
            points = [middle]
            if merit is not None:
                sign = box.signs[-1]
                points += [
                    np.where(sign == 1, box.last, np.where(sign == -1, box.first, middle)),
                    np.where(sign == 1, box.first, np.where(sign == -1, box.last, middle)),
                ]
            points += [box.first, box.last]
            candidates = np.stack(list({p.tobytes(): p for p in points}.values()), axis=1)
        holds = (self.problem.table(constraints, candidates) >= 0).all(axis=0)
        if not holds.any():
            return None
        sound = candidates[:, holds]
        if merit is None:
            return np.asarray(sound[:, 0])
        values = self.problem.merit(merit, sound)
        # The first of those that are best but for rounding, so that the choice does not hang on that.
        return np.asarray(sound[:, int(np.argmax(values >= values.max() - 1e-12 * abs(values.max())))])

    def _halves(self, box: _Box, merit: int | None) -> list[_Box]:
        """Split a box: first a setting whose direction is not proved, then where the merit lies, then the widest.

        Where all directions are proved, contraction does the rest.
        """
        widths = (box.last - box.first).astype(float)
        undecided = (box.signs == UNKNOWN).any(axis=0) & (widths > 0)
        if undecided.any():
            widths[~undecided] = 0.0
        elif merit is not None:
            widths[box.signs[-1] != 0] *= 4.0
        i = max(self.problem.by_name, key=lambda k: widths[k])
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
        problem, node = self.problem, self.problem.network.merits[merit].node
        sign = box.signs[-1]
        low = np.where(sign == 1, box.last, box.first)
        high = np.where(sign == -1, box.first, box.last)
        enclosures = problem.tape.enclosures(
            problem.variables(problem.settings_at(low[:, None]), problem.stated[:, None]),
            problem.variables(problem.settings_at(high[:, None]), problem.stated[:, None]),
            outputs=(node,),
        )
        ceiling = row(enclosures[node], 0)[1]
        return np.inf if np.isnan(ceiling) else ceiling
