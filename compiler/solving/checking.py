"""The independent check of answers, before anything is written.

It shares no code with the search but the meaning of expressions: it walks the checked texts themselves, not the
network, in plain numpy, and looks for input values that break a requirement by changing one input at a time. Machines
to which the same laws apply are checked in the same pass, each by its own numbers alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..meaning.dimensions import names_in
from ..meaning.model import GivenValue, LetDecl, Model, ProfileDecl
from ..meaning.wanting import comparison
from ..network.applying import Decisions, values_of
from ..syntax import tree
from .evaluating import Evaluator

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

TOLERANCE = 4e-9
MOST_ROUNDS = 4
MOST_TOGETHER = 256
"""Machines in one pass: so many that the work of walking the texts is small beside that of the numbers."""

Question = tuple[ProfileDecl, str, Mapping[str, float], bool, frozenset[str]]
"""A profile, a machine, settings in base units by name, whether only the stated input values count, and the texts of
wants that were set aside."""


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
    return check_all(model, [(profile, machine, settings, stated_only, dropped)])[0]


def check_all(model: Model, asked: Sequence[Question]) -> list[str]:
    """Check many answers, each as ``check`` does; those for which the same texts count are walked together."""
    decisions, found = Decisions(model), [""] * len(asked)
    groups: dict[tuple[object, ...], list[tuple[int, dict[str, GivenValue]]]] = {}
    wants: dict[int, int] = {}
    kinds: dict[object, int] = {}
    for k, (profile, machine, settings, _, _) in enumerate(asked):
        values = values_of(model, profile, machine)
        if id(profile) not in wants:
            wants[id(profile)] = kinds.setdefault(profile.wants, len(kinds))
        key = (wants[id(profile)], frozenset(values), frozenset(settings), decisions.laws(values))
        groups.setdefault(key, []).append((k, values))
    for members in groups.values():
        profile = asked[members[0][0]][0]
        texts = _texts(model, profile, members[0][1], decisions)
        for at in range(0, len(members) if texts.goals else 0, MOST_TOGETHER):
            part = members[at : at + MOST_TOGETHER]
            questions = [asked[k] for k, _ in part]
            broken = _Machines(texts, questions, [values for _, values in part]).broken()
            for (k, _), question, column in zip(part, questions, broken.T, strict=True):
                found[k] = _told(texts, question[4], column)
    return found


def _told(texts: "_Texts", dropped: frozenset[str], broken: NDArray[np.bool_]) -> str:
    for goal, fails in zip(texts.goals, broken, strict=True):
        if fails and goal.want not in dropped:
            return f"{goal.want or goal.law} does not hold everywhere"
    return ""


# ---- what the texts say


@dataclass(frozen=True, slots=True)
class _Goal:
    """A comparison that must hold, of a law or a want. ``names`` are all that it hangs on, derived ones too."""

    law: str
    want: str
    comparison: tree.Comparison
    names: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Texts:
    """What applies to some machines: goals, the inputs they have, and what derived names are made of."""

    goals: tuple[_Goal, ...]
    inputs: tuple[str, ...]
    lets: Mapping[str, LetDecl]
    uses: dict[str, tuple[str, ...]] = field(default_factory=dict)


def _texts(model: Model, profile: ProfileDecl, values: Mapping[str, GivenValue], decisions: Decisions) -> _Texts:
    laws = [law for law, holds in zip(model.laws.values(), decisions.laws(values), strict=True) if holds]
    lets = {let.name: let for law in laws for let in law.lets if let.name not in values}
    inputs = tuple(n for n, v in sorted(values.items()) if v.amount is not None)
    goals = [(f"law {law.name}", "", r.comparison) for law in laws for r in law.requires]
    goals += [("", w.text, c) for w in profile.wants if (c := comparison(model, w))]
    uses: dict[str, tuple[str, ...]] = {}
    by_name = Evaluator(lets, {}, uses)
    return _Texts(tuple(_Goal(law, want, c, _reached(c, lets, by_name)) for law, want, c in goals), inputs, lets, uses)


def _reached(wanted: tree.Comparison, lets: Mapping[str, LetDecl], by_name: Evaluator) -> frozenset[str]:
    """Give all names that a comparison hangs on."""
    waiting = [r.name for side in (wanted.left, wanted.right) for r in names_in(side)]
    found: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += by_name.uses(name) if name in lets else ()
    return frozenset(found)


# ---- looking for what breaks


class _Machines:
    """Machines to which the same texts apply. Arrays are (inputs, machines); rows of one goal are (rows, machines)."""

    def __init__(
        self, texts: _Texts, questions: Sequence[Question], values: Sequence[Mapping[str, GivenValue]]
    ) -> None:
        self.texts = texts
        amounts = [[a for n in texts.inputs if (a := own[n].amount) is not None] for own in values]
        self.stated = np.array([[a.stated for a in row] for row in amounts]).T
        # Where only the stated values count, nothing is open.
        ends = [
            [(a.stated, a.stated) if only else (a.low, a.high) for a in row]
            for row, (_, _, _, only, _) in zip(amounts, questions, strict=True)
        ]
        self.low, self.high = np.moveaxis(np.array(ends).reshape(len(ends), len(texts.inputs), 2), 2, 0).swapaxes(1, 2)
        self.open = [
            n for n, lows, highs in zip(texts.inputs, self.low, self.high, strict=True) if (lows < highs).any()
        ]
        settings = {n: np.array([q[2][n] for q in questions]) for n in questions[0][2]}
        known = dict(zip(texts.inputs, self.stated, strict=True)) | settings
        self.base = Evaluator(texts.lets, known, texts.uses)

    def broken(self) -> NDArray[np.bool_]:
        """Tell for each goal and machine whether input values were found at which it does not hold."""
        with np.errstate(all="ignore"):
            # All goals at the stated values first: what hangs on no open input is taken from there afterwards.
            stated = [self._row(_slack(self.base, goal.comparison)) for goal in self.texts.goals]
            worst = [self._worst(goal, slack) for goal, slack in zip(self.texts.goals, stated, strict=True)]
        return ~(np.stack(worst) >= -TOLERANCE)

    def _row(self, slack: Floats) -> Floats:
        return np.array(np.broadcast_to(slack, (self.stated.shape[1],)))

    def _worst(self, goal: _Goal, worst: Floats) -> Floats:
        """Give the least slack found for each machine, from that at the stated values."""
        moved_by = [k for k, n in enumerate(self.texts.inputs) if n in goal.names and n in self.open]
        if not moved_by:
            return worst
        low, high, corner = self.low[moved_by], self.high[moved_by], self.stated[moved_by].copy()
        names = [self.texts.inputs[k] for k in moved_by]
        fixed = self._fixed(goal, frozenset(names))
        machines = np.arange(worst.size)
        for _ in range(MOST_ROUNDS):
            search = _Round(self, goal, names, fixed, machines)
            moved = search.worsen(corner, worst, low[:, machines], high[:, machines])
            machines = machines[moved]
            if not machines.size:
                break
        return worst

    def _fixed(self, goal: _Goal, moving: frozenset[str]) -> dict[str, Floats]:
        """Give the values of the names that a goal hangs on and that none of the moving inputs reaches."""
        return {n: self.base.values[n] for n in goal.names - self._moved(goal, moving) if n in self.base.values}

    def _moved(self, goal: _Goal, moving: frozenset[str]) -> set[str]:
        """List the names of a goal that hang on moving inputs."""
        found = set(moving)
        users: dict[str, list[str]] = {}
        for name in goal.names & self.texts.lets.keys():
            for used in self.texts.uses[name]:
                users.setdefault(used, []).append(name)
        waiting = list(moving)
        while waiting:
            for name in users.get(waiting.pop(), ()):
                if name not in found:
                    found.add(name)
                    waiting.append(name)
        return found


@dataclass(frozen=True, slots=True)
class _Round:
    """One look around the corners of one goal, for some of the machines."""

    whole: _Machines
    goal: _Goal
    names: list[str]
    fixed: Mapping[str, Floats]
    machines: Indices

    def worsen(self, corner: Floats, worst: Floats, low: Floats, high: Floats) -> NDArray[np.bool_]:
        """Move each machine's corner to where one input, or all that do harm alone, make it worse; tell whose moved."""
        mine, before = corner[:, self.machines], worst[self.machines]
        count = len(self.names)
        # Rows: the corner with each input at its low, then at its high end.
        rows = [np.repeat(own[None, :], 2 * count, axis=0) for own in mine]
        for k, row in enumerate(rows):
            row[2 * k], row[2 * k + 1] = low[k], high[k]
        alone = self._slack(rows, 2 * count)
        pairs = alone.reshape(count, 2, -1)
        harmful = ~(pairs.min(axis=1) >= before)
        single = np.argmin(alone, axis=0)
        at = np.arange(self.machines.size)
        best, found = alone[single, at], mine.copy()
        found[single // 2, at] = np.where(single % 2 == 0, low[single // 2, at], high[single // 2, at])
        if (harmful.sum(axis=0) > 1).any():
            chosen = np.where(harmful, np.where(pairs[:, 0] <= pairs[:, 1], low, high), mine)
            both = self._slack([row[None, :] for row in chosen], 1)[0]
            better = ~(both >= best)
            best, found = np.where(better, both, best), np.where(better, chosen, found)
        moved: NDArray[np.bool_] = ~(best >= before)
        worst[self.machines[moved]] = best[moved]
        corner[:, self.machines[moved]] = found[:, moved]
        return moved

    def _slack(self, rows: Sequence[Floats], count: int) -> Floats:
        """Give the slack of (rows, machines); NaN counts as broken."""
        fixed = {n: v if v.shape[-1] == 1 else v[..., self.machines] for n, v in self.fixed.items()}
        evaluator = Evaluator(
            self.whole.texts.lets, fixed | dict(zip(self.names, rows, strict=True)), self.whole.texts.uses
        )
        slack = np.broadcast_to(_slack(evaluator, self.goal.comparison), (count, self.machines.size))
        return np.where(np.isnan(slack), -np.inf, slack)


def _slack(evaluator: Evaluator, wanted: tree.Comparison) -> Floats:
    """Give slack as a share of the larger side."""
    left, right = evaluator.of(wanted.left), evaluator.of(wanted.right)
    if wanted.relation in (">", ">="):
        left, right = right, left
    size = np.maximum(np.maximum(np.abs(left), np.abs(right)), 1e-300)
    return np.asarray((right - left) / size)
