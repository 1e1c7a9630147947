"""How a plan is put together from the forms of its terms."""

from collections.abc import Mapping, Sequence
from typing import Any

from .forms import Form, Key, Pair
from .plans import Plan, flip
from .terms import Term, Terms


def plan_of(
    terms: Terms, needed: Sequence[Term], forms: Mapping[Term, Form], leaves: Sequence[Term], imported: Plan | None
) -> Plan:
    """Plan the evaluation of the terms needed, which are in order; ``imported`` is a plan that is run before."""
    registers = _Registers(terms, imported, leaves)
    for t in needed:
        registers.add(t, forms[t])
    place: dict[Term, Key] = {}
    for key, register in registers.have.items():
        node, order = key
        if isinstance(node, int) and isinstance(order, int) and node not in place and node not in terms.fixed:
            place[node] = register, order
    return Plan(registers.code, place, registers.slots, registers.imports, registers.constants)


class _Registers:
    """Registers by number: slots upwards from zero; those of the imported plan and the constants from the end."""

    def __init__(self, terms: Terms, imported: Plan | None, leaves: Sequence[Term]) -> None:
        self.terms = terms
        self.before: Mapping[Term, Key] = {} if imported is None else imported.place
        self.have: dict[Key | Pair, int] = {(t, 0): at for at, t in enumerate(leaves)}
        self.code: list[tuple[Any, int, Any, Any]] = []
        self.slots = len(leaves)
        self.imports: list[tuple[int, int]] = []
        self.constants: list[tuple[int, Pair]] = []
        self.known: dict[object, int] = {}

    def add(self, t: Term, form: Form) -> None:
        """Add the instruction that makes a term."""
        f, order, operands, plain = form
        have = self.have
        found = [have[key] if key in have else self._find(key) for key in operands]
        out = have[t, order] = self.slots
        self.slots = out + 1
        if not plain:
            self.code.append((f, out, found, ()))
        elif len(found) == 1:
            self.code.append((f, out, found[0], None))
        else:
            self.code.append((f, out, found[0], found[1]))

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
            register = self.have[key] = self._constant((t, order))
            return register
        fixed = self.terms.fixed.get(t)
        if fixed is not None:
            lo, hi = float(fixed.lo[0]), float(fixed.hi[0])
            register = self.have[key] = self._constant((hi, lo) if order else (lo, hi))
            return register
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
