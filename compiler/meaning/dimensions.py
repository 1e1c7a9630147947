"""Dimension checking of expressions, with temperature points apart from differences."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Edit, Fix, diagnose
from ..text.fixing import write_for
from ..text.source import Span
from .functions import CONSTANTS, FUNCTIONS
from .near import brief, suggest
from .units import HARDNESS, NUMBER, TEMPERATURE_DIFFERENCE, TEMPERATURE_POINT, Dimension, with_article
from .valuing import base_of, example_unit, unit_of

Lookup = Callable[[str], Dimension | None]
"""From a known name to its dimension; None where its own definition is at fault."""

LARGEST_EXPONENT = 100
"""Size of the largest constant exponent."""

_VERBS = {"+": "added", "-": "subtracted", "*": "multiplied", "/": "divided", "^": "raised to a power"}


class Checker:
    """Infers the dimension of expressions. A part at fault is reported once and gives None from there up.

    ``known`` maps every name to what it is: ``quantity``, ``word`` (one that takes a word), ``setting``, ``let``,
    ``merit``, ``grade``, or ``failed`` where its declaration is at fault and was reported.
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
                return self._literal(e)
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
            return self._unlike(c, left, right, "compared")
        return left

    def _literal(self, e: tree.Literal) -> Dimension | None:
        unit = unit_of(e.number, self._faults)
        if unit is None or base_of(e.number, unit, self._faults) is None:
            return None
        return unit.dimension

    def _reference(self, e: tree.Reference) -> Dimension | None:
        if e.name in self._bound:
            return self._bound[e.name]
        if e.name in CONSTANTS:
            return CONSTANTS[e.name][1]
        kind = self._known.get(e.name)
        if kind is None:
            usable = [n for n, k in self._known.items() if k in ("quantity", "setting", "let")]
            hint = suggest(e.name, e.span, [*usable, *CONSTANTS], "declare it with quantity, setting or let")
            return self._fail("M214", e, name=brief(e.name), **hint)
        if kind == "word":
            advice = f"ask for its word in a when: {e.name} is WORD"
            facts: dict[str, Any] = {"wanted": "a word", "found": "the numbers of a formula"}
            return self._fail("M232", e, name=e.name, advice=advice, **facts)
        if kind in ("merit", "grade"):
            advice = "use what it is made of" if kind == "merit" else "use the quantity that it grades"
            return self._fail("M246", e, name=e.name, kind=kind, advice=advice)
        return self._lookup(e.name) if kind != "failed" else None

    def _negation(self, e: tree.Negation) -> Dimension | None:
        inner = self.infer(e.operand)
        if inner is not None and inner.kind != "plain":
            return self._special(inner, e, "negated", [(e.operand, inner)])
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
            if e.operator == "-":
                return TEMPERATURE_DIFFERENCE
            fixes = _in_kelvins([(e.left, left), (e.right, right)])
            return self._fail("M304", e, verb="added to another", fixes=fixes)
        if left == TEMPERATURE_DIFFERENCE and right == TEMPERATURE_POINT and e.operator == "+":
            return right
        if left != right:
            return self._unlike(e, left, right, verb)
        return left

    def _product(self, e: tree.Binary) -> Dimension | None:
        left, right = self.infer(e.left), self.infer(e.right)
        if left is None or right is None:
            return None
        for side in (left, right):
            if side.kind != "plain":
                return self._special(side, e, _VERBS[e.operator], [(e.left, left), (e.right, right)])
        return left.times(right) if e.operator == "*" else left.over(right)

    def _power(self, e: tree.Binary) -> Dimension | None:
        base, exponent = self.infer(e.left), self.infer(e.right)
        if base is None or exponent is None:
            return None
        if base.kind != "plain":
            return self._special(base, e, _VERBS["^"], [(e.left, base)])
        if exponent != NUMBER:
            return self._fail("M303", e.right, what="an exponent", found=with_article(exponent))
        constant = constant_of(e.right)
        if constant is not None and abs(constant) > LARGEST_EXPONENT:
            return self._fail("M307", e.right, limit=LARGEST_EXPONENT)
        if base == NUMBER:
            return NUMBER
        if constant is None:
            return self._fail("M306", e.right)
        return base.to_power(constant)

    def _call(self, e: tree.Call) -> Dimension | None:
        function = FUNCTIONS.get(e.function.text)
        if function is None:
            known = f"the functions are {', '.join(FUNCTIONS)}"
            hint = suggest(e.function.text, e.function.span, FUNCTIONS, known, lambda n: _takes_count(e, n))
            return self._fail("M218", e.function, name=brief(e.function.text), **hint)
        count = len(e.arguments)
        if count < function.least or (function.most is not None and count > function.most):
            wanted = f"{function.least} argument" + ("s" if function.least > 1 else "")
            wanted = wanted if function.most is not None else f"{wanted} or more"
            letters = ", ".join("abc"[: function.least])
            pattern = f"{function.name}({letters})" if function.most else f"{function.name}({letters}, ...)"
            return self._fail("M219", e, name=function.name, wanted=wanted, found=count, pattern=pattern)
        dimensions = [self.infer(a) for a in e.arguments]
        sound = tuple(d for d in dimensions if d is not None)
        if len(sound) < count:
            return None
        result = function.rule(sound)
        if result is None:
            found = " and ".join(dict.fromkeys(with_article(d) for d in sound))
            facts: dict[str, Any] = {"name": function.name, "wanted": function.wants, "found": found}
            return self._fail("M232", e, advice=_other_argument(function.name, sound), **facts)
        return result

    def _integral(self, e: tree.Integral) -> Dimension | None:
        start, stop = self.infer(e.start), self.infer(e.stop)
        digits = e.points.digits
        if not (digits.isdigit() and len(digits) < 5 and 1 <= int(digits) <= 32):
            self._fail("M240", e.points, found=brief(digits))
        shadowed = self._bound.get(e.variable.text)
        if e.variable.text in self._known or e.variable.text in CONSTANTS or shadowed is not None:
            return self._fail("M231", e.variable, name=e.variable.text, kind="name of something else")
        variable = start if start == stop else None
        self._bound[e.variable.text] = variable
        body = self.infer(e.body)
        del self._bound[e.variable.text]
        if start is not None and stop is not None and start != stop:
            return self._unlike(e, start, stop, "the ends of one integral")
        if body is None or variable is None:
            return None
        for side in (body, variable):
            if side.kind != "plain":
                return self._special(side, e, "integrated")
        return body.times(variable)

    def _special(
        self,
        dimension: Dimension,
        e: tree.Expression,
        verb: str,
        sides: Sequence[tuple[tree.Expression, Dimension]] = (),
    ) -> Dimension | None:
        if dimension.kind == "point":
            return self._fail("M304", e, verb=verb, fixes=_in_kelvins(sides))
        return self._fail("M305", e, verb=verb)

    def _unlike(
        self, at: tree.Expression | tree.Comparison, left: Dimension, right: Dimension, verb: str
    ) -> Dimension | None:
        facts: dict[str, Any] = {"left": with_article(left), "right": with_article(right), "verb": verb}
        facts["fixes"] = _with_units(at, left, right)
        return self._fail("M302", at, advice=_one_dimension(at, left, right), **facts)

    def _fail(
        self, code: str, at: tree.Expression | tree.Comparison | tree.Name | tree.Number, **facts: Any
    ) -> Dimension | None:
        """Report a fault; gives None, the dimension of a part at fault."""
        self._faults.append(diagnose(code, at.span, **facts))
        return None


def _takes_count(e: tree.Call, name: str) -> bool:
    function, count = FUNCTIONS[name], len(e.arguments)
    return function.least <= count and (function.most is None or count <= function.most)


def _with_units(e: tree.Expression | tree.Comparison, left: Dimension, right: Dimension) -> list[Fix]:
    """Write the unit of a bare number that stands beside a value with a unit."""
    if not isinstance(e, tree.Binary | tree.Comparison):
        return []
    pairs = ((e.left, left, right), (e.right, right, left))
    bare = [
        (side, f"{side.number.digits} {example_unit(other)}")
        for side, own, other in pairs
        if isinstance(side, tree.Literal) and own == NUMBER and other not in (NUMBER, HARDNESS)
    ]
    return [write_for(side.span, side.number.digits, text) for side, text in bare]


def _in_kelvins(sides: Iterable[tuple[tree.Expression, Dimension]]) -> list[Fix]:
    """Turn the temperature points of a sum or product into kelvins."""
    points = [side for side, dimension in sides if dimension == TEMPERATURE_POINT]
    ends = [
        (Span(p.span.file, at, at), text)
        for p in points
        for at, text in ((p.span.start, "absolute("), (p.span.end, ")"))
    ]
    return [Fix("write absolute(...) for kelvins", tuple(Edit(span, text) for span, text in ends))] if ends else []


def _one_dimension(e: tree.Expression | tree.Comparison, left: Dimension, right: Dimension) -> str:
    """Say how two sides may come to one dimension."""
    if isinstance(e, tree.Binary | tree.Comparison):
        for side, dimension, other in ((e.left, left, right), (e.right, right, left)):
            if isinstance(side, tree.Literal) and dimension == NUMBER and other not in (NUMBER, HARDNESS):
                return f"write its unit too: {side.number.digits} {example_unit(other)}"
    if {left, right} == {TEMPERATURE_POINT, TEMPERATURE_DIFFERENCE}:
        return "write differences in K and points in degC; absolute(...) turns a point into kelvins"
    return "both sides need one dimension: look for a factor that is missing or one too many"


def _other_argument(function: str, found: tuple[Dimension, ...]) -> str:
    if HARDNESS in found:
        return "read the hardness with reading(...), in a law that says 'when ... on' its scale"
    if function == "absolute":
        return "leave absolute(...) away: only points in degC need it"
    if function == "reading":
        return "leave reading(...) away: only a hardness needs it"
    if TEMPERATURE_POINT in found:
        return "write absolute(...) for kelvins, or subtract a point first"
    return "write all of them in one dimension" if len(found) > 1 else "divide by a reference of the same dimension"


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
