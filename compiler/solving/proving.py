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
from .problem import TOLERANCE, UNKNOWN, Indices, Problem
from .slopes import ends, input_slopes, signs_of
from .tape import Bounds, Floats, Mask

MOST_PIECES = 512
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
    """Decide pairs of a lattice point and a requirement over the whole input ranges."""
    return _Proof(problem, questions).verdicts() if questions else []


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Open boxes of inputs (inputs, rows), and the question that each belongs to."""

    question: NDArray[np.int64]
    low: Floats
    high: Floats

    def take(self, rows: Mask) -> "_Pieces":
        return _Pieces(self.question[rows], self.low[:, rows], self.high[:, rows])


class _Proof:
    def __init__(self, problem: Problem, questions: Sequence[tuple[Indices, int]]) -> None:
        self.problem = problem
        self.points = np.stack([point for point, _ in questions], axis=1)
        self.requirements = [problem.network.requirements[r] for _, r in questions]
        count = len(questions)
        self.holds: list[bool | None] = [True] * count
        self.worst = np.repeat(problem.stated[:, None], count, axis=1)
        self.least = np.full(count, np.inf)
        self.pieces = np.ones(count, dtype=np.int64)

    def verdicts(self) -> list[Verdict]:
        problem, count = self.problem, len(self.requirements)
        open_ = _Pieces(
            np.arange(count),
            np.repeat(problem.low[:, None], count, axis=1),
            np.repeat(problem.high[:, None], count, axis=1),
        )
        while open_.question.size:
            open_ = self._round(open_)
        return [Verdict(h, self.worst[:, q]) for q, h in enumerate(self.holds)]

    def _round(self, open_: _Pieces) -> _Pieces:
        """Decide what can be decided; give the halves of the rest."""
        questions, rows = open_.question, open_.question.size
        slack = [self.requirements[q].slack for q in questions]
        enclosures, slopes, wanted = input_slopes(
            self.problem, self.points[:, questions], open_.low, open_.high, self._outputs(questions)
        )
        sound = self.problem.defined(enclosures, slack, rows)
        steepest = self._collapse(open_, slopes, wanted, slack, sound)
        proved = self._enclosed(open_, steepest) & sound
        broken, undecidable = self._sample(open_, slopes, wanted, slack, ~proved)
        for q in questions[broken]:
            self.holds[q] = False
        left = ~proved & (np.array([self.holds[q] for q in questions]) != False)  # noqa: E712
        for q in questions[left & undecidable]:
            self.holds[q] = None
        crowded = self.pieces[questions] >= MOST_PIECES
        for q in questions[left & crowded]:
            self.holds[q] = None
        left &= np.array([self.holds[q] is True for q in questions])
        return self._halves(open_.take(left), steepest[:, left])

    def _outputs(self, questions: NDArray[np.int64]) -> list[int]:
        chosen = [self.requirements[q] for q in np.unique(questions)]
        return [n for r in chosen for n in (r.slack, r.left, r.right)]

    def _collapse(
        self, open_: _Pieces, slopes: list[Bounds], wanted: list[int], slack: list[int], sound: Mask
    ) -> Floats:
        """Put inputs of proved direction at their worse end; give the steepest slope (inputs, rows) of the others."""
        steepest = np.zeros(open_.low.shape)
        for at, node in enumerate(slack if wanted else ()):
            low, high = ends(slopes[node], at, len(wanted))
            signs = signs_of(low, high) if sound[at] else np.full(len(wanted), UNKNOWN)
            for sign, i, lo, hi in zip(signs, wanted, low, high, strict=True):
                if sign == UNKNOWN:
                    steepest[i, at] = max(abs(lo), abs(hi))
                elif sign == 0:
                    middle = (open_.low[i, at] + open_.high[i, at]) / 2
                    open_.low[i, at] = open_.high[i, at] = min(max(self.problem.stated[i], open_.low[i, at]), middle)
                else:
                    worse = open_.low[i, at] if sign > 0 else open_.high[i, at]
                    open_.low[i, at] = open_.high[i, at] = worse
        return steepest

    def _enclosed(self, open_: _Pieces, steepest: Floats) -> Mask:
        """Tell which boxes hold by the enclosure over the box, or at its middle less what the slopes can take.

        Source: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), section 6.4.
        """
        rows = open_.question.size
        half = (open_.high - open_.low) / 2
        middle = open_.low + half
        low, high = (np.concatenate([end, middle], axis=1) for end in (open_.low, open_.high))
        settings = self.problem.settings_at(np.tile(self.points[:, open_.question], 2))
        enclosures = self.problem.tape.enclosures(
            self.problem.variables(settings, low),
            self.problem.variables(settings, high),
            self._outputs(open_.question),
        )
        with np.errstate(all="ignore"):
            reach = half * (1 + 1e-12) * steepest
            most = np.where(half > 0, reach, 0.0).sum(axis=0) * (1 + 1e-12)
        proved = np.zeros(rows, dtype=np.bool_)
        for at, q in enumerate(open_.question):
            for column, taken in ((at, 0.0), (rows + at, most[at])):
                lo, tolerance = self._least_slack(enclosures, q, column)
                if np.isfinite(taken) and np.isfinite(lo) and lo - taken >= -tolerance:
                    proved[at] = True
        return proved

    def _least_slack(self, enclosures: list[Interval], q: int, column: int) -> tuple[float, float]:
        """Give the lower end of a slack, and the tolerance that is granted all over its box."""
        requirement = self.requirements[q]
        sizes = [0.0]
        for node in (requirement.left, requirement.right):
            lo, hi = _ends(enclosures[node], column)
            if lo > 0 or hi < 0:
                sizes.append(min(abs(lo), abs(hi)))
        lo, hi = _ends(enclosures[requirement.slack], column)
        finite = np.isfinite(hi)
        return (lo if finite else np.nan), 2 * TOLERANCE * max(sizes)

    def _sample(
        self, open_: _Pieces, slopes: list[Bounds], wanted: list[int], slack: list[int], rows: Mask
    ) -> tuple[Mask, Mask]:
        """Look at points of boxes, and note the worst; tell which break, and which are single points."""
        problem, count = self.problem, open_.question.size
        lean = np.zeros(open_.low.shape, dtype=np.bool_)
        for at, node in enumerate(slack if wanted else ()):
            low, high = ends(slopes[node], at, len(wanted))
            lean[wanted, at] = low + high > 0
        samples = np.stack(
            [
                np.where(lean, open_.low, open_.high),
                open_.low + (open_.high - open_.low) / 2,
                open_.low,
                open_.high,
                np.where(lean, open_.high, open_.low),
            ],
            axis=1,
        )
        kinds = samples.shape[1]
        owners = np.tile(open_.question, kinds)
        flat = samples.reshape(samples.shape[0], kinds * count)
        x = problem.variables(problem.settings_at(self.points[:, owners]), flat)
        nodes = problem.tape.values(x, self._outputs(open_.question))
        broken = np.zeros(count, dtype=np.bool_)
        for at, q in enumerate(owners):
            requirement = self.requirements[q]
            left, right = _at(nodes[requirement.left], at), _at(nodes[requirement.right], at)
            size = max(abs(left), abs(right))
            share = (right - left) / size if size else 0.0
            if not np.isfinite(share):
                share = -np.inf
            if share < self.least[q]:
                self.least[q], self.worst[:, q] = share, flat[:, at]
            broken[at % count] |= share < -TOLERANCE
        return broken & rows, (open_.low == open_.high).all(axis=0)

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


def _at(values: Floats, row: int) -> float:
    return float(values[0 if values.size == 1 else row])


def _ends(interval: Interval, row: int) -> tuple[float, float]:
    return _at(interval.lo, row), _at(interval.hi, row)
