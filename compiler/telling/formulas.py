"""Formulas for people: with their symbols, and with the numbers that stood for them."""

import re
from collections import Counter
from collections.abc import Callable, Iterable

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


class Formula:
    """An expression that is written again and again with other values in the place of its names.

    How it is printed hangs only on which values are negative or have a unit, so each such form is printed once.
    """

    def __init__(self, expression: tree.Expression) -> None:
        self.expression = expression
        names: dict[str, None] = {}

        def unknown(name: str) -> None:
            names.setdefault(name)

        self.text = with_numbers(expression, unknown)
        """The expression with its names."""
        self.names = tuple(names)
        self._forms: dict[tuple[object, ...], tuple[str, tuple[int, ...]]] = {}

    def filled(self, lookup: Lookup) -> str:
        """Write the expression with values: the same as ``with_numbers``."""
        if not self.names:
            return self.text
        texts = [lookup(n) for n in self.names]
        key = tuple([None if t is None else (t[:1] == "-", " " in t) for t in texts])
        form = self._forms.get(key)
        if form is None:
            form = self._forms[key] = self._form(texts)
        return form[0] % tuple([texts[i] for i in form[1]])

    def _form(self, texts: list[str | None]) -> tuple[str, tuple[int, ...]]:
        """Print the expression with marks for values; gives what lies between them and which value is where."""
        marks: dict[str, str | None] = {}
        for i, (name, text) in enumerate(zip(self.names, texts, strict=True)):
            if text is None:
                marks[name] = None
            else:
                sign = f"-{_BELOW}" if text[:1] == "-" else _ABOVE
                marks[name] = f"{sign}{i}{_END}" + (f" {_UNIT}" if " " in text else "")
        printed = with_numbers(self.expression, marks.get)
        found = list(_MARK.finditer(printed))
        return _MARK.sub("%s", printed.replace("%", "%%")), tuple(int(m[1]) for m in found)


_ABOVE, _BELOW, _END, _UNIT = "\ue000", "\ue001", "\ue002", "\ue003"
"""Marks of values in a printed expression; no text of the language holds these characters."""

_MARK = re.compile(f"(?:-{_BELOW}|{_ABOVE})([0-9]+){_END}(?: {_UNIT})?")


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
    counts = Counter(r.name for r in network.requirements)
    return [r.name if counts[r.name] == 1 else f"{r.name}: {requirement_text(r)}" for r in network.requirements]


def identities(solution: Solution) -> dict[int, str]:
    """Name the requirements that count for programs: by law or want, with a number from the second of a name on."""
    return named_apart(solution.network, [m.requirement for m in solution.answer.margins])


def named_apart(network: Network, requirements: Iterable[int]) -> dict[int, str]:
    """Name some requirements for programs: by law or want, with a number from the second of a name on."""
    found: dict[int, str] = {}
    counts: Counter[str] = Counter()
    for r in requirements:
        name = network.requirements[r].name
        counts[name] += 1
        found[r] = name if counts[name] == 1 else f"{name}#{counts[name]}"
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
