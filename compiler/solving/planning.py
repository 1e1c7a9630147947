"""How a plan is made: the short form of each operation, and the order of the ends in each register."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from .kernels import factors
from .kinds import Kind, Known, bounds, cancels
from .plans import (
    MANY,
    UNARY,
    Key,
    Plan,
    carefully,
    chosen,
    div_any,
    flip,
    greater,
    lesser,
    mul_any,
    power_any,
    widen_any,
)
from .terms import Term, Terms

_IMPORT, _POINT, _PAIR = 1 << 20, 2 << 20, 3 << 20
_BINARY = {"add": np.add, "mul": np.multiply, "min": lesser, "max": greater}
_FUNCTIONS = {"sqrt": np.sqrt, "exp": np.exp, "log": np.log}


class Planner:
    """Makes a plan.

    ``kinds`` is what is known of each term; ``inferred`` what follows for it from its arguments, by which its short
    form is right. ``checked`` are the terms of which more is known than follows. ``imported`` are evaluated before.
    """

    def __init__(
        self,
        terms: Terms,
        kinds: Mapping[Term, Known],
        inferred: Mapping[Term, Known],
        leaves: Sequence[Term],
        imported: Plan | None,
    ) -> None:
        self.terms, self.kinds, self.inferred, self.imported = terms, kinds, inferred, imported
        self.leaves = {t: at for at, t in enumerate(leaves)}
        self.have: dict[Key, int] = {}
        self.code: list[tuple[Any, int, Any, int]] = []
        self.slots = 0
        self.own: dict[Term, int] = {}
        self.imports: dict[int, int] = {}
        self.points: dict[Term, int] = {}
        self.pairs: dict[tuple[float, float], int] = {}

    # ---- the whole

    def make(self, needed: Iterable[Term], checked: set[Term]) -> Plan:
        """Plan the evaluation of the terms needed, which are in order."""
        needed = list(needed)
        strict = {t: k is not None and k.strict for t, k in self.kinds.items()}
        leaves = sorted(self.leaves, key=lambda t: (self.kinds[t] is not None, not strict[t]))
        own = sorted([t for t in needed if t in checked and t not in self.leaves], key=lambda t: strict[t])
        first = [*leaves, *own]
        self.own = {t: at for at, t in enumerate(first)}
        self.slots = len(first)
        self.have = {(t, 0): self.own[t] for t in leaves}
        for t in needed:
            if t not in self.leaves:
                self._emit(t)
        unknown = sum(self.kinds[t] is None for t in leaves)
        with_zero = [at for at, t in enumerate(first) if at >= unknown and not strict[t]]
        ends = [bounds(kind) for t in first[unknown:] if (kind := self.kinds[t]) is not None]
        low, high = np.array(ends).reshape(-1, 2).T[:, :, None, None]
        place: dict[Term, Key] = {}
        for (t, order), register in self.have.items():
            place.setdefault(t, (self._final(register), order))
        return Plan(
            [(f, self._final(out), self._final_all(a), self._final(b)) for f, out, a, b in self.code],
            place,
            self.slots,
            np.array([self.leaves[t] for t in leaves], dtype=np.intp),
            list(self.imports),
            [self.terms.fixed[t].lo[0:1].reshape(()) for t in self.points],
            list(self.pairs),
            (unknown, len(first)),
            (with_zero[0], with_zero[-1] + 1) if with_zero else (0, 0),
            low,
            high,
        )

    def _final_all(self, registers: Any) -> Any:
        return tuple(map(self._final, registers)) if isinstance(registers, tuple) else self._final(registers)

    def _final(self, register: int) -> int:
        """Number a register by its place after the slots, which are counted only in the end."""
        if register < _IMPORT:
            return register
        at, start = register % _IMPORT, self.slots
        if register >= _POINT:
            start += len(self.imports)
        return start + at + (len(self.points) if register >= _PAIR else 0)

    # ---- registers

    def _slot(self, t: Term, order: int) -> int:
        """Take the slot for the result of a term."""
        found = self.own.get(t)
        at = self.slots if found is None else found
        self.slots += found is None
        self.have[t, order] = at
        return at

    def _is_there(self, t: Term, order: int) -> bool:
        if (t, order) in self.have or t in self.terms.fixed:
            return True
        return self.imported is not None and self.imported.place.get(t, (0, 1 - order))[1] == order

    def _get(self, t: Term, order: int) -> int:
        """Give the register with a term's ends in some order; turn them round if need be."""
        found = self.have.get((t, order))
        if found is not None:
            return found
        fixed = self.terms.fixed.get(t)
        if fixed is not None:
            lo, hi = float(fixed.lo[0]), float(fixed.hi[0])
            if lo == hi:
                return _POINT + self.points.setdefault(t, len(self.points))
            return self._pair((hi, lo) if order else (lo, hi))
        if self.imported is not None and t in self.imported.place:
            at, own = self.imported.place[t]
            if own == order:
                return _IMPORT + self.imports.setdefault(at, len(self.imports))
            self.have[t, own] = _IMPORT + self.imports.setdefault(at, len(self.imports))
        source = self.have[t, 1 - order]
        at = self.have[t, order] = self.slots
        self.slots += 1
        self.code.append((flip, at, source, UNARY))
        return at

    def _pair(self, ends: tuple[float, float]) -> int:
        return _PAIR + self.pairs.setdefault(ends, len(self.pairs))

    def _better(self, *wanted: Key) -> int:
        """Choose the order 0 or 1 by which fewer registers have to be turned; ``wanted`` are those for 0."""
        missing = [sum(not self._is_there(t, order ^ way) for t, order in wanted) for way in (0, 1)]
        return int(missing[1] < missing[0])

    # ---- operations

    def _emit(self, t: Term) -> None:
        operation, arguments = self.terms.operation[t], self.terms.arguments[t]
        kinds = [self.kinds[a] for a in arguments]
        if None in kinds or self.inferred[t] is None or not self._short(t, operation, arguments, kinds):  # type: ignore[arg-type]
            units = tuple(self.terms.units[a] for a in arguments)
            registers = tuple(self._get(a, 0) for a in arguments)
            self.code.append((carefully(operation, units), self._slot(t, 0), registers, MANY))

    def _unary(self, f: Any, t: Term, a: Term, turned: int = 0) -> bool:
        order = self._better((a, 0))
        register = self._get(a, order)
        self.code.append((f, self._slot(t, order ^ turned), register, UNARY))
        return True

    def _binary(self, f: Any, t: Term, a: Key, b: Key, turned: int = 0) -> bool:
        """Compute both ends at once, in the order of ``a`` and ``b`` or the other way round."""
        way = self._better(a, b)
        registers = self._get(a[0], a[1] ^ way), self._get(b[0], b[1] ^ way)
        self.code.append((f, self._slot(t, way ^ turned), *registers))
        return True

    def _short(self, t: Term, operation: str, arguments: tuple[Term, ...], kinds: list[Kind]) -> bool:
        """Emit the short form of an operation, if there is one."""
        a, b = arguments[0], arguments[-1]
        signs = kinds[0].sign, kinds[-1].sign
        match operation:
            case "widen":
                return self._widen(t, a, signs[0])
            case "add":
                return self._add(t, a, b, kinds)
            case "sub":
                return self._binary(np.subtract, t, (a, 0), (b, 1))
            case "mul":
                return self._mul(t, a, b, signs)
            case "div" if signs[0]:
                return self._binary(np.divide, t, (a, 0), (b, 1 if signs[0] > 0 else 0))
            case "div":
                registers = self._get(a, 0), self._get(b, 0), self._get(b, 1)
                self.code.append((div_any, self._slot(t, 0), registers, MANY))
                return True
            case "min" | "max":
                return self._binary(_BINARY[operation], t, (a, 0), (b, 0))
            case "neg":
                return self._unary(np.negative, t, a, 1)
            case "abs" | "square" if signs[0]:
                return self._unary(np.abs if operation == "abs" else np.square, t, a, int(signs[0] < 0))
            case "sqrt" | "exp" | "log":
                return self._unary(_FUNCTIONS[operation], t, a)
            case "chosen":
                self.code.append((chosen, self._slot(t, 0), (self._get(a, 0), self._get(b, 0)), MANY))
                return True
            case "pow" | "powi":
                return self._power(t, a, b, kinds[0])
        return False

    def _is_point(self, t: Term) -> bool:
        fixed = self.terms.fixed.get(t)
        return fixed is not None and bool(fixed.lo[0] == fixed.hi[0])

    def _widen(self, t: Term, a: Term, sign: int) -> bool:
        down, up = factors(self.terms.units[a])
        if not sign:
            order = self._better((a, 0))
            outwards = self._pair((1.0, -1.0) if order else (-1.0, 1.0))
            registers = self._get(a, order), self._pair((up - 1, up - 1)), outwards
            self.code.append((widen_any, self._slot(t, order), registers, MANY))
            return True
        order = self._better((a, 0))
        ends = (down, up) if (sign > 0) != bool(order) else (up, down)
        register = self._get(a, order)
        self.code.append((np.multiply, self._slot(t, order), register, self._pair(ends)))
        return True

    def _add(self, t: Term, a: Term, b: Term, kinds: list[Kind]) -> bool:
        if cancels(*kinds):
            return self._binary(np.add, t, (self.terms.wide(a), 0), (self.terms.wide(b), 0))
        if kinds[0].sign * kinds[1].sign > 0 or not (self.terms.units[a] or self.terms.units[b]):
            return self._binary(np.add, t, (a, 0), (b, 0))
        return False

    def _mul(self, t: Term, a: Term, b: Term, signs: tuple[int, int]) -> bool:
        if self._is_point(a):
            return self._binary(np.multiply, t, (a, 0), (b, 0), int(signs[0] < 0))
        if self._is_point(b):
            return self._binary(np.multiply, t, (a, 0), (b, 0), int(signs[1] < 0))
        match signs:
            case (1, 1):
                return self._binary(np.multiply, t, (a, 0), (b, 0))
            case (-1, -1):
                return self._binary(np.multiply, t, (a, 0), (b, 0), 1)
            case (1, -1):
                return self._binary(np.multiply, t, (a, 1), (b, 0))
            case (-1, 1):
                return self._binary(np.multiply, t, (a, 0), (b, 1))
            case (1, _) | (_, 1):
                positive, other = (a, b) if signs[0] == 1 else (b, a)
                registers = self._get(positive, 0), self._get(positive, 1), self._get(other, 0)
                self.code.append((mul_any, self._slot(t, 0), registers, MANY))
                return True
        return False

    def _power(self, t: Term, base: Term, exponent: Term, kind: Kind) -> bool:
        order = self._better((base, 0))
        falls = int(self.terms.fixed[exponent].hi[0] < 0)
        register, out = self._get(base, order), self._slot(t, order ^ falls)
        if self._is_point(exponent):
            self.code.append((np.power, out, register, self._get(exponent, 0)))
            return True
        # The order of the exponents for a base above one; below, the other exponent gives the end.
        above, below = (self._get(exponent, order ^ falls ^ way) for way in (0, 1))
        if kind.least > 1 or kind.most < 1:
            self.code.append((np.power, out, register, above if kind.least > 1 else below))
        else:
            self.code.append((power_any, out, (register, above, below), MANY))
        return True
