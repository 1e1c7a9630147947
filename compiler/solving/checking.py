"""The independent check of an answer, before anything is written.

It shares no code with the search but the meaning of expressions: it walks the checked texts themselves, not the
network, in plain numpy, and looks for input values that break a requirement by changing one input at a time.
"""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from ..meaning.model import GivenValue, LawDecl, Model, ProfileDecl
from ..meaning.wanting import comparison
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
    inputs = {n: v.amount for n, v in sorted(values.items()) if v.amount is not None}
    goals = [(f"law {law.name}", r.comparison) for law in laws for r in law.requires]
    goals += [(w.text, c) for w in profile.wants if w.text not in dropped and (c := comparison(model, w))]
    if not goals:
        return ""
    low, high, stated = (np.array([getattr(a, end) for a in inputs.values()]) for end in ("low", "high", "stated"))

    def slack(rows: Floats) -> Floats:
        """Give slack as a share of the larger side, by (goal, row), for input values (inputs, rows)."""
        known = {n: rows[k] for k, n in enumerate(inputs)} | {n: np.array([v]) for n, v in settings.items()}
        evaluator = Evaluator(lets, known)
        return np.stack([np.broadcast_to(_slack(evaluator, c), rows.shape[1:]) for _, c in goals])

    with np.errstate(all="ignore"):
        worst = slack(stated[:, None])[:, 0]
        corners = np.repeat(stated[:, None], len(goals), axis=1)
        for _ in range(0 if stated_only else MOST_ROUNDS):
            if not _worsened(corners, worst, slack, low, high):
                break
    broken = [title for (title, _), s in zip(goals, worst, strict=True) if not s >= -TOLERANCE]
    return f"{broken[0]} does not hold everywhere" if broken else ""


def _worsened(corners: Floats, worst: Floats, slack: Callable[[Floats], Floats], low: Floats, high: Floats) -> bool:
    """Move each goal's corner to where one input, or all that do harm alone, make it worse; tell whether any moved."""
    open_inputs = np.flatnonzero(low < high)
    goals, ends = corners.shape[1], 2 * len(open_inputs)
    if not ends:
        return False
    # Rows: for every goal its corner with each open input at its low, then at its high end.
    rows = np.repeat(corners, ends, axis=1)
    at = np.arange(goals * ends)
    flipped = np.tile(np.repeat(open_inputs, 2), goals)
    rows[flipped, at] = np.where(at % 2 == 0, low[flipped], high[flipped])
    alone = _own(slack(rows), goals, ends)
    together = corners.copy()
    for g in range(goals):
        pairs = alone[g].reshape(-1, 2)
        end = np.argmin(pairs, axis=1)
        harmful = ~(pairs.min(axis=1) >= worst[g])
        chosen = np.where(end == 0, low[open_inputs], high[open_inputs])
        together[open_inputs[harmful], g] = chosen[harmful]
    both = _own(slack(together), goals, 1)[:, 0]
    moved = False
    for g in range(goals):
        single = int(np.argmin(alone[g]))
        best, corner = (
            (both[g], together[:, g])
            if not both[g] >= alone[g, single]
            else (alone[g, single], rows[:, g * ends + single])
        )
        if not best >= worst[g]:
            worst[g], corners[:, g], moved = best, corner, True
    return moved


def _own(slacks: Floats, goals: int, rows: int) -> Floats:
    """From slacks (goals, goals * rows) take each goal's own rows (goals, rows); NaN counts as broken."""
    taken = slacks.reshape(goals, goals, rows)[np.arange(goals), np.arange(goals)]
    return np.where(np.isnan(taken), -np.inf, taken)


def _slack(evaluator: Evaluator, wanted: tree.Comparison) -> Floats:
    left, right = evaluator.of(wanted.left), evaluator.of(wanted.right)
    if wanted.relation in (">", ">="):
        left, right = right, left
    size = np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
    return np.asarray((right - left) / size)


def _active(law: LawDecl, values: Mapping[str, GivenValue]) -> bool:
    return law.when is None or all(applies(t, values) is not False for t in law.when.tests)
