"""Products as powers of their factors, so that what cancels is cancelled and what repeats is gathered.

An interval does not know that a quantity above and below a fraction bar is the same one; gathered, it stands once
and its direction can be proved. A factor that cancels counts as never zero.
"""

from collections.abc import Callable, Mapping

Factors = Mapping[int, int]
"""Nodes with their whole exponents."""

Add = Callable[[str, tuple[int, ...]], int]
Constant = Callable[[float], int]


def joined(left: Factors, right: Factors, sign: int) -> dict[int, int]:
    """Multiply (``sign`` 1) or divide (-1) two products."""
    powers = dict(left)
    for node, exponent in right.items():
        powers[node] = powers.get(node, 0) + sign * exponent
    return {n: e for n, e in powers.items() if e}


def raised(factors: Factors, exponent: int) -> dict[int, int]:
    """Raise a product to a whole power."""
    return {n: e * exponent for n, e in factors.items()}


def rebuild(factors: Factors, add: Add, constant: Constant) -> int:
    """Build a product from its factors, in the order of the nodes."""
    above = [_power(n, e, add, constant) for n, e in sorted(factors.items()) if e > 0]
    below = [_power(n, -e, add, constant) for n, e in sorted(factors.items()) if e < 0]
    numerator = _product(above, add) if above else constant(1.0)
    return add("div", (numerator, _product(below, add))) if below else numerator


def _power(node: int, exponent: int, add: Add, constant: Constant) -> int:
    return node if exponent == 1 else add("powi", (node, constant(float(exponent))))


def _product(nodes: list[int], add: Add) -> int:
    total = nodes[0]
    for node in nodes[1:]:
        total = add("mul", (total, node))
    return total
