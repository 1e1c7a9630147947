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
OFTEN = 3
"""Uses after which a plan is made anew if its first run has taught something."""
_VAGUE = 1e-60
"""If numbers smaller than this follow to be possible, what was seen is checked instead."""


class Before(Protocol):
    """A run that another builds on, and the age in which its kinds were right; -1 if they were not."""

    run: Run
    age: int


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
        self._settled: set[Term] = set()
        self._age = 0

    def run(
        self,
        key: tuple[object, ...],
        wanted: Sequence[Term],
        rows: int,
        leaves: tuple[Floats, Floats] | None,
        before: Before | None = None,
    ) -> tuple[Run, int]:
        """Evaluate terms in a batch; tell in which age the kinds were right, or -1.

        ``key`` stands for the terms wanted.
        """
        base = None if before is None else before.run
        if leaves is not None and not all(t in self._seen for t in self.leaves):
            self._take(self.leaves, np.concatenate(np.broadcast_arrays(*leaves), axis=1))
            self._forget()
        trusted = before is None or before.age == self._age
        if trusted:
            plan = self._plan(key, wanted, base, careful=False)
            found, right = plan.run(rows, leaves, base)
            if right:
                self._learn(found)
                return found, self._age
        plan = self._plan(key, wanted, base, careful=True)
        found, _ = plan.run(rows, leaves, base)
        if trusted:
            self._look_at(found, [t for t, (at, _) in plan.place.items() if t in self._seen and at >= 0])
            self._forget()
        return found, -1

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
        """Look at what a first run shows; where that tells more, the plan is made anew if it is asked for often.

        Other plans stay right. None of them has a term that is first seen here, and whatever builds on this run is
        within what was seen; the plan itself checks what was learnt from now on.
        """
        fresh = self._fresh.get(id(run.plan))
        if fresh is None or not run.rows:
            return
        del self._fresh[id(run.plan)]
        self._settled.update(fresh)
        kinds, arguments = self._kinds, self.terms.arguments
        self._look_at(run, [t for t in fresh if _is_open(kinds[t])])
        changed: set[Term] = set()
        for t in fresh:
            if t in self._seen or not changed.isdisjoint(arguments[t]):
                before = self._inferred[t], kinds[t]
                self._know(t)
                if (self._inferred[t], kinds[t]) != before:
                    changed.add(t)
                    self._forms.chosen.pop(t, None)
                elif not changed.isdisjoint(arguments[t]):
                    self._forms.chosen.pop(t, None)
        if changed:
            run.plan.can_improve = True
            run.plan.check(kinds, self._to_check(run.plan))

    def _to_check(self, plan: Plan) -> list[Term]:
        return [t for t in plan.place if t in self._checked]

    def _forget(self) -> None:
        """Begin a new age, in which only what was seen of terms is known."""
        self._age += 1
        for part in (self._kinds, self._inferred, self._plans, self._fresh, self._forms.chosen):
            part.clear()
        self._checked.clear()
        self._settled.clear()

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
        kinds, fixed_ones = [self._kinds[a] for a in arguments], [terms.fixed.get(a) for a in arguments]
        if arguments:
            inferred = kind_of(operation, kinds, fixed_ones)
        kind, checked = self._kind(t, inferred)
        if inferred is None and kind is not None and kind.strict and certifies(operation, kinds, fixed_ones):
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
            plan = found[0]
            plan.uses += 1
            if not plan.can_improve or plan.uses < OFTEN:
                return plan
        if len(self._plans) >= MOST_PLANS:
            self._plans.clear()
            self._fresh.clear()
        forms = self._forms
        if careful:
            needed = self._needed(wanted, imported, careful)
            chosen = {t: forms.careful(t) for t in needed}
        else:
            self._know_all(wanted)
            needed = self._needed(wanted, imported, careful)
            chosen = forms.chosen
            for t in needed:
                if t not in chosen:
                    forms.choose(t, self._kinds, self._inferred)
        plan = plan_of(self.terms, needed, chosen, self.leaves if imported is None else (), imported)
        if not careful:
            plan.check(self._kinds, self._to_check(plan))
            self._fresh[id(plan)] = [t for t in needed if t not in self._settled]
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


def _is_open(kind: Known) -> bool:
    """Tell whether a closer look may show more."""
    return kind is None or not kind.strict or not kind.sign or kind.least < _VAGUE
