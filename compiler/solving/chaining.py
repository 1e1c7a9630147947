"""The chain rule: terms for the slope of each node with regard to each variable, from the terms of its value.

``exp`` is its own slope, a quotient's is made from the quotient, and so on. A slope that is nothing but a sum, a
multiple by one or a change of sign costs nothing: it is a term that is there already, and its sign is kept beside it.
"""

from collections.abc import Sequence

from .terms import Term, Terms

Signed = tuple[int, Term]
"""A sign, 1 or -1, and a term."""
Slope = Signed | None
"""The slope of a node with regard to a variable; None where it does not depend on it."""


class Chain:
    """Makes slopes in the ``terms`` of a tape."""

    def __init__(self, terms: Terms) -> None:
        self.terms = terms
        self.one: Term = terms.constant(1.0)

    def of(
        self,
        operator: str,
        whole: float | None,
        value: Term,
        arguments: tuple[Term, ...],
        slopes: Sequence[Slope],
    ) -> Slope:
        """Give the slope of an operation from its value, its arguments and their slopes, not all None."""
        terms = self.terms
        match operator:
            case "add":
                return self.plus(slopes[0], slopes[1])
            case "sub":
                return self.plus(slopes[0], _opposite(slopes[1]))
            case "neg":
                return _opposite(slopes[0])
            case "mul":
                return self.plus(self.times(arguments[1], slopes[0]), self.times(arguments[0], slopes[1]))
            case "div":
                first = self.over(slopes[0], arguments[1])
                if slopes[1] is None:
                    return first
                return self.plus(first, _opposite(self.times(terms.div(value, arguments[1]), slopes[1])))
            case "exp":
                return self.times(value, slopes[0])
            case "log":
                return self.over(slopes[0], arguments[0])
            case "sqrt":
                return self.times(terms.div(terms.constant(0.5), value), slopes[0])
            case "powi" if whole == 1:
                return slopes[0]
            case "powi" if whole == 2:
                return self.times(terms.mul(terms.constant(2.0), arguments[0]), slopes[0])
            case "powi" if whole is not None and whole > 2:
                power = terms.of("powi", (arguments[0], terms.constant(whole - 1)), whole - 1)
                return self.times(terms.mul(terms.constant(whole), power), slopes[0])
            case "pow" if slopes[1] is None:
                power = terms.of("pow", (arguments[0], terms.sub(arguments[1], self.one)))
                return self.times(terms.mul(terms.wide(arguments[1]), power), slopes[0])
            case "min" | "max":
                # What is greater is chosen as the other would be if it were less.
                turned = arguments[::-1]
                both = (arguments, turned) if operator == "min" else (turned, arguments)
                chosen = [terms.careful("chosen", pair) for pair in both]
                return self.plus(self.times(chosen[0], slopes[0]), self.times(chosen[1], slopes[1]))
        total: Slope = None
        for at, slope in enumerate(slopes):
            if slope is not None:
                total = self.plus(total, self.times(terms.careful(f"slope {operator} {at}", arguments), slope))
        return total

    def plus(self, a: Slope, b: Slope) -> Slope:
        """Add slopes."""
        if a is None or b is None:
            return b if a is None else a
        if a[0] == b[0]:
            return a[0], self.terms.add(a[1], b[1])
        return a[0], self.terms.sub(a[1], b[1])

    def times(self, factor: Term, slope: Slope) -> Slope:
        """Multiply a slope."""
        if slope is None:
            return None
        return slope[0], factor if slope[1] == self.one else self.terms.mul(factor, slope[1])

    def over(self, slope: Slope, divisor: Term) -> Slope:
        """Divide a slope."""
        return None if slope is None else (slope[0], self.terms.div(slope[1], divisor))


def _opposite(a: Slope) -> Slope:
    return None if a is None else (-a[0], a[1])
