"""How a plan is put together from the forms of its terms."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from .forms import Form, Key, Pair
from .kinds import Known, bounds
from .plans import Plan, flip
from .terms import Term, Terms


def plan_of(
    terms: Terms,
    needed: Sequence[Term],
    form_of: Callable[[Term], Form],
    kinds: Mapping[Term, Known],
    checked: set[Term],
    leaves: Sequence[Term],
    imported: Plan | None,
) -> Plan:
    """Plan the evaluation of the terms needed, which are in order.

    ``checked`` are the terms of which more is known than follows from their arguments. ``imported`` is a plan that is
    run before, for the terms in it.
    """
    strict = {t for t in (*leaves, *needed) if (k := kinds[t]) is not None and k.strict}
    variables = sorted(leaves, key=lambda t: (kinds[t] is not None, t not in strict))
    own = sorted([t for t in needed if t in checked], key=lambda t: t in strict)
    first = [*variables, *own]
    unknown = sum(kinds[t] is None for t in variables)
    with_zero = [at for at, t in enumerate(first) if at >= unknown and t not in strict]
    ends = [bounds(kind) for t in first[unknown:] if (kind := kinds[t]) is not None]
    low, high = np.array(ends).reshape(-1, 2).T[:, :, None, None]
    registers = _Registers(terms, imported, {t: at for at, t in enumerate(first)}, variables)
    for t in needed:
        registers.add(t, form_of(t))
    place: dict[Term, Key] = {}
    for (t, order), register in registers.have.items():
        place.setdefault(t, (register, order))
    at = {t: at for at, t in enumerate(leaves)}
    return Plan(
        registers.code,
        place,
        registers.slots,
        np.array([at[t] for t in variables], dtype=np.intp),
        registers.imports,
        registers.constants,
        (unknown, len(first)),
        (with_zero[0], with_zero[-1] + 1) if with_zero else (0, 0),
        low,
        high,
    )


class _Registers:
    """Registers by number: slots upwards from zero; those of the imported plan and the constants from the end."""

    def __init__(
        self, terms: Terms, imported: Plan | None, own: dict[Term, int], variables: Sequence[Term]
    ) -> None:
        self.terms, self.own = terms, own
        self.before: Mapping[Term, Key] = {} if imported is None else imported.place
        self.have: dict[Key, int] = {(t, 0): own[t] for t in variables}
        self.code: list[tuple[Any, int, Any, Any]] = []
        self.slots = len(own)
        self.imports: list[tuple[int, int]] = []
        self.constants: list[tuple[int, Pair]] = []
        self.known: dict[object, int] = {}

    def add(self, t: Term, form: Form) -> None:
        """Add the instruction that makes a term."""
        have = self.have
        operands = []
        for key in form.operands:
            found = have.get(key)  # type: ignore[arg-type]
            operands.append(self._find(key) if found is None else found)
        out = self.own.get(t)
        if out is None:
            out, self.slots = self.slots, self.slots + 1
        have[t, form.order] = out
        if not form.plain:
            self.code.append((form.f, out, tuple(operands), ()))
        elif len(operands) == 1:
            self.code.append((form.f, out, operands[0], None))
        else:
            self.code.append((form.f, out, operands[0], operands[1]))

    def _last(self, key: object) -> tuple[int, bool]:
        """Number a register from the end; tell whether it is new."""
        found = self.known.get(key)
        if found is not None:
            return found, False
        found = self.known[key] = -1 - len(self.known)
        return found, True

    def _find(self, key: Key | Pair) -> int:
        """Give a register that no instruction has made: a constant, an imported one, or a term turned round."""
        t, order = key
        if isinstance(t, float):
            return self._constant((t, order))
        fixed = self.terms.fixed.get(t)
        if fixed is not None:
            lo, hi = float(fixed.lo[0]), float(fixed.hi[0])
            return self._constant((hi, lo) if order else (lo, hi))
        place = self.before.get(t)
        if place is not None:
            register, is_new = self._last((t, "imported"))
            if is_new:
                self.imports.append((register, place[0]))
            self.have[t, place[1]] = register
            if place[1] == order:
                return register
        source = self.have[t, 1 - int(order)]
        at = self.have[t, int(order)] = self.slots
        self.slots += 1
        self.code.append((flip, at, source, None))
        return at

    def _constant(self, ends: Pair) -> int:
        register, is_new = self._last(ends)
        if is_new:
            self.constants.append((register, ends))
        return register
