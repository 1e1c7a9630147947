"""What a tape has come to know of its terms, and the plans made from it.

The first run of a plan shows what is not known yet. Where a batch turns out to be unlike those before, it is evaluated
again by the careful functions, and what was thought to be known is given up; the results are the same bits.
"""

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from .forms import Forms
from .intervals import Floats
from .kinds import Kind, Known, Seen, cancels, certifies, kind_of, kind_of_fixed, kind_of_seen, seen
from .planning import plan_of
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
        self._forms = Forms(terms)
        self._plans: dict[tuple[object, ...], tuple[Plan, Plan | None]] = {}
        self._fresh: dict[int, list[Term]] = {}

    def run(
        self,
        key: tuple[object, ...],
        wanted: Sequence[Term],
        rows: int,
        leaves: tuple[Floats, Floats] | None,
        before: Before | None = None,
    ) -> tuple[Run, bool]:
        """Evaluate terms in a batch; tell whether the kinds were right. ``key`` stands for the terms wanted."""
        base = None if before is None else before.run
        if leaves is not None and not all(t in self._seen for t in self.leaves):
            self._take(self.leaves, np.concatenate(np.broadcast_arrays(*leaves), axis=1))
            self._forget()
        trusted = before is None or before.sound
        if trusted:
            plan = self._plan(key, wanted, base, careful=False)
            found, right = plan.run(rows, leaves, base)
            if right:
                self._learn(found)
                return found, True
        plan = self._plan(key, wanted, base, careful=True)
        found, _ = plan.run(rows, leaves, base)
        if trusted:
            self._look_at(found, [t for t, (at, _) in plan.place.items() if t in self._seen and at >= 0])
            self._forget()
        return found, False

    # ---- what was seen

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
        slots = np.array([run.plan.place[t][0] for t in terms], dtype=np.intp)
        self._take(terms, run.ends[slots].reshape(slots.size, 2 * run.rows))

    def _learn(self, run: Run) -> None:
        """Look at what a first run shows; where that tells more, the plan is made anew when it is next asked for.

        Other plans stay right. None of them has a term that is first seen here, and whatever builds on this run is
        within what was seen.
        """
        fresh = self._fresh.get(id(run.plan))
        if not fresh or not run.rows:
            return
        del self._fresh[id(run.plan)]
        self._look_at(run, fresh)
        changed = False
        for t in fresh:
            before = self._inferred.pop(t), self._kinds.pop(t)
            self._know(t)
            if (self._inferred[t], self._kinds[t]) != before:
                changed = True
        if changed:
            for t in fresh:
                self._forms.chosen.pop(t, None)
            for kept in [k for k, (plan, _) in self._plans.items() if plan is run.plan]:
                del self._plans[kept]

    def _forget(self) -> None:
        for part in (self._kinds, self._inferred, self._checked, self._plans, self._fresh, self._forms.chosen):
            part.clear()

    # ---- kinds

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
        terms = self.terms
        fixed = terms.fixed.get(t)
        if fixed is not None:
            self._inferred[t] = self._kinds[t] = kind_of_fixed(fixed)
            return
        arguments, operation, inferred = terms.arguments[t], terms.operation[t], None
        kinds = [self._kinds[a] for a in arguments]
        if arguments:
            inferred = kind_of(operation, kinds, [terms.fixed.get(a) for a in arguments])
        kind, checked = self._kind(t, inferred)
        if inferred is None and kind is not None and kind.strict:
            if certifies(operation, kinds, [terms.fixed.get(a) for a in arguments]):
                inferred = kind
        self._inferred[t], self._kinds[t] = inferred, kind
        if checked:
            self._checked.add(t)

    def _know_all(self, wanted: Sequence[Term]) -> None:
        """Find the kinds of some terms, and of all that they are made from."""
        terms, known = self.terms, self._inferred
        unknown, open_ = set(), [t for t in (*self.leaves, *wanted) if t not in known]
        while open_:
            t = open_.pop()
            if t not in unknown:
                unknown.add(t)
                arguments = terms.arguments[t]
                if terms.operation[t] == "add":
                    arguments += (terms.wide(arguments[0]), terms.wide(arguments[1]))
                open_ += [a for a in arguments if a not in known]
        for t in sorted(unknown):
            self._know(t)

    # ---- plans

    def _plan(self, key: tuple[object, ...], wanted: Sequence[Term], base: Run | None, careful: bool) -> Plan:
        imported = None if base is None else base.plan
        key = (*key, id(imported), careful)
        found = self._plans.get(key)
        if found is not None:
            return found[0]
        if len(self._plans) >= MOST_PLANS:
            self._plans.clear()
            self._fresh.clear()
        leaves = self.leaves if imported is None else ()
        if careful:
            needed = self._needed(wanted, imported, careful)
            kinds: dict[Term, Known] = dict.fromkeys((*needed, *leaves))
            plan = plan_of(self.terms, needed, self._forms.careful, kinds, set(), leaves, imported)
        else:
            self._know_all(wanted)
            needed = self._needed(wanted, imported, careful)
            kinds, inferred, forms = self._kinds, self._inferred, self._forms
            plan = plan_of(
                self.terms, needed, lambda t: forms.of(t, kinds, inferred), kinds, self._checked, leaves, imported
            )
            self._fresh[id(plan)] = [t for t in needed if t not in self._seen]
        # The other plan is kept, so that no later one can come by the same identity.
        self._plans[key] = plan, imported
        return plan

    def _needed(self, wanted: Sequence[Term], imported: Plan | None, careful: bool) -> list[Term]:
        """List, in order, the terms that have to be evaluated."""
        terms = self.terms
        known = {} if imported is None else imported.place
        found: set[Term] = set()
        open_ = list(wanted)
        while open_:
            t = open_.pop()
            if t in found or t in terms.fixed or t in known or terms.operation[t] == "leaf":
                continue
            found.add(t)
            arguments = terms.arguments[t]
            if terms.operation[t] == "add" and not careful and self._inferred[t] is not None:
                first, second = arguments
                if cancels(self._kinds[first], self._kinds[second]):
                    arguments = terms.wide(first), terms.wide(second)
            open_ += arguments
        return sorted(found)
