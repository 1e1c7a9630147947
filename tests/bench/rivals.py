"""General-purpose solvers put to the same question: SLSQP and differential evolution of scipy.

Both evaluate through our tape in batches: SLSQP takes a gradient from one batch, evolution a whole generation.
"""

from dataclasses import dataclass
from time import process_time
from typing import Any

import numpy as np

from .question import Floats, Question

SEED = 20_251_125
STARTS = 32
BUDGET = 120.0
"""Processor seconds after which a peer stops where it is."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a peer found: whole positions of the free settings, or None; and a remark on how."""

    row: Floats | None
    remark: str = ""


def starts(question: Question, count: int) -> list[Floats]:
    """Give the middle and random points, always the same ones."""
    random = np.random.default_rng(SEED)
    wide = (question.last - question.first)[:, None]
    rows = question.first[:, None] + wide * random.random((question.free.size, count))
    rows[:, 0] = (question.first + question.last) / 2
    return list(rows.T)


class _Smooth:
    """Merit and slacks with gradients by differences, in coordinates from 0 to 1; what was evaluated last is kept."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self.wide = question.last - question.first
        self._at: dict[bytes, tuple[float, Floats, Floats, Floats]] = {}
        self.size = max(abs(question.best), 1e-300)

    def rows(self, u: Floats) -> Floats:
        question = self.question
        return np.clip(question.first + self.wide * u, question.first, question.last)

    def at(self, u: Floats) -> tuple[float, Floats, Floats, Floats]:
        """Give merit, slacks, gradient of the merit (free,) and of the slacks (constraints, free)."""
        key = u.tobytes()
        if key not in self._at:
            step = np.where(u < 0.5, 1e-7, -1e-7)
            batch = np.concatenate([u[:, None], u[:, None] + np.diag(step)], axis=1)
            rows = self.question.first[:, None] + self.wide[:, None] * batch
            slacks, merit = self.question.slacks(rows), self.question.merit(rows) / self.size
            found = (
                float(merit[0]),
                slacks[:, 0],
                (merit[1:] - merit[0]) / step,
                (slacks[:, 1:] - slacks[:, :1]) / step,
            )
            self._at = {key: found}
        return self._at[key]


def slsqp(question: Question, count: int = STARTS) -> Found:
    """Sequential least squares programming from several starts, then rounding with a small repair."""
    from scipy.optimize import minimize

    smooth, ends, begun = _Smooth(question), [], process_time()
    for row in starts(question, count):
        if process_time() - begun > BUDGET:
            break
        with np.errstate(all="ignore"):
            result = minimize(
                lambda u: -smooth.at(u)[0],
                (row - question.first) / smooth.wide,
                jac=lambda u: -smooth.at(u)[2],
                bounds=[(0.0, 1.0)] * row.size,
                constraints={"type": "ineq", "fun": lambda u: smooth.at(u)[1], "jac": lambda u: smooth.at(u)[3]},
                method="SLSQP",
            )
        if np.isfinite(result.x).all():
            ends.append(smooth.rows(result.x))
    return Found(question.rounded(ends), f"{len(ends)} starts")


def evolution(question: Question, generations: int = 1000) -> Found:
    """Differential evolution over lattice indices, with the library's own choice of strategy and population."""
    from scipy.optimize import Bounds, NonlinearConstraint, differential_evolution

    size, begun, rounds = max(abs(question.best), 1e-300), process_time(), [0]

    def stop(_: Any, convergence: float = 0.0) -> bool:
        rounds[0] += 1
        return process_time() - begun > BUDGET

    def rows(x: Floats) -> Floats:
        return np.rint(x if x.ndim == 2 else x[:, None])

    def slacks(x: Floats) -> Floats:
        found = question.slacks(rows(x))
        return found if x.ndim == 2 else found[:, 0]

    def cost(x: Floats) -> Any:
        found = -question.merit(rows(x)) / size
        return found if x.ndim == 2 else float(found[0])

    with np.errstate(all="ignore"):
        result = differential_evolution(
            cost,
            Bounds(question.first, question.last),
            constraints=NonlinearConstraint(slacks, 0.0, np.inf),
            integrality=np.ones(question.free.size, dtype=bool),
            maxiter=generations,
            polish=False,
            vectorized=True,
            updating="deferred",
            rng=SEED,
            callback=stop,
        )
    row = np.rint(result.x)
    return Found(row if question.holds(row[:, None])[0] else None, f"{rounds[0]} generations")
