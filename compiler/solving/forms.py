"""The short form of each operation: which numpy call gives both ends of a term at once, from what is known of signs.

Each term is made in one *order* of its ends, lower first (0) or upper first (1), chosen so that its arguments are
mostly at hand in the order that they are wanted in.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from .kernels import factors
from .kinds import Kind, Known, cancels
from .plans import carefully, chosen, div_any, greater, lesser, mul_any, power_any, widen_any
from .terms import Term, Terms

Key = tuple[Term, int]
"""A term and the order of its ends."""
Pair = tuple[float, float]
"""A constant with unlike ends, in the order in which they stand."""


class Form(NamedTuple):
    """A function, the order of its result, and its operands; ``plain`` ones take them before ``out``."""

    f: Any
    order: int
    operands: tuple[Key | Pair, ...]
    plain: bool = True


_BINARY = {"add": np.add, "mul": np.multiply, "min": lesser, "max": greater}
_FUNCTIONS = {"sqrt": np.sqrt, "exp": np.exp, "log": np.log}


class Forms:
    """The forms that were chosen for ``terms``; ``order`` is the one that each is made in, 0 for variables."""

    def __init__(self, terms: Terms) -> None:
        self.terms = terms
        self.order: dict[Term, int] = {}
        self.chosen: dict[Term, Form] = {}

    def careful(self, t: Term) -> Form:
        """Give the form that is right whatever the arguments are."""
        arguments = self.terms.arguments[t]
        units = tuple(self.terms.units[a] for a in arguments)
        return Form(carefully(self.terms.operation[t], units), 0, tuple((a, 0) for a in arguments), False)

    def choose(self, t: Term, kinds: Mapping[Term, Known], inferred: Mapping[Term, Known]) -> None:
        """Choose the form of a term, after those of its arguments."""
        form = None
        if inferred[t] is not None:
            known = [k for a in self.terms.arguments[t] if (k := kinds[a]) is not None]
            form = self._short(t, known)
        found = self.chosen[t] = form or self.careful(t)
        self.order[t] = found.order

    # ---- orders

    def _misses(self, t: Term, order: int) -> bool:
        return t not in self.terms.fixed and self.order.get(t, 0) != order

    def _unary(self, f: Any, a: Term, turned: int = 0) -> Form:
        order = self.order.get(a, 0)
        return Form(f, order ^ turned, ((a, order),))

    def _binary(self, f: Any, a: Term, b: Term, against: int = 0, turned: int = 0) -> Form:
        """Compute both ends at once from terms in one order, or in orders ``against`` each other."""
        first, second = (self._misses(a, way) + self._misses(b, way ^ against) for way in (0, 1))
        way = int(second < first)
        return Form(f, way ^ turned, ((a, way), (b, way ^ against)))

    # ---- operations

    def _short(self, t: Term, kinds: list[Kind]) -> Form | None:
        arguments = self.terms.arguments[t]
        a, b = arguments[0], arguments[-1]
        first, second = kinds[0].sign, kinds[-1].sign
        match self.terms.operation[t]:
            case "mul":
                return self._mul(a, b, first, second)
            case "widen":
                return self._widen(a, first)
            case "add":
                return self._add(a, b, kinds)
            case "sub":
                return self._binary(np.subtract, a, b, 1)
            case "div" if first:
                return self._binary(np.divide, a, b, int(first > 0))
            case "div":
                return Form(div_any, 0, ((a, 0), (b, 0), (b, 1)), False)
            case "min" | "max" as name:
                return self._binary(_BINARY[name], a, b)
            case "neg":
                return self._unary(np.negative, a, 1)
            case "abs" | "square" as name if first:
                return self._unary(np.abs if name == "abs" else np.square, a, int(first < 0))
            case "sqrt" | "exp" | "log" as name:
                return self._unary(_FUNCTIONS[name], a)
            case "chosen":
                return Form(chosen, 0, ((a, 0), (b, 0)), False)
            case "pow" | "powi":
                return self._power(a, b, kinds[0])
        return None

    def _is_point(self, t: Term) -> bool:
        fixed = self.terms.fixed.get(t)
        return fixed is not None and bool(fixed.lo[0] == fixed.hi[0])

    def _widen(self, a: Term, sign: int) -> Form:
        down, up = factors(self.terms.units[a])
        order = self.order.get(a, 0)
        if not sign:
            outwards = (1.0, -1.0) if order else (-1.0, 1.0)
            return Form(widen_any, order, ((a, order), (up - 1, up - 1), outwards), False)
        return Form(np.multiply, order, ((a, order), (up, down) if (sign > 0) == bool(order) else (down, up)))

    def _add(self, a: Term, b: Term, kinds: list[Kind]) -> Form | None:
        if cancels(*kinds):
            return self._binary(np.add, self.terms.wide(a), self.terms.wide(b))
        if kinds[0].sign * kinds[1].sign > 0 or not (self.terms.units[a] or self.terms.units[b]):
            return self._binary(np.add, a, b)
        return None

    def _mul(self, a: Term, b: Term, first: int, second: int) -> Form | None:
        if self._is_point(a):
            return self._binary(np.multiply, a, b, 0, int(first < 0))
        if self._is_point(b):
            return self._binary(np.multiply, a, b, 0, int(second < 0))
        if first and second:
            against = int(first != second)
            # With unlike signs the lower end comes from the upper end of what is positive.
            return self._binary(np.multiply, a, b, against, int(first < 0) if not against else int(first > 0))
        if first == 1 or second == 1:
            positive, other = (a, b) if first == 1 else (b, a)
            return Form(mul_any, 0, ((positive, 0), (positive, 1), (other, 0)), False)
        return None

    def _power(self, base: Term, exponent: Term, kind: Kind) -> Form:
        order = self.order.get(base, 0)
        falls = int(self.terms.fixed[exponent].hi[0] < 0)
        # The order of the exponents for a base above one; below, the other exponent gives the end.
        above = order ^ falls
        if self._is_point(exponent) or kind.least > 1 or kind.most < 1:
            return Form(np.power, above, ((base, order), (exponent, above ^ int(kind.most < 1))))
        return Form(power_any, above, ((base, order), (exponent, above), (exponent, 1 - above)), False)
