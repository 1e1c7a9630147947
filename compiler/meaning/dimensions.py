"""Dimension checking of expressions, with temperature points apart from differences."""

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, diagnose
from .functions import CONSTANTS, FUNCTIONS
from .near import near
from .units import NUMBER, TEMPERATURE_DIFFERENCE, TEMPERATURE_POINT, Dimension, describe
from .valuing import unit_of

Lookup = Callable[[str], Dimension | None]
"""From a known name to its dimension; None where its own definition is at fault."""

_VERBS = {"+": "added", "-": "subtracted", "*": "multiplied", "/": "divided", "^": "raised to a power"}


class Checker:
    """Infers the dimension of expressions. A part at fault is reported once and gives None from there up.

    ``known`` maps every name to what it is: ``quantity``, ``word`` (one that takes a word), ``setting`` or ``let``.
    """

    def __init__(self, lookup: Lookup, known: Mapping[str, str], faults: list[Diagnostic]) -> None:
        self._lookup = lookup
        self._known = known
        self._faults = faults
        self._bound: dict[str, Dimension | None] = {}

    def infer(self, e: tree.Expression) -> Dimension | None:
        """Give the dimension of an expression, or None after reporting."""
        match e:
            case tree.Literal():
                unit = unit_of(e.number, self._faults)
                return unit.dimension if unit else None
            case tree.Reference():
                return self._reference(e)
            case tree.Negation():
                return self._negation(e)
            case tree.Binary(operator="+" | "-"):
                return self._sum(e)
            case tree.Binary(operator="^"):
                return self._power(e)
            case tree.Binary():
                return self._product(e)
            case tree.Call():
                return self._call(e)
            case tree.Integral():
                return self._integral(e)

    def comparison(self, c: tree.Comparison) -> Dimension | None:
        """Check that both sides have one dimension, and give it."""
        left, right = self.infer(c.left), self.infer(c.right)
        if left is None or right is None:
            return None
        if "hardness" in (left.kind, right.kind):
            return self._fail("M305", c, verb="compared")
        if left != right:
            advice = "both sides must have one dimension"
            if right == NUMBER and isinstance(c.right, tree.Literal):
                advice = f"give {c.right.number.digits} a unit of {describe(left)}"
            return self._unlike(c, left, right, "compared", advice)
        return left

    def _reference(self, e: tree.Reference) -> Dimension | None:
        if e.name in self._bound:
            return self._bound[e.name]
        if e.name in CONSTANTS:
            return CONSTANTS[e.name][1]
        if e.name not in self._known:
            advice = near(e.name, [*self._known, *CONSTANTS], "declare it with quantity, setting or let")
            return self._fail("M214", e, name=e.name, near=advice)
        if self._known[e.name] == "word":
            advice = f"ask for it in a condition: {e.name} is WORD"
            return self._fail("M232", e, name=e.name, wanted="a word", found="part of a formula", advice=advice)
        return self._lookup(e.name)

    def _negation(self, e: tree.Negation) -> Dimension | None:
        inner = self.infer(e.operand)
        if inner is not None and inner.kind != "plain":
            return self._special(inner, e, "negated")
        return inner

    def _sum(self, e: tree.Binary) -> Dimension | None:
        left, right = self.infer(e.left), self.infer(e.right)
        if left is None or right is None:
            return None
        verb = _VERBS[e.operator]
        if "hardness" in (left.kind, right.kind):
            return self._fail("M305", e, verb=verb)
        if left == TEMPERATURE_POINT and right == TEMPERATURE_DIFFERENCE:
            return left
        if left == right == TEMPERATURE_POINT:
            return TEMPERATURE_DIFFERENCE if e.operator == "-" else self._fail("M304", e, verb="added to another")
        if left == TEMPERATURE_DIFFERENCE and right == TEMPERATURE_POINT and e.operator == "+":
            return right
        if left != right:
            return self._unlike(e, left, right, verb, "convert one of them")
        return left

    def _product(self, e: tree.Binary) -> Dimension | None:
        left, right = self.infer(e.left), self.infer(e.right)
        if left is None or right is None:
            return None
        for side in (left, right):
            if side.kind != "plain":
                return self._special(side, e, _VERBS[e.operator])
        return left.times(right) if e.operator == "*" else left.over(right)

    def _power(self, e: tree.Binary) -> Dimension | None:
        base, exponent = self.infer(e.left), self.infer(e.right)
        if base is None or exponent is None:
            return None
        if base.kind != "plain":
            return self._special(base, e, _VERBS["^"])
        if exponent != NUMBER:
            return self._fail("M303", e.right, what="an exponent", found=describe(exponent))
        if base == NUMBER:
            return NUMBER
        constant = constant_of(e.right)
        if constant is None:
            return self._fail("M306", e.right)
        return base.to_power(constant)

    def _call(self, e: tree.Call) -> Dimension | None:
        function = FUNCTIONS.get(e.function.text)
        if function is None:
            return self._fail("M218", e.function, name=e.function.text, near=near(e.function.text, FUNCTIONS))
        count = len(e.arguments)
        if count < function.least or (function.most is not None and count > function.most):
            wanted = f"{function.least} argument" + ("s" if function.least > 1 else "")
            wanted = wanted if function.most is not None else f"{wanted} or more"
            return self._fail("M219", e, name=function.name, wanted=wanted, found=count)
        dimensions = [self.infer(a) for a in e.arguments]
        sound = tuple(d for d in dimensions if d is not None)
        if len(sound) < count:
            return None
        result = function.rule(sound)
        if result is None:
            found = " and ".join(f"a {describe(d)}" for d in sound)
            self._faults.append(
                diagnose(
                    "M303",
                    e.span,
                    what=function.name,
                    found=found,
                    help=f"{function.name} takes {function.wants}; this is {found}",
                )
            )
        return result

    def _integral(self, e: tree.Integral) -> Dimension | None:
        start, stop = self.infer(e.start), self.infer(e.stop)
        if not (e.points.digits.isdigit() and 1 <= int(e.points.digits) <= 32):
            self._fail("M240", e.points, found=e.points.digits)
        shadowed = self._bound.get(e.variable.text)
        if e.variable.text in self._known or e.variable.text in CONSTANTS or shadowed is not None:
            return self._fail("M231", e.variable, name=e.variable.text, kind="name of something else")
        variable = start if start == stop else None
        self._bound[e.variable.text] = variable
        body = self.infer(e.body)
        del self._bound[e.variable.text]
        if start is not None and stop is not None and start != stop:
            return self._unlike(e, start, stop, "the ends of one integral", "give both ends one dimension")
        if body is None or variable is None:
            return None
        for side in (body, variable):
            if side.kind != "plain":
                return self._special(side, e, "integrated")
        return body.times(variable)

    def _special(self, dimension: Dimension, e: tree.Expression, verb: str) -> Dimension | None:
        return self._fail("M304" if dimension.kind == "point" else "M305", e, verb=verb)

    def _unlike(
        self, at: tree.Expression | tree.Comparison, left: Dimension, right: Dimension, verb: str, advice: str
    ) -> Dimension | None:
        return self._fail(
            "M302", at, left=f"a {describe(left)}", right=f"a {describe(right)}", verb=verb, advice=advice
        )

    def _fail(
        self, code: str, at: tree.Expression | tree.Comparison | tree.Name | tree.Number, **facts: Any
    ) -> Dimension | None:
        """Report a fault; gives None, the dimension of a part at fault."""
        self._faults.append(diagnose(code, at.span, **facts))
        return None


def constant_of(e: tree.Expression) -> Fraction | None:
    """Give the value of an expression of plain numbers only, exactly; None for any other."""
    match e:
        case tree.Literal(number=tree.Number(unit="")):
            return Fraction(e.number.digits)
        case tree.Negation():
            inner = constant_of(e.operand)
            return None if inner is None else -inner
        case tree.Binary(operator="+" | "-" | "*" | "/"):
            left, right = constant_of(e.left), constant_of(e.right)
            if left is None or right is None or (e.operator == "/" and right == 0):
                return None
            results = {"+": left + right, "-": left - right, "*": left * right}
            return left / right if e.operator == "/" else results[e.operator]
    return None


def names_in(e: tree.Expression, bound: frozenset[str] = frozenset()) -> list[tree.Reference]:
    """List the references of an expression, in order, without the variables of its integrals."""
    match e:
        case tree.Literal():
            return []
        case tree.Reference():
            return [] if e.name in bound else [e]
        case tree.Negation():
            return names_in(e.operand, bound)
        case tree.Binary():
            return names_in(e.left, bound) + names_in(e.right, bound)
        case tree.Call():
            return [r for a in e.arguments for r in names_in(a, bound)]
        case tree.Integral():
            ends = names_in(e.start, bound) + names_in(e.stop, bound)
            return ends + names_in(e.body, bound | {e.variable.text})
