"""Proof that requirements hold at lattice points for all input values, or the values where they do not.

Every open question is a box of inputs at a lattice point. A round looks at all boxes of all questions in one batch:
inputs of proved direction go to their worse ends, then the box is decided by its enclosure, by the mean value form,
by a point that breaks the requirement, or it is halved.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .operators import Interval
from .problem import TOLERANCE, UNKNOWN, Indices, Problem, slack_of
from .slopes import directions, input_slopes, signs_of, worst_corner
from .tape import Floats, Mask

MOST_QUESTIONS = 1024
"""Questions that are looked at in one batch."""

HALVINGS = 2
"""How often open boxes are halved from one round to the next."""

MOST_PIECES = 1024
"""Boxes that one question may be cut into."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """``holds`` is None where the work limit came first. ``inputs`` are the worst values found (inputs,)."""

    holds: bool | None
    inputs: Floats


def prove(problem: Problem, indices: Indices, requirements: Sequence[int]) -> list[Verdict]:
    """Decide requirements at one lattice point over the whole input ranges."""
    return prove_all(problem, [(indices, r) for r in requirements])


def prove_all(problem: Problem, questions: Sequence[tuple[Indices, int]]) -> list[Verdict]:
    """Decide pairs of a lattice point and a requirement over the whole input ranges; what was decided is kept."""
    known, ranges = problem.verdicts, problem.low.tobytes() + problem.high.tobytes()
    keys = [(ranges, point.tobytes(), r) for point, r in questions]
    asked = {key: question for key, question in zip(keys, questions, strict=True) if key not in known}
    new = list(asked)
    for at in range(0, len(new), MOST_QUESTIONS):
        part = new[at : at + MOST_QUESTIONS]
        known.update(zip(part, _Proof(problem, [asked[key] for key in part]).verdicts(), strict=True))
    return [known[key] for key in keys]


@dataclass(slots=True)
class _Pieces:
    """Open boxes of inputs (inputs, rows), and the question that each belongs to."""

    question: NDArray[np.int64]
    low: Floats
    high: Floats

    def take(self, rows: Mask) -> "_Pieces":
        return _Pieces(self.question[rows], self.low[:, rows], self.high[:, rows])


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Slopes of each row's slack: ends of shape (inputs, rows), zero for inputs without influence."""

    low: Floats
    high: Floats


class _Proof:
    def __init__(self, problem: Problem, questions: Sequence[tuple[Indices, int]]) -> None:
        count = len(questions)
        self.problem = problem
        points = {point.tobytes(): point for point, _ in questions}
        self.distinct = np.stack(list(points.values()), axis=1)
        places = {key: at for at, key in enumerate(points)}
        self.place = np.array([places[point.tobytes()] for point, _ in questions])
        chosen = [problem.network.requirements[r] for _, r in questions]
        self.left = np.array([r.left for r in chosen])
        self.right = np.array([r.right for r in chosen])
        self.slack = np.array([r.slack for r in chosen])
        self.holds: list[bool | None] = [True] * count
        self.worst = np.repeat(problem.stated[:, None], count, axis=1)
        self.least = np.full(count, np.inf)
        self.pieces = np.ones(count, dtype=np.int64)

    def verdicts(self) -> list[Verdict]:
        """Go on until every question is decided or given up."""
        problem, count = self.problem, len(self.holds)
        proved = directions(problem)
        signs = np.array([proved[int(n)][problem.tape.setting_count :] for n in self.slack], dtype=np.int8)
        signs = signs.reshape(count, -1).T
        corner = worst_corner(problem, signs)
        low, high = (np.where(signs == UNKNOWN, end[:, None], corner) for end in (problem.low, problem.high))
        decided = self._at_corners(np.flatnonzero((low == high).all(axis=0)), corner)
        open_ = _Pieces(np.arange(count), low, high).take(~decided)
        while open_.question.size:
            open_ = self._round(open_)
        return [Verdict(h, self.worst[:, q]) for q, h in enumerate(self.holds)]

    def _at_corners(self, rows: NDArray[np.int64], corner: Floats) -> Mask:
        """Decide questions that have one worst corner, there alone; tell which could be decided."""
        problem, decided = self.problem, np.zeros(len(self.holds), dtype=np.bool_)
        if not rows.size:
            return decided
        x = problem.variables(problem.settings_at(self.distinct[:, self.place[rows]]), corner[:, rows])
        boxes = problem.tape.enclosures(x, x, outputs=self._outputs(rows))
        with np.errstate(all="ignore"):
            lo, hi = self._gather(boxes, self.slack, rows)
            sides = [np.abs(self._gather(boxes, side, rows)) for side in (self.left, self.right)]
            sound = np.isfinite(lo) & np.isfinite(hi)
            holds = sound & (lo >= -2 * TOLERANCE * np.min(sides, axis=1).max(axis=0))
            fails = sound & (hi < -TOLERANCE * np.max(sides, axis=(0, 1)))
        self.worst[:, rows] = corner[:, rows]
        for q in rows[fails]:
            self.holds[q] = False
        decided[rows[holds | fails]] = True
        return decided

    def _round(self, open_: _Pieces) -> _Pieces:
        """Decide what can be decided; give the halves of the rest."""
        questions = open_.question
        slopes, sound = self._slopes(open_)
        self._collapse(open_, slopes, sound)
        steepest = np.maximum(np.abs(slopes.low), np.abs(slopes.high))
        proved = self._enclosed(open_, steepest) & sound
        broken = self._sample(open_, slopes) & ~proved
        single = (open_.low == open_.high).all(axis=0)
        for q in questions[~proved & (single | (self.pieces[questions] >= MOST_PIECES))]:
            self.holds[q] = None
        for q in questions[broken]:
            self.holds[q] = False
        left = ~proved & np.array([self.holds[q] is True for q in questions])
        open_, steepest = open_.take(left), steepest[:, left]
        for _ in range(HALVINGS):
            open_ = self._halves(open_, steepest)
            steepest = np.tile(steepest, 2)
        return open_

    def _outputs(self, questions: NDArray[np.int64]) -> list[int]:
        return [int(n) for nodes in (self.left, self.right, self.slack) for n in nodes[questions]]

    def _slopes(self, open_: _Pieces) -> tuple[_Slopes, Mask]:
        """Enclose slopes over the boxes, and tell in which of them the slack is defined everywhere."""
        problem, questions = self.problem, open_.question
        points, nodes = self.distinct[:, self.place[questions]], self.slack[questions]
        enclosures, slopes, wanted = input_slopes(problem, points, open_.low, open_.high, [int(n) for n in nodes])
        found = _Slopes(np.zeros(open_.low.shape), np.zeros(open_.low.shape))
        for node in np.unique(nodes):
            slope, rows = slopes[node] if wanted else None, np.flatnonzero(nodes == node)
            if slope is None:
                continue
            for part, end in ((found.low, slope.lo), (found.high, slope.hi)):
                end = np.broadcast_to(end, (len(wanted), end.shape[-1]))
                part[np.ix_(np.array(wanted), rows)] = end if end.shape[1] == 1 else end[:, rows]
        return found, problem.defined(enclosures, nodes, np.arange(questions.size))

    def _collapse(self, open_: _Pieces, slopes: _Slopes, sound: Mask) -> None:
        """Put inputs of proved direction at their worse end, and those without influence at one value."""
        signs = signs_of(slopes.low, slopes.high)
        count, nodes = self.problem.tape.setting_count, self.slack[open_.question]
        for column in np.flatnonzero(~sound):
            mask = self.problem.tape.depends[nodes[column]] >> count
            depends = [bool(mask >> i & 1) for i in range(signs.shape[0])]
            signs[depends, column] = UNKNOWN
        stated = np.clip(self.problem.stated[:, None], open_.low, open_.high)
        worse = np.where(signs == 1, open_.low, np.where(signs == -1, open_.high, stated))
        open_.low = np.where(signs == UNKNOWN, open_.low, worse)
        open_.high = np.where(signs == UNKNOWN, open_.high, worse)

    def _enclosed(self, open_: _Pieces, steepest: Floats) -> Mask:
        """Tell which boxes hold by the enclosure over the box, or at its middle less what the slopes can take.

        Source: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), section 6.4.
        """
        problem, questions = self.problem, open_.question
        half = (open_.high - open_.low) / 2
        middle = open_.low + half
        low, high = (np.concatenate([end, middle], axis=1) for end in (open_.low, open_.high))
        settings = problem.settings_at(np.tile(self.distinct[:, self.place[questions]], 2))
        boxes = problem.tape.enclosures(
            problem.variables(settings, low), problem.variables(settings, high), outputs=self._outputs(questions)
        )
        with np.errstate(all="ignore"):
            taken = np.where(half > 0, half * steepest, 0.0).sum(axis=0) * (1 + 1e-12)
            taken = np.concatenate([np.zeros(questions.size), taken])
            lo, hi = self._gather(boxes, self.slack, np.tile(questions, 2))
            sizes = [np.zeros(questions.size)]
            for side in (self.left, self.right):
                below, above = self._gather(boxes, side, questions)
                sizes.append(np.where((below > 0) | (above < 0), np.minimum(np.abs(below), np.abs(above)), 0.0))
            proved = lo - taken >= np.tile(-2 * TOLERANCE * np.max(sizes, axis=0), 2)
            proved &= np.isfinite(lo) & np.isfinite(hi) & np.isfinite(taken)
        return np.asarray(proved.reshape(2, -1).any(axis=0))

    def _gather(self, boxes: list[Interval], nodes: NDArray[np.int64], questions: NDArray[np.int64]) -> Interval:
        """Pick each row's node out of a batch."""
        lows, highs = [b.lo for b in boxes], [b.hi for b in boxes]
        return Interval(_pick(lows, nodes[questions]), _pick(highs, nodes[questions]))

    def _sample(self, open_: _Pieces, slopes: _Slopes) -> Mask:
        """Look at points of boxes and note the worst; tell which boxes have one that breaks the requirement."""
        problem, count = self.problem, open_.question.size
        with np.errstate(all="ignore"):
            lean = slopes.low + slopes.high > 0
        samples = [np.where(lean, open_.low, open_.high)]
        if (open_.low < open_.high).any():
            middle = open_.low + (open_.high - open_.low) / 2
            samples += [middle, open_.low, open_.high, np.where(lean, open_.high, open_.low)]
        inputs = np.concatenate(samples, axis=1)
        owners = np.tile(open_.question, len(samples))
        x = problem.variables(problem.settings_at(self.distinct[:, self.place[owners]]), inputs)
        nodes = problem.tape.values(x, outputs=self._outputs(open_.question))
        left, right = _pick(nodes, self.left[owners]), _pick(nodes, self.right[owners])
        slack = slack_of(left, right)
        with np.errstate(all="ignore"):
            share = slack / np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
        share = np.where(np.isnan(slack), -np.inf, share)
        order = np.lexsort((share, owners))
        for q, at in zip(*np.unique(owners[order], return_index=True), strict=True):
            if share[order[at]] < self.least[q]:
                self.least[q], self.worst[:, q] = share[order[at]], inputs[:, order[at]]
        return np.asarray((~(slack >= 0)).reshape(len(samples), count).any(axis=0))

    def _halves(self, open_: _Pieces, steepest: Floats) -> _Pieces:
        """Halve each box across the input that can move the slack most."""
        rows = np.arange(open_.question.size)
        if not rows.size:
            return open_
        np.add.at(self.pieces, open_.question, 1)
        width = open_.high - open_.low
        with np.errstate(all="ignore"):
            impact = np.where(width > 0, steepest * width, -1.0)
            relative = width / np.maximum(np.abs(open_.low), np.abs(open_.high))
        endless = ~np.isfinite(impact).all(axis=0)
        impact[:, endless] = np.where(width > 0, relative, -1.0)[:, endless]
        i = np.argmax(impact, axis=0)
        middle = (open_.low + width / 2)[i, rows]
        below, above = open_.high.copy(), open_.low.copy()
        below[i, rows] = above[i, rows] = middle
        return _Pieces(
            np.tile(open_.question, 2),
            np.concatenate([open_.low, above], axis=1),
            np.concatenate([below, open_.high], axis=1),
        )


def _pick(values: Sequence[Floats], nodes: NDArray[np.int64]) -> Floats:
    """Pick each row's node out of a batch; a value that all rows share has only one."""
    picked = np.empty(nodes.size)
    for node in np.unique(nodes):
        rows, value = np.flatnonzero(nodes == node), values[node]
        picked[rows] = value if value.size == 1 else value[rows]
    return picked
