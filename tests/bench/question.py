"""One question put to our solver and to general-purpose ones: the most of a merit under scenario constraints."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from time import process_time

import numpy as np
from meltwright.network.graph import Network
from meltwright.solving.answering import Answer, margins, solve, solve_all
from meltwright.solving.problem import Problem
from meltwright.solving.proving import prove
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

TOLERANCE = 1e-9
"""Two sides that differ by no more than this share of the larger count as equal, as everywhere in the compiler."""

BROKEN = -2.0
"""Slack where a side is not a number; sides of one sign differ by no more than the larger."""

MOST_ROUNDS = 60


FLEET = 64
"""Machines that are solved in one batch."""


@dataclass(frozen=True, slots=True)
class Ours:
    """Our answer to the first preference alone, with what it took; ``whole`` is the time of the profile as written.

    ``together`` is the time of that as one of a fleet.
    """

    answer: Answer
    alone: float
    whole: float
    together: float


def ask(network: Network, runs: int = 3) -> tuple["Question", Ours] | None:
    """Solve a network for its first preference alone; None where it has none or is refused.

    Times are processor seconds, the median of warm runs of the whole proven solve, bands and margins included.
    """
    single = replace(network, merits=network.merits[:1])
    problem, answer = solve(single)
    if not single.merits or not isinstance(answer, Answer):
        return None
    return Question(problem, answer), Ours(answer, _median(single, runs), _median(network, runs), _together(network))


def _together(network: Network) -> float:
    """Give the time of one of a fleet; alike or not costs the same: machines share nothing but the passes."""
    solve_all([network] * FLEET)
    start = process_time()
    solve_all([network] * FLEET)
    return (process_time() - start) / FLEET


def _median(network: Network, runs: int) -> float:
    taken = []
    for _ in range(runs):
        start = process_time()
        solve(network)
        taken.append(process_time() - start)
    return float(np.median(taken))


class Question:
    """Maximise the first merit at the stated values over the free settings.

    Constraints are requirements, each at one set of input values: the worst for it at our answer, and the worst in
    the middle of the lattices. Requirements that our answer set aside do not count. A point is given by the positions
    of the free settings on their lattices, (free, rows); positions between lattice points are allowed.
    ``evaluations`` counts rows that went through the tape.
    """

    def __init__(self, problem: Problem, answer: Answer) -> None:
        self.problem, self.network = problem, problem.network
        self.ours = answer.point
        self.active = [m.requirement for m in answer.margins]
        self.free = np.flatnonzero(problem.first < problem.last)
        self.first = problem.first[self.free].astype(float)
        self.last = problem.last[self.free].astype(float)
        self.merit_node = self.network.merits[0].node
        self.scenarios = self._scenarios(answer)
        self.column, self.inputs = self._merged()
        self.evaluations = 0
        rows = self.ours[self.free][:, None].astype(float)
        self.best = float(self.merit(rows)[0])
        self.evaluations = 0

    def _scenarios(self, answer: Answer) -> list[tuple[int, Floats]]:
        found: dict[tuple[int, bytes], tuple[int, Floats]] = {}
        middle = (self.problem.first + self.problem.last) // 2
        for margin in (*answer.margins, *margins(self.problem, middle, self.active)):
            cares = self._cares(self.network.requirements[margin.requirement].slack)
            key = (margin.requirement, margin.inputs[cares].tobytes())
            found.setdefault(key, (margin.requirement, margin.inputs))
        return list(found.values())

    def _cares(self, node: int) -> NDArray[np.bool_]:
        """Tell which inputs a node depends on."""
        bits = self.problem.tape.depends[node] >> len(self.network.settings)
        return np.array([bool(bits >> i & 1) for i in range(len(self.network.inputs))], dtype=np.bool_)

    def touches(self, node: int) -> list[int]:
        """List which of the free settings a node depends on."""
        return [k for k, i in enumerate(self.free) if self.problem.tape.depends[node] >> int(i) & 1]

    def _merged(self) -> tuple[list[int], Floats]:
        """Put scenarios that differ in no input that their requirements depend on at one column of inputs.

        The peers get what our own search does, or they would evaluate several times as much.
        """
        column: list[int] = []
        values: list[Floats] = []
        masks: list[NDArray[np.bool_]] = []
        for r, wanted in self.scenarios:
            cares = self._cares(self.network.requirements[r].slack)
            fits = ((v[m & cares] == wanted[m & cares]).all() for v, m in zip(values, masks, strict=True))
            at = next((k for k, fit in enumerate(fits) if fit), len(values))
            if at == len(values):
                values.append(wanted)
                masks.append(cares)
            else:
                values[at] = np.where(cares, wanted, values[at])
                masks[at] = masks[at] | cares
            column.append(at)
        none = np.zeros((len(self.network.inputs), 0))
        return column, np.stack(values, axis=1) if values else none

    # ---- evaluation

    def settings(self, rows: Floats) -> Floats:
        """Turn positions of the free settings (free, rows) into all settings in base units."""
        found = np.repeat(self.ours[:, None], rows.shape[1], axis=1).astype(float)
        found[self.free] = rows
        for i, values in enumerate(self.problem.lattices):
            found[i] = np.interp(found[i], np.arange(len(values)), values)
        return found

    def _sides(self, rows: Floats, which: Sequence[int] | None = None) -> tuple[Floats, Floats]:
        self.evaluations += rows.shape[1]
        which = range(len(self.scenarios)) if which is None else which
        chosen = [self.network.requirements[self.scenarios[c][0]] for c in which]
        x = [*self.settings(rows)[:, None, :], *self.inputs[:, :, None]]
        nodes = self.problem.tape.values(x, outputs=tuple(n for q in chosen for n in (q.left, q.right)))
        sides = np.empty((2, len(chosen), rows.shape[1]))
        for at, (c, requirement) in enumerate(zip(which, chosen, strict=True)):
            for side, node in zip(sides, (requirement.left, requirement.right), strict=True):
                value = np.asarray(nodes[node])
                side[at] = value if value.ndim < 2 else value[0 if value.shape[0] == 1 else self.column[c]]
        return sides[0], sides[1]

    def slacks(self, rows: Floats, which: Sequence[int] | None = None) -> Floats:
        """Give slack plus tolerance (constraints, rows) as a share of the larger side.

        ``which`` picks some of the constraints. This form is bounded, and smooth where the sides are equal.
        """
        left, right = self._sides(rows, which)
        with np.errstate(all="ignore"):
            size = np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
            slack = (right - left) / size + TOLERANCE
        return np.where(np.isfinite(slack), slack, BROKEN)

    def merit(self, rows: Floats) -> Floats:
        """Give the merit (rows,) in base units at the stated values."""
        x = [*self.settings(rows), *self.problem.stated[:, None]]
        value = self.problem.tape.values(x, outputs=(self.merit_node,))[self.merit_node]
        return np.broadcast_to(value, (rows.shape[1],))

    # ---- lattice points

    @property
    def points(self) -> float:
        """How many lattice points there are."""
        return float(np.prod(self.last - self.first + 1))

    @cached_property
    def step(self) -> float:
        """The least change of the merit at our answer that one lattice step of one setting makes; 0 where none does."""
        here = self.ours[self.free].astype(float)
        rows = [here]
        for k in range(here.size):
            for way in (-1, 1):
                moved = here.copy()
                moved[k] = np.clip(here[k] + way, self.first[k], self.last[k])
                rows.append(moved)
        change = np.abs(self.merit(np.stack(rows, axis=1)) - self.best)
        change = change[change > TOLERANCE * abs(self.best)]
        return float(change.min()) if change.size else 0.0

    def whole(self, row: Floats) -> Indices:
        """Give the lattice indices of all settings from whole positions (free,) of the free ones."""
        point = self.ours.copy()
        point[self.free] = np.rint(row).astype(np.int64)
        return point

    def holds(self, rows: Floats) -> NDArray[np.bool_]:
        """Tell which rows meet all constraints."""
        return np.asarray((self.slacks(rows) >= 0).all(axis=0))

    def rounded(self, ends: Sequence[Floats], most: int = 4) -> Floats | None:
        """Round end points to the lattice and mend them among their neighbours; None where none can be mended.

        The best few end points are taken: all ways of rounding up or down, then steps of one setting, or of two by
        one, as long as one of them breaks less, or breaks nothing and has more of the merit.
        """
        if not ends:
            return None
        taken = sorted({e.tobytes(): e for e in ends}.values(), key=lambda e: self._rank(e[:, None])[0])[:most]
        found = [self._mended(self._roundings(end)) for end in taken]
        ranked = [(self._rank(row[:, None])[0], row) for row in found]
        (broken, _), best = min(ranked, key=lambda pair: pair[0])
        return None if broken else best

    def _roundings(self, end: Floats) -> Floats:
        ways = np.array(list(product((0.0, 1.0), repeat=min(end.size, 10)))).T
        low = np.repeat(np.floor(end + 1e-9)[:, None], ways.shape[1], axis=1)
        low[: ways.shape[0]] += ways
        # Beyond ten settings the last go to the nearest.
        low[ways.shape[0] :] = np.rint(end[ways.shape[0] :])[:, None]
        return np.clip(low, self.first[:, None], self.last[:, None])

    def _rank(self, rows: Floats) -> list[tuple[float, float]]:
        """Give what is broken, then the merit with its sign turned: the least is the best."""
        broken = -np.minimum(self.slacks(rows), 0.0).sum(axis=0)
        return list(zip(broken.tolist(), (-self.merit(rows)).tolist(), strict=True))

    def _mended(self, rows: Floats) -> Floats:
        best, row = self._first(rows)
        moves = self._moves
        for _ in range(MOST_ROUNDS):
            rank, moved = self._first(np.clip(row[:, None] + moves, self.first[:, None], self.last[:, None]))
            if rank >= best:
                break
            best, row = rank, moved
        return row

    def _first(self, rows: Floats) -> tuple[tuple[float, float], Floats]:
        ranks = self._rank(rows)
        at = min(range(len(ranks)), key=ranks.__getitem__)
        return ranks[at], rows[:, at]

    @cached_property
    def _moves(self) -> Floats:
        one = np.eye(self.free.size)
        moves = [way * size * one[k] for k in range(self.free.size) for way in (-1, 1) for size in (1, 2, 5)]
        for k in range(self.free.size):
            for other in range(k):
                moves += [a * one[k] + b * one[other] for a in (-1, 1) for b in (-1, 1)]
        return np.stack(moves, axis=1)

    # ---- judging

    def judge(self, row: Floats) -> list[str]:
        """Name the requirements that a point breaks or leaves undecided for some input values, by rigorous proof."""
        verdicts = prove(self.problem, self.whole(row), self.active)
        names = []
        for r, verdict in zip(self.active, verdicts, strict=True):
            if not verdict.holds:
                names.append(self.network.requirements[r].name + ("" if verdict.holds is False else " (undecided)"))
        return list(dict.fromkeys(names))
