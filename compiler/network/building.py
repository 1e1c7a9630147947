"""A network under construction: nodes are shared where they say the same."""

import math

from ..meaning.dimensions import constant_of
from ..meaning.functions import CONSTANTS
from ..meaning.units import NUMBER, Dimension, parse_unit, to_base_text
from ..syntax import tree
from ..text.source import NOWHERE, Span
from . import products
from .graph import Node
from .kinds import dimension_of
from .quadrature import gauss_legendre

_BINARY = {"+": "add", "-": "sub", "*": "mul", "/": "div"}
_LOG10 = 1.0 / math.log(10.0)


class Graph:
    """Grows the list of nodes. ``law`` is the law whose text is being lowered."""

    def __init__(self) -> None:
        self.nodes: list[Node] = []
        self.law = ""
        self._leaves: dict[tuple[str, float, str, Dimension], int] = {}
        self._operations: dict[tuple[str, tuple[int, ...]], int] = {}
        self._factors: dict[int, products.Factors] = {}

    def add(self, operator: str, arguments: tuple[int, ...], span: Span = NOWHERE) -> int:
        """Give the node of an operation, a new one only where there is none that says the same."""
        if operator in ("mul", "div", "powi"):
            return self._product(operator, arguments, span)
        return self._operation(operator, arguments, span)

    def variable(self, operator: str, name: str, dimension: Dimension, span: Span = NOWHERE) -> int:
        """Give the node of a ``setting`` or an ``input``."""
        return self._leaf(Node(operator, (), 0.0, name, dimension, span, self.law))

    def constant(self, value: float, dimension: Dimension = NUMBER, span: Span = NOWHERE) -> int:
        """Give the node of a constant in base units."""
        return self._leaf(Node("constant", (), value, "", dimension, span, self.law))

    def _product(self, operator: str, arguments: tuple[int, ...], span: Span) -> int:
        """Add a product; one whose operands share a factor is built anew with the factor gathered."""
        left = self._factors.get(arguments[0], {arguments[0]: 1})
        if operator == "powi":
            factors = products.raised(left, int(self.nodes[arguments[1]].value))
            shared = False
        else:
            right = self._factors.get(arguments[1], {arguments[1]: 1})
            factors = products.joined(left, right, 1 if operator == "mul" else -1)
            shared = any(n in left for n in right)
        if shared:
            node = products.rebuild(factors, lambda o, a: self._operation(o, a, span), self.constant)
        else:
            node = self._operation(operator, arguments, span)
        if len(factors) > 1 or factors.get(node) != 1:
            self._factors.setdefault(node, factors)
        return node

    def _operation(self, operator: str, arguments: tuple[int, ...], span: Span) -> int:
        found = self._operations.get((operator, arguments))
        if found is not None:
            return found
        exponent = self.nodes[arguments[-1]].value if operator in ("pow", "powi") else 1.0
        dimension = dimension_of(operator, [self.nodes[a].dimension for a in arguments], exponent)
        found = self._operations[operator, arguments] = len(self.nodes)
        self.nodes.append(Node(operator, arguments, 0.0, "", dimension, span, self.law))
        return found

    def _leaf(self, node: Node) -> int:
        key = (node.operator, node.value, node.name, node.dimension)
        found = self._leaves.setdefault(key, len(self.nodes))
        if found == len(self.nodes):
            self.nodes.append(node)
        return found


class Lowering:
    """Lowers expressions to nodes; ``resolve`` of the subclass gives the node of a name, or None after reporting."""

    def __init__(self, graph: Graph) -> None:
        self.graph = graph
        self._bound: dict[str, int] = {}

    def resolve(self, reference: tree.Reference) -> int | None:
        """Give the node of a name."""
        raise NotImplementedError

    def lower(self, e: tree.Expression) -> int | None:
        """Give the node of an expression; None where a name in it has no value."""
        match e:
            case tree.Literal():
                unit = parse_unit(e.number.unit) if e.number.unit else None
                value = to_base_text(e.number.digits, unit) if unit else float(e.number.digits)
                return self.graph.constant(value, unit.dimension if unit else NUMBER, e.span)
            case tree.Reference():
                return self._reference(e)
            case tree.Negation():
                return self._apply("neg", (e.operand,), e.span)
            case tree.Binary(operator="^"):
                return self._power(e)
            case tree.Binary():
                return self._apply(_BINARY[e.operator], (e.left, e.right), e.span)
            case tree.Call():
                return self._call(e)
            case tree.Integral():
                return self._integral(e)

    def _reference(self, e: tree.Reference) -> int | None:
        if e.name in self._bound:
            return self._bound[e.name]
        if e.name in CONSTANTS:
            value, dimension, _ = CONSTANTS[e.name]
            return self.graph.constant(value, dimension, e.span)
        return self.resolve(e)

    def _apply(self, operator: str, operands: tuple[tree.Expression, ...], span: Span) -> int | None:
        nodes = [self.lower(o) for o in operands]
        sound = tuple(n for n in nodes if n is not None)
        return self.graph.add(operator, sound, span) if len(sound) == len(nodes) else None

    def _power(self, e: tree.Binary) -> int | None:
        exponent = constant_of(e.right)
        if exponent is None:
            return self._apply("pow", (e.left, e.right), e.span)
        base = self.lower(e.left)
        if base is None:
            return None
        if exponent == 1:
            return base
        if exponent * 2 == 1:
            return self.graph.add("sqrt", (base,), e.span)
        operator = "powi" if exponent.denominator == 1 else "pow"
        return self.graph.add(operator, (base, self.graph.constant(float(exponent), span=e.right.span)), e.span)

    def _call(self, e: tree.Call) -> int | None:
        name = e.function.text
        if name in ("absolute", "reading"):
            return self.lower(e.arguments[0])
        if name == "log10":
            inner = self._apply("log", e.arguments, e.span)
            return None if inner is None else self.graph.add("mul", (inner, self.graph.constant(_LOG10)), e.span)
        if len(e.arguments) <= 2:
            return self._apply(name, e.arguments, e.span)
        first = self._apply(name, e.arguments[:2], e.span)
        for argument in e.arguments[2:]:
            second = self.lower(argument)
            first = None if first is None or second is None else self.graph.add(name, (first, second), e.span)
        return first

    def _integral(self, e: tree.Integral) -> int | None:
        start, stop = self.lower(e.start), self.lower(e.stop)
        if start is None or stop is None:
            return None
        graph, total = self.graph, None
        for point, weight in gauss_legendre(int(e.points.digits)):
            near = graph.add("mul", (start, graph.constant(1.0 - point)), e.span)
            far = graph.add("mul", (stop, graph.constant(point)), e.span)
            self._bound[e.variable.text] = graph.add("add", (near, far), e.span)
            body = self.lower(e.body)
            if body is None:
                break
            term = graph.add("mul", (body, graph.constant(weight)), e.span)
            total = term if total is None else graph.add("add", (total, term), e.span)
        self._bound.pop(e.variable.text, None)
        if body is None or total is None:
            return None
        return graph.add("mul", (total, graph.add("sub", (stop, start), e.span)), e.span)
