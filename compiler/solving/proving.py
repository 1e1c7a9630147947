"""Proof that requirements hold at lattice points for all input values, or the values where they do not.

Every open question is a box of inputs at a lattice point. A round looks at all boxes of all questions in one batch:
inputs of proved direction go to their worse ends, then the box is decided by its enclosure, by the mean value form,
by a point that breaks the requirement, or it is halved.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .batch import Batch, slack_of
from .operators import Interval
from .problem import TOLERANCE, UNKNOWN, Indices, Problem
from .slopes import directions, input_slopes, signs_of, worst_corner
from .tape import Floats, Mask

MOST_QUESTIONS = 4096
"""Questions that are looked at in one batch."""

HALVINGS = 2
"""How often open boxes are halved from one round to the next; twice as often while a question is in few pieces."""

FEW_PIECES = 16

MOST_PIECES = 1024
"""Boxes that one question may be cut into."""

BROKEN, HOLDS, OPEN = 0, 1, 2
"""What came of a question: some values break it, it holds for all, or the work limit came first."""


@dataclass(frozen=True, slots=True)
class Verdicts:
    """What came of each question, and the worst input values found (inputs, questions)."""

    holds: NDArray[np.int8]
    inputs: Floats


@dataclass(frozen=True, slots=True)
class Verdict:
    """``holds`` is None where the work limit came first. ``inputs`` are the worst values found (inputs,)."""

    holds: bool | None
    inputs: Floats


def prove(problem: Problem, point: Indices, requirements: Sequence[int]) -> list[Verdict]:
    """Decide requirements at one lattice point over the whole input ranges."""
    return prove_all(problem, [(point, r) for r in requirements])


def prove_all(problem: Problem, questions: Sequence[tuple[Indices, int]]) -> list[Verdict]:
    """Decide pairs of a lattice point and a requirement of one problem over the whole input ranges."""
    if not questions:
        return []
    points = np.stack([point for point, _ in questions], axis=1)
    machine, requirement = np.zeros(len(questions), dtype=np.int64), np.array([r for _, r in questions])
    found = decide(Batch([problem]), machine, points, requirement)
    said = {HOLDS: True, BROKEN: False}
    return [Verdict(said.get(int(h)), found.inputs[:, q]) for q, h in enumerate(found.holds)]


def decide(batch: Batch, machine: Indices, points: Indices, requirement: Indices) -> Verdicts:
    """Decide questions over the whole input ranges; each is a machine, a point (settings, questions), a requirement.

    What was decided is kept.
    """
    known = batch.verdicts
    texts = [column.tobytes() for column in np.ascontiguousarray(points.T)]
    keys = list(zip(machine.tolist(), texts, requirement.tolist(), strict=True))
    new = list({key: at for at, key in enumerate(keys) if key not in known}.values())
    for start in range(0, len(new), MOST_QUESTIONS):
        part = np.array(new[start : start + MOST_QUESTIONS])
        proof = _Proof(batch, machine[part], points[:, part], requirement[part])
        proof.run()
        for at, q in enumerate(part):
            known[keys[q]] = (int(proof.holds[at]), proof.worst[:, at])
    found = [known[key] for key in keys]
    inputs = np.array([inputs for _, inputs in found]).reshape(len(found), len(batch.stated)).T
    return Verdicts(np.array([holds for holds, _ in found], dtype=np.int8), inputs)


@dataclass(slots=True)
class _Pieces:
    """Open boxes of inputs (inputs, rows), and the question that each belongs to."""

    question: Indices
    low: Floats
    high: Floats

    def take(self, rows: Mask) -> "_Pieces":
        return _Pieces(self.question[rows], self.low[:, rows], self.high[:, rows])

    def plus(self, other: "_Pieces") -> "_Pieces":
        return _Pieces(
            np.concatenate([self.question, other.question]),
            np.concatenate([self.low, other.low], axis=1),
            np.concatenate([self.high, other.high], axis=1),
        )


class _Proof:
    def __init__(self, batch: Batch, machine: Indices, points: Indices, requirement: Indices) -> None:
        count = machine.size
        self.batch = batch
        self.machine = machine
        self.points = points
        self.left, self.right = batch.left_nodes[requirement], batch.right_nodes[requirement]
        self.slack = batch.slack_nodes[requirement]
        self.holds = np.full(count, HOLDS, dtype=np.int8)
        self.worst = batch.stated[:, machine].copy()
        self.least = np.full(count, np.inf)
        self.pieces = np.ones(count, dtype=np.int64)

    def run(self) -> None:
        """Go on until every question is decided or given up."""
        batch, machine = self.batch, self.machine
        proved = directions(batch)
        signs = proved.signs[proved.rows(self.slack), batch.setting_count :, machine].T
        low, high, stated = batch.low[:, machine], batch.high[:, machine], batch.stated[:, machine]
        corner = worst_corner(signs, low, high, stated)
        low, high = (np.where(signs == UNKNOWN, end, corner) for end in (low, high))
        decided = self._at_corners(np.flatnonzero((low == high).all(axis=0)), corner)
        open_ = _Pieces(np.arange(machine.size), low, high).take(~decided)
        while open_.question.size:
            open_ = self._round(open_)

    def _at_corners(self, rows: Indices, corner: Floats) -> Mask:
        """Decide questions that have one worst corner, there alone; tell which could be decided."""
        decided = np.zeros(self.holds.size, dtype=np.bool_)
        if not rows.size:
            return decided
        at = self.batch.settings_at(self.points[:, rows]), corner[:, rows]
        found = self.batch.enclosed(self.slack[rows], at, at, also=(self.left[rows], self.right[rows]))
        (lo, hi), *sides = found.values
        with np.errstate(all="ignore"):
            sizes = np.abs(sides)
            sound = np.isfinite(lo) & np.isfinite(hi)
            holds = sound & (lo >= -2 * TOLERANCE * sizes.min(axis=1).max(axis=0))
            fails = sound & (hi < -TOLERANCE * sizes.max(axis=(0, 1)))
        self.worst[:, rows] = corner[:, rows]
        self.holds[rows[fails]] = BROKEN
        decided[rows[holds | fails]] = True
        return decided

    def _round(self, open_: _Pieces) -> _Pieces:
        """Decide what can be decided; give the halves of the rest."""
        questions = open_.question
        slopes, sound = input_slopes(
            self.batch, self.slack[questions], self.points[:, questions], open_.low, open_.high
        )
        self._collapse(open_, slopes, sound)
        steepest = np.maximum(np.abs(slopes.lo), np.abs(slopes.hi))
        proved = self._enclosed(open_, steepest) & sound
        broken = self._sample(open_, slopes) & ~proved
        single = (open_.low == open_.high).all(axis=0)
        self.holds[questions[~proved & (single | (self.pieces[questions] >= MOST_PIECES))]] = OPEN
        self.holds[questions[broken]] = BROKEN
        rest = ~proved & (self.holds[questions] == HOLDS)
        open_, steepest = open_.take(rest), steepest[:, rest]
        young = self.pieces[open_.question] < FEW_PIECES
        for halving in range(2 * HALVINGS):
            split = young if halving >= HALVINGS else np.ones_like(young)
            halves = self._halves(open_.take(split), steepest[:, split])
            open_ = open_.take(~split).plus(halves)
            steepest = np.concatenate([steepest[:, ~split], np.tile(steepest[:, split], 2)], axis=1)
            young = np.concatenate([young[~split], np.tile(young[split], 2)])
        return open_

    def _collapse(self, open_: _Pieces, slopes: Interval, sound: Mask) -> None:
        """Put inputs of proved direction at their worse end, and those without influence at one value."""
        signs = signs_of(slopes.lo, slopes.hi)
        count, nodes = self.batch.setting_count, self.slack[open_.question]
        for column in np.flatnonzero(~sound):
            mask = self.batch.tape.depends[nodes[column]] >> count
            depends = [bool(mask >> i & 1) for i in range(signs.shape[0])]
            signs[depends, column] = UNKNOWN
        stated = np.clip(self.batch.stated[:, self.machine[open_.question]], open_.low, open_.high)
        worse = worst_corner(signs, open_.low, open_.high, stated)
        open_.low = np.where(signs == UNKNOWN, open_.low, worse)
        open_.high = np.where(signs == UNKNOWN, open_.high, worse)

    def _enclosed(self, open_: _Pieces, steepest: Floats) -> Mask:
        """Tell which boxes hold by the enclosure over the box, or at its middle less what the slopes can take.

        Source: Moore, Kearfott and Cloud, Introduction to Interval Analysis (2009), section 6.4.
        """
        questions, count = np.tile(open_.question, 2), open_.question.size
        half = (open_.high - open_.low) / 2
        middle = open_.low + half
        low, high = (np.concatenate([end, middle], axis=1) for end in (open_.low, open_.high))
        settings = self.batch.settings_at(self.points[:, questions])
        found = self.batch.enclosed(
            self.slack[questions], (settings, low), (settings, high), also=(self.left[questions], self.right[questions])
        )
        (lo, hi), *sides = found.values
        with np.errstate(all="ignore"):
            taken = np.where(half > 0, half * steepest, 0.0).sum(axis=0) * (1 + 1e-12)
            taken = np.concatenate([np.zeros(count), taken])
            sizes = [np.zeros(count)]
            for below, above in sides:
                below, above = below[:count], above[:count]
                sizes.append(np.where((below > 0) | (above < 0), np.minimum(np.abs(below), np.abs(above)), 0.0))
            proved = lo - taken >= np.tile(-2 * TOLERANCE * np.max(sizes, axis=0), 2)
            proved &= np.isfinite(lo) & np.isfinite(hi) & np.isfinite(taken)
        return np.asarray(proved.reshape(2, -1).any(axis=0))

    def _sample(self, open_: _Pieces, slopes: Interval) -> Mask:
        """Look at points of boxes and note the worst; tell which boxes have one that breaks the requirement."""
        count = open_.question.size
        with np.errstate(all="ignore"):
            lean = slopes.lo + slopes.hi > 0
        samples = [np.where(lean, open_.low, open_.high)]
        if (open_.low < open_.high).any():
            middle = open_.low + (open_.high - open_.low) / 2
            samples += [middle, open_.low, open_.high, np.where(lean, open_.high, open_.low)]
        inputs = np.concatenate(samples, axis=1)
        owners = np.tile(open_.question, len(samples))
        left, right = self.batch.values([self.left[owners], self.right[owners]], self.points[:, owners], inputs)
        slack = slack_of(left, right)
        with np.errstate(all="ignore"):
            share = slack / np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
        share = np.where(np.isnan(slack), -np.inf, share)
        order = np.lexsort((share, owners))
        q, at = np.unique(owners[order], return_index=True)
        first = order[at]
        worse = share[first] < self.least[q]
        self.least[q[worse]] = share[first[worse]]
        self.worst[:, q[worse]] = inputs[:, first[worse]]
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
