"""Plain evaluation of checked texts over rows of values: no network, no intervals, no search."""

import math
from collections.abc import Callable, Mapping
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from ..meaning.dimensions import names_in
from ..meaning.functions import CONSTANTS
from ..meaning.model import LetDecl
from ..meaning.units import parse_unit, to_base_text
from ..syntax import tree

Floats = NDArray[np.float64]

_erf = np.frompyfunc(math.erf, 1, 1)
_FUNCTIONS: Mapping[str, Callable[..., Floats]] = {
    "abs": np.abs,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "log": np.log,
    "log10": np.log10,
    "tan": np.tan,
    "erf": lambda x: np.asarray(_erf(x), dtype=np.float64),
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
    """Evaluates texts over rows of input values, whose shapes must broadcast; derived names are evaluated once.

    ``values`` holds what is known by name and grows by what is derived. ``uses`` gives the names in the formula of a
    derived one; evaluators of the same lets may share it.
    """

    def __init__(
        self,
        lets: Mapping[str, LetDecl],
        values: Mapping[str, Floats],
        uses: dict[str, tuple[str, ...]] | None = None,
    ) -> None:
        self.values = dict(values)
        self._lets = lets
        self._uses = {} if uses is None else uses

    def of(self, e: tree.Expression) -> Floats:
        """Evaluate an expression in base units; the result has one value, or one a row."""
        match e:
            case tree.Reference():
                found = self.values.get(e.name)
                return self._name(e.name) if found is None else found
            case tree.Binary():
                return _OPERATORS[e.operator](self.of(e.left), self.of(e.right))
            case tree.Literal():
                return _number(e.number.digits, e.number.unit)
            case tree.Negation():
                return -self.of(e.operand)
            case tree.Call():
                return self._call(e)
            case tree.Integral():
                return self._integral(e)

    def _name(self, name: str) -> Floats:
        if name in CONSTANTS:
            return _constant(name)
        # What a name is derived from comes first, so that a long chain of names needs no deep stack.
        waiting = [name]
        while waiting:
            current = waiting[-1]
            if current in self.values:
                waiting.pop()
                continue
            needed = [n for n in self.uses(current) if n in self._lets and n not in self.values]
            if needed:
                waiting += needed
            else:
                self.values[current] = self.of(self._lets[current].expression)
        return self.values[name]

    def uses(self, name: str) -> tuple[str, ...]:
        """List the names in the formula of a derived one."""
        found = self._uses.get(name)
        if found is None:
            found = self._uses[name] = tuple(dict.fromkeys(r.name for r in names_in(self._lets[name].expression)))
        return found

    def _call(self, e: tree.Call) -> Floats:
        arguments = [self.of(a) for a in e.arguments]
        name = e.function.text
        if name in ("min", "max"):
            folded = arguments[0]
            for other in arguments[1:]:
                folded = np.minimum(folded, other) if name == "min" else np.maximum(folded, other)
            return folded
        return _FUNCTIONS[name](*arguments)

    def _integral(self, e: tree.Integral) -> Floats:
        start, stop = self.of(e.start), self.of(e.stop)
        total: Floats = np.array([0.0])
        # No derived name hangs on the variable: its name is free everywhere else, or the text was refused.
        for point, weight in _quadrature(int(e.points.digits)):
            self.values[e.variable.text] = start + (stop - start) * (point + 1.0) / 2.0
            total = total + self.of(e.body) * weight / 2.0
        del self.values[e.variable.text]
        return total * (stop - start)


@lru_cache(maxsize=4096)
def _number(digits: str, unit: str) -> Floats:
    return _fixed(to_base_text(digits, parse_unit(unit)) if unit else float(digits))


@cache
def _constant(name: str) -> Floats:
    return _fixed(CONSTANTS[name][0])


def _fixed(value: float) -> Floats:
    found = np.array([value])
    found.flags.writeable = False
    return found


@cache
def _quadrature(count: int) -> list[tuple[float, float]]:
    points, weights = np.polynomial.legendre.leggauss(count)
    return [(float(p), float(w)) for p, w in zip(points, weights, strict=True)]
