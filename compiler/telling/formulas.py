"""Formulas for people: with their symbols, and with the numbers that stood for them."""

from collections.abc import Callable

from ..meaning.display import with_unit
from ..network.graph import Requirement
from ..solving.answering import Margin
from ..syntax import tree
from ..syntax.printing import print_expression
from .solution import Solution, at_corner

Lookup = Callable[[str], str | None]


def with_numbers(e: tree.Expression, lookup: Lookup) -> str:
    """Write an expression with values in the place of names; a name without a value stays."""
    return print_expression(_filled(e, lookup))


def _filled(e: tree.Expression, lookup: Lookup) -> tree.Expression:
    match e:
        case tree.Literal():
            return e
        case tree.Reference():
            text = lookup(e.name)
            if text is None:
                return e
            digits, _, unit = text.partition(" ")
            if digits.startswith("-"):
                return tree.Negation(tree.Literal(tree.Number(digits[1:], unit)))
            return tree.Literal(tree.Number(digits, unit))
        case tree.Negation():
            return tree.Negation(_filled(e.operand, lookup))
        case tree.Binary():
            return tree.Binary(e.operator, _filled(e.left, lookup), _filled(e.right, lookup))
        case tree.Call():
            return tree.Call(e.function, tuple(_filled(a, lookup) for a in e.arguments))
        case tree.Integral():

            def inner(name: str) -> str | None:
                return None if name == e.variable.text else lookup(name)

            return tree.Integral(
                _filled(e.body, inner),
                e.variable,
                _filled(e.start, lookup),
                _filled(e.stop, lookup),
                e.points,
            )


def comparison_text(comparison: tree.Comparison, lookup: Lookup | None = None) -> str:
    """Write both sides of a comparison, with names or with numbers."""
    chosen: Lookup = lookup or (lambda _: None)
    left, right = (with_numbers(side, chosen) for side in (comparison.left, comparison.right))
    return f"{left} {comparison.relation} {right}"


def requirement_text(requirement: Requirement) -> str:
    """Write a requirement as it stands in the text."""
    return comparison_text(requirement.comparison)


def corner_lookup(solution: Solution, margin: Margin) -> Lookup:
    """Give the lookup of values at the corner where a requirement is closest."""
    derived = at_corner(solution, margin)

    def lookup(name: str) -> str | None:
        if name in derived:
            return with_unit(derived[name], solution.unit_of(name))
        return solution.worst_text(name, margin)

    return lookup
