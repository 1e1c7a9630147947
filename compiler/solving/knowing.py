"""What a tape has come to know of its terms, and the plans made from it.

The first run of a plan looks at what is not known yet. Where a batch turns out to be unlike those before, it is
evaluated again by the careful functions, and what was thought to be known is given up; the results are the same bits.
"""

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from .intervals import Floats
from .kinds import Kind, Known, Seen, cancels, certifies, kind_of, kind_of_fixed, kind_of_seen, seen
from .planning import Planner
from .plans import Plan, Run
from .terms import Term, Terms

MOST_PLANS = 256
_VAGUE = 1e-60
"""If numbers smaller than this follow to be possible, what was seen is checked instead."""


class Before(Protocol):
    """A run that another builds on; it is sound if its kinds were right."""

    run: Run
    sound: bool


class Knowledge:
    """The kinds of the ``terms`` of a tape, whose variables are ``leaves``."""

    def __init__(self, terms: Terms, leaves: Sequence[Term]) -> None:
        self.terms, self.leaves = terms, leaves
        self._seen: dict[Term, Seen] = {}
        self._kinds: dict[Term, Known] = {}
        self._inferred: dict[Term, Known] = {}
        self._checked: set[Term] = set()
        self._plans: dict[tuple[object, ...], tuple[Plan, list[Term], Plan | None]] = {}

    def run(
        self,
        key: tuple[object, ...],
        wanted: Sequence[Term],
        rows: int,
        leaves: tuple[Floats, Floats] | None,
        before: Before | None = None,
    ) -> tuple[Run, bool]:
        """Evaluate terms in a batch; tell whether the kinds were right. ``key`` stands for the terms wanted."""
        imported = None if before is None else before.run.plan
        if leaves is not None and not all(t in self._seen for t in self.leaves):
            self._take(self.leaves, np.concatenate(leaves, axis=1))
            self._forget()
        if before is None or before.sound:
            plan, fresh = self._plan(key, wanted, imported, careful=False)
            found, right = plan.run(rows, leaves, None if before is None else before.run)
            if right:
                if fresh:
                    self._look_at(found, fresh)
                    fresh.clear()
                return found, True
        plan, _ = self._plan(key, wanted, imported, careful=True)
        found, _ = plan.run(rows, leaves, None if before is None else before.run)
        if before is None or before.sound:
            self._look_at(found, [t for t, (at, _) in plan.place.items() if t in self._seen and at < plan.slots])
            self._forget()
        return found, False

    # ---- kinds

    def _take(self, terms: Sequence[Term], ends: Floats) -> None:
        """Note the ends (terms, any) that were seen of some terms."""
        if not ends.size:
            return
        sizes = np.abs(ends)
        sizes[sizes == 0] = np.inf
        for t, *found in zip(terms, *(a.tolist() for a in (ends.min(1), ends.max(1), sizes.min(1))), strict=True):
            known = self._seen.get(t)
            self._seen[t] = seen(*found) if known is None else known | seen(*found)

    def _look_at(self, run: Run, terms: Sequence[Term]) -> None:
        """Take in what a run shows of some terms, and forget the plans that it changes."""
        before = {t: self._kinds.get(t) for t in terms}
        slots = np.array([run.plan.place[t][0] for t in terms], dtype=np.intp)
        self._take(terms, run.ends[slots].reshape(slots.size, 2 * run.rows))
        if any(self._kind(t, self._inferred.get(t))[0] != kind for t, kind in before.items()):
            self._forget()

    def _forget(self) -> None:
        self._kinds.clear()
        self._inferred.clear()
        self._checked.clear()
        self._plans.clear()

    def _kind(self, t: Term, inferred: Known) -> tuple[Known, bool]:
        """Give the kind of a term, and tell whether it has to be checked."""
        known = self._seen.get(t)
        kind = None if known is None else kind_of_seen(known)
        if kind is None or inferred is None:
            return (inferred, False) if kind is None else (kind, True)
        if kind.strict < inferred.strict or (inferred.sign and not kind.sign):
            return inferred, False
        more = kind.strict > inferred.strict or (kind.sign and not inferred.sign)
        if more or (inferred.least < _VAGUE and inferred.least < kind.least):
            return Kind(kind.sign, kind.strict, max(kind.least, inferred.least), min(kind.most, inferred.most)), True
        return inferred, False

    def _know(self, t: Term) -> None:
        """Find the kind of a term from those of its arguments."""
        if t in self._inferred:
            return
        terms = self.terms
        if t in terms.fixed:
            self._inferred[t] = self._kinds[t] = kind_of_fixed(terms.fixed[t])
            return
        arguments, inferred = terms.arguments[t], None
        kinds, fixed = [self._kinds[a] for a in arguments], [terms.fixed.get(a) for a in arguments]
        if arguments:
            inferred = kind_of(terms.operation[t], kinds, fixed)
        kind, checked = self._kind(t, inferred)
        if inferred is None and kind is not None and kind.strict and certifies(terms.operation[t], kinds, fixed):
            inferred = kind
        self._inferred[t], self._kinds[t] = inferred, kind
        if checked:
            self._checked.add(t)

    # ---- plans

    def _plan(
        self, key: tuple[object, ...], wanted: Sequence[Term], imported: Plan | None, careful: bool
    ) -> tuple[Plan, list[Term]]:
        """Give the plan for terms, and those of which the first run shows what is not known."""
        key = (*key, id(imported), careful)
        found = self._plans.get(key)
        if found is None:
            if len(self._plans) >= MOST_PLANS:
                self._plans.clear()
            reached = self._reached(wanted)
            kinds: dict[Term, Known] = dict.fromkeys([*reached, *self.leaves])
            inferred = kinds
            if not careful:
                for t in (*self.leaves, *reached):
                    self._know(t)
                kinds, inferred = self._kinds, self._inferred
            needed = self._needed(wanted, reached, imported, careful)
            leaves = self.leaves if imported is None else ()
            planner = Planner(self.terms, kinds, inferred, leaves, imported)
            plan = planner.make(needed, set() if careful else self._checked)
            fresh = [] if careful else [t for t in needed if t not in self._seen]
            # The other plan is kept, so that no later one can come by the same identity.
            found = self._plans[key] = (plan, fresh, imported)
        return found[0], found[1]

    def _reached(self, wanted: Sequence[Term]) -> list[Term]:
        """List, in order, the terms that some may need, with the fixed ones and those of another plan."""
        terms, reached, open_ = self.terms, set(wanted), list(wanted)
        while open_:
            t = open_.pop()
            arguments = terms.arguments[t]
            if terms.operation[t] == "add":
                arguments += tuple(terms.wide(a) for a in arguments)
            for a in arguments:
                if a not in reached:
                    reached.add(a)
                    open_.append(a)
        return sorted(reached)

    def _needed(self, wanted: Sequence[Term], reached: list[Term], imported: Plan | None, careful: bool) -> list[Term]:
        """List, in order, the terms that have to be evaluated."""
        terms, marked, found = self.terms, set(wanted), []
        known = {} if imported is None else imported.place
        for t in reversed(reached):
            if t not in marked or t in terms.fixed or t in known or terms.operation[t] == "leaf":
                continue
            found.append(t)
            arguments = terms.arguments[t]
            if terms.operation[t] == "add" and not careful and self._inferred[t] is not None:
                first, second = (self._kinds[a] for a in arguments)
                if cancels(first, second):
                    arguments = tuple(terms.wide(a) for a in arguments)
            marked.update(arguments)
        found.reverse()
        return found
