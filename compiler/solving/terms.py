"""Terms: what a tape evaluates for its nodes and their slopes, each made once.

A term is an operation of ``kernels`` on earlier terms. Its units are known from how it is made. A term in which
nothing moves is evaluated when it is made.
"""

from dataclasses import dataclass, field

import numpy as np

from .intervals import Interval
from .kernels import MOST_UNITS, RAW

Term = int


@dataclass(slots=True)
class Terms:
    """All terms of a tape, in an order in which each stands after its arguments.

    ``fixed`` holds the raw enclosures, of one row, of the terms that do not move.
    """

    operation: list[str] = field(default_factory=list)
    arguments: list[tuple[Term, ...]] = field(default_factory=list)
    units: list[int] = field(default_factory=list)
    fixed: dict[Term, Interval] = field(default_factory=dict)
    _known: dict[tuple[object, ...], Term] = field(default_factory=dict)

    def leaf(self) -> Term:
        """Make a variable."""
        return self._append("leaf", (), 0)

    def constant(self, value: float) -> Term:
        """Make a constant."""
        key = ("constant", value)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._append("fixed", (), 0)
            end = np.array([value])
            self.fixed[found] = Interval(end, end)
        return found

    def exact(self, value: Interval) -> Term:
        """Make a term of an enclosure that does not move."""
        found = self._append("fixed", (), 0)
        self.fixed[found] = value
        return found

    def _append(self, operation: str, arguments: tuple[Term, ...], units: int) -> Term:
        self.operation.append(operation)
        self.arguments.append(arguments)
        self.units.append(units)
        return len(self.units) - 1

    def _make(self, operation: str, arguments: tuple[Term, ...], units: int) -> Term:
        key = (operation, arguments)
        found = self._known.get(key)
        if found is not None:
            return found
        found = self._append(operation, arguments, units)
        if all(a in self.fixed for a in arguments):
            own = tuple(self.units[a] for a in arguments)
            with np.errstate(all="ignore"):
                ends = RAW[operation](own, *[self.fixed[a] for a in arguments])
            self.fixed[found] = Interval(*[np.atleast_1d(end) for end in ends])
        if units > MOST_UNITS:
            found = self.wide(found)
        self._known[key] = found
        return found

    # ---- operations

    def wide(self, a: Term) -> Term:
        """Widen: the result has no units."""
        return self._make("widen", (a,), 0) if self.units[a] else a

    def add(self, a: Term, b: Term) -> Term:
        """Add. Where the signs differ, widened arguments are taken."""
        self.wide(a), self.wide(b)
        return self._make("add", (a, b), max(self.units[a], self.units[b]) + 1)

    def sub(self, a: Term, b: Term) -> Term:
        """Subtract."""
        return self._make("sub", (self.wide(a), self.wide(b)), 1)

    def mul(self, a: Term, b: Term) -> Term:
        """Multiply."""
        return self._make("mul", (a, b), self.units[a] + self.units[b] + 1)

    def div(self, a: Term, b: Term) -> Term:
        """Divide."""
        return self._make("div", (a, b), self.units[a] + self.units[b] + 1)

    def square(self, a: Term) -> Term:
        """Square."""
        return self._make("square", (a,), 2 * self.units[a] + 1)

    def turned(self, name: str, a: Term) -> Term:
        """Negate, or take the size."""
        return self._make(name, (a,), self.units[a])

    def root(self, a: Term) -> Term:
        """Take the square root."""
        return self._make("sqrt", (a,), (self.units[a] + 1) // 2 + 1)

    def function(self, name: str, arguments: tuple[Term, ...]) -> Term:
        """Apply a library function that is off by two units in the last place."""
        return self._make(name, tuple(self.wide(a) for a in arguments), 4)

    def careful(self, name: str, arguments: tuple[Term, ...]) -> Term:
        """Apply a function that is exact, or encloses by itself."""
        return self._make(name, tuple(self.wide(a) for a in arguments), 0)

    # ---- operators

    def of(self, operator: str, arguments: tuple[Term, ...], whole: float | None = None) -> Term:
        """Make the term of a network's operator. ``whole`` is the exponent of ``powi`` if the network states it."""
        match operator:
            case "add":
                return self.add(*arguments)
            case "sub":
                return self.sub(*arguments)
            case "mul":
                return self.mul(*arguments)
            case "div":
                return self.div(*arguments)
            case "neg" | "abs":
                return self.turned(operator, arguments[0])
            case "min" | "max":
                # What is cut off at an exact limit stays exact.
                return self.careful(operator, arguments)
            case "sqrt":
                return self.root(*arguments)
            case "exp" | "log" | "pow":
                return self.function(operator, arguments)
            case "powi" if whole == 1:
                return arguments[0]
            case "powi" if whole == 2:
                return self.square(arguments[0])
            case "powi" if whole:
                return self.function(operator, arguments)
            case _:
                return self.careful("bare " + operator, arguments)
