"""The independent check of an answer, before anything is written.

It shares no code with the search but the meaning of expressions: it walks the checked texts themselves, not the
network, in plain numpy, and looks for input values that break a requirement by changing one input at a time.
"""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from ..meaning.model import GivenValue, LawDecl, Model, ProfileDecl, WantDecl
from ..network.applying import applies
from ..syntax import tree
from .evaluating import Evaluator

Floats = NDArray[np.float64]

TOLERANCE = 4e-9
MOST_ROUNDS = 4


def check(
    model: Model,
    profile: ProfileDecl,
    machine: str,
    settings: Mapping[str, float],
    stated_only: bool,
    dropped: frozenset[str],
) -> str:
    """Look for input values that break the answer; say what breaks, or nothing.

    ``settings`` are values in base units by name; ``dropped`` are the texts of wants that were set aside.
    """
    values = {
        **model.materials[profile.material].values,
        **model.machines[machine].values,
        **profile.values,
    }
    laws = [law for law in model.laws.values() if _active(law, values)]
    lets = {let.name: let for law in laws for let in law.lets if let.name not in values}
    inputs = {n: v for n, v in values.items() if v.amount is not None}
    names = sorted(inputs)
    ranges = {n: (inputs[n].amount.low, inputs[n].amount.high) for n in names}  # type: ignore[union-attr]
    stated = np.array([inputs[n].amount.stated for n in names])  # type: ignore[union-attr]
    goals = [(f"law {law.name}", r.comparison) for law in laws for r in law.requires]

    def slack(rows: Floats) -> Floats:
        """Give slack by (goal, row) for input rows (inputs, rows); NaN counts as broken."""
        known = {n: rows[k] for k, n in enumerate(names)} | {n: np.array([v]) for n, v in settings.items()}
        evaluator = Evaluator(lets, known)
        found = [_slack(evaluator, c) for _, c in goals]
        found += [_want_slack(evaluator, model, w) for w in wants]
        return (
            np.stack([np.broadcast_to(f, (rows.shape[1],)) for f in found]) if found else np.zeros((0, rows.shape[1]))
        )

    wants = [w for w in profile.wants if w.text not in dropped]
    titles = [t for t, _ in goals] + [w.text for w in wants]
    with np.errstate(all="ignore"):
        worst = slack(stated[:, None])[:, 0]
        corners = np.repeat(stated[:, None], len(titles), axis=1)
        for _ in range(0 if stated_only else MOST_ROUNDS):
            if not _step(corners, worst, slack, [ranges[n] for n in names]):
                break
    broken = [t for t, s in zip(titles, worst, strict=True) if not s >= -TOLERANCE]
    return f"{broken[0]} does not hold everywhere" if broken else ""


def _step(corners: Floats, worst: Floats, slack: Callable[[Floats], Floats], ranges: list[tuple[float, float]]) -> bool:
    """Move each goal's corner to the worse end of every input, taken one at a time from where it stands."""
    open_inputs = [k for k, (low, high) in enumerate(ranges) if low < high]
    goals = corners.shape[1]
    moved = False
    for k in open_inputs:
        rows = np.concatenate([corners, corners], axis=1)
        rows[k, :goals], rows[k, goals:] = ranges[k]
        found = slack(rows)
        for g in range(goals):
            for column, end in ((g, ranges[k][0]), (goals + g, ranges[k][1])):
                value = found[g, column]
                if not value >= worst[g]:
                    worst[g], corners[k, g], moved = value, end, True
    return moved


def _slack(evaluator: Evaluator, comparison: tree.Comparison) -> Floats:
    left, right = evaluator.of(comparison.left), evaluator.of(comparison.right)
    if comparison.relation in (">", ">="):
        left, right = right, left
    return _relative(left, right)


def _relative(left: Floats, right: Floats) -> Floats:
    size = np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
    return np.asarray((right - left) / size)


def _want_slack(evaluator: Evaluator, model: Model, want: WantDecl) -> Floats:
    grade = model.grades.get(want.name)
    if grade is not None:
        value = evaluator.of(tree.Reference(grade.quantity))
        if want.amount is None:
            names = [b.name for b in grade.bands]
            at = names.index(want.word)
            good = (want.bound == "most") != grade.more_is_better
            limit = grade.bands[at].limit if good else (grade.bands[at - 1].limit if at else None)
            below = good != grade.more_is_better
            if limit is None:
                return np.array([1.0])
            bound = np.array([limit])
            return _relative(value, bound) if below else _relative(bound, value)
    else:
        merit = model.merits.get(want.name)
        value = evaluator.of(merit.expression if merit else tree.Reference(want.name))
    bound = np.array([want.amount.stated if want.amount else np.nan])
    return _relative(value, bound) if want.bound == "most" else _relative(bound, value)


def _active(law: LawDecl, values: Mapping[str, GivenValue]) -> bool:
    return law.when is None or all(applies(t, values) is not False for t in law.when.tests)
