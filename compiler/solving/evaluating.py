"""Plain evaluation of checked texts over rows of values: no network, no intervals, no search."""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from ..meaning.dimensions import names_in
from ..meaning.functions import CONSTANTS
from ..meaning.model import LetDecl
from ..meaning.units import parse_unit, to_base_text
from ..syntax import tree

Floats = NDArray[np.float64]

_FUNCTIONS: Mapping[str, Callable[..., Floats]] = {
    "abs": np.abs,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "log": np.log,
    "log10": np.log10,
    "tan": np.tan,
    "absolute": lambda x: x,
    "reading": lambda x: x,
    "expm1_ratio": lambda x: np.where(x == 0, 1.0, np.expm1(x) / np.where(x == 0, 1.0, x)),
}
_OPERATORS: Mapping[str, Callable[[Floats, Floats], Floats]] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "^": np.power,
}


class Evaluator:
    """Evaluates texts over rows of input values; derived names are evaluated once."""

    def __init__(self, lets: Mapping[str, LetDecl], values: Mapping[str, Floats]) -> None:
        self._lets = lets
        self._values = dict(values)

    def of(self, e: tree.Expression) -> Floats:
        """Evaluate an expression in base units; the result has one value, or one a row."""
        match e:
            case tree.Literal():
                unit = parse_unit(e.number.unit) if e.number.unit else None
                return np.array([to_base_text(e.number.digits, unit) if unit else float(e.number.digits)])
            case tree.Reference():
                return self._name(e.name)
            case tree.Negation():
                return -self.of(e.operand)
            case tree.Binary():
                return _OPERATORS[e.operator](self.of(e.left), self.of(e.right))
            case tree.Call():
                return self._call(e)
            case tree.Integral():
                return self._integral(e)

    def _name(self, name: str) -> Floats:
        if name in CONSTANTS:
            return np.array([CONSTANTS[name][0]])
        # What a name is derived from comes first, so that a long chain of names needs no deep stack.
        waiting = [name]
        while waiting:
            current = waiting[-1]
            if current in self._values:
                waiting.pop()
                continue
            expression = self._lets[current].expression
            needed = [r.name for r in names_in(expression) if r.name in self._lets and r.name not in self._values]
            if needed:
                waiting += needed
            else:
                self._values[current] = self.of(expression)
        return self._values[name]

    def _call(self, e: tree.Call) -> Floats:
        arguments = [self.of(a) for a in e.arguments]
        name = e.function.text
        if name in ("min", "max"):
            folded = arguments[0]
            for other in arguments[1:]:
                folded = np.minimum(folded, other) if name == "min" else np.maximum(folded, other)
            return folded
        if name == "erf":
            from math import erf

            return np.array([erf(x) for x in np.ravel(arguments[0])])
        return _FUNCTIONS[name](*arguments)

    def _integral(self, e: tree.Integral) -> Floats:
        start, stop = self.of(e.start), self.of(e.stop)
        points, weights = np.polynomial.legendre.leggauss(int(e.points.digits))
        total: Floats = np.array([0.0])
        for point, weight in zip(points, weights, strict=True):
            at = start + (stop - start) * (point + 1.0) / 2.0
            # Names derived from the variable must not be kept, so each point has an evaluator of its own.
            inner = Evaluator(self._lets, {**self._values, e.variable.text: at})
            total = total + inner.of(e.body) * weight / 2.0
        return total * (stop - start)
