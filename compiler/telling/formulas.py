"""Formulas for people: with their symbols, and with the numbers that stood for them."""

from collections.abc import Callable

from ..meaning.dimensions import names_in
from ..meaning.display import with_unit
from ..network.graph import Network, Requirement
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


def titles(network: Network) -> list[str]:
    """Name the requirements for people: by their law, and by their condition too where a law has several."""
    names = [r.name for r in network.requirements]
    return [r.name if names.count(r.name) == 1 else f"{r.name}: {requirement_text(r)}" for r in network.requirements]


def identities(solution: Solution) -> dict[int, str]:
    """Name the requirements that count for programs: by law or want, with a number from the second of a name on."""
    found: dict[int, str] = {}
    counts: dict[str, int] = {}
    for margin in solution.answer.margins:
        name = solution.network.requirements[margin.requirement].name
        counts[name] = counts.get(name, 0) + 1
        found[margin.requirement] = name if counts[name] == 1 else f"{name}#{counts[name]}"
    return found


def derivation(solution: Solution, requirement: Requirement, setting: int) -> list[str]:
    """List the derived names that tell how a setting bears on a requirement.

    First those of the requirement's own text, then the shortest way from them to the setting, in that order.
    """
    network, name = solution.network, solution.variable(setting).decl.name
    own = [n for n in _used(requirement.comparison.left, requirement.comparison.right) if n in network.lets]
    ways: dict[str, tuple[str, ...]] = {n: (n,) for n in own}
    queue = list(own)
    for at in queue:
        inner = _used(network.lets[at].expression)
        if name in inner:
            return list(dict.fromkeys([*own, *ways[at]]))
        for n in inner:
            if n in network.lets and n not in ways:
                ways[n] = (*ways[at], n)
                queue.append(n)
    return own


def _used(*expressions: tree.Expression) -> list[str]:
    return list(dict.fromkeys(r.name for e in expressions for r in names_in(e)))
