"""A fair split of a change over the edits that made it.

Each edit's share is what it adds when it is made, averaged over the orders in which the edits can be made (Shapley
1953, A value for n-person games, Contributions to the Theory of Games II: from memory). An order counts only where
there is a value after every step: a text that lacks what another edit brings, or settings that do not exist because
nothing holds, have none. The shares always sum up to the whole change.
"""

import hashlib
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from math import fsum

ORDERS = 24
"""Orders that are tried where there are too many edits for all; half of them are the others turned round."""


def shares(values: Mapping[int, float], count: int) -> list[float] | None:
    """Split ``values[all] - values[none]`` over ``count`` players, exactly but for the last rounding.

    ``values`` maps sets of players, as bit masks, to their value; a set without one is left out. None where no order
    has a value after every step.
    """
    steps = _steps(frozenset(values), count)
    if steps is None:
        return None
    return [fsum(weight * (values[after] - values[before]) for before, after, weight in own) for own in steps]


@lru_cache(maxsize=256)
def _steps(known: frozenset[int], count: int) -> list[list[tuple[int, int, float]]] | None:
    """List for each player the steps that it makes, from set to set, with the part of all orders that make them."""
    whole = (1 << count) - 1
    ways, rest = _ways(known, count), _ways(frozenset(whole ^ mask for mask in known), count)
    orders = ways.get(whole, 0)
    if not orders:
        return None
    found: list[list[tuple[int, int, float]]] = [[] for _ in range(count)]
    for mask, before in ways.items():
        for i in range(count):
            after = mask | 1 << i
            if after != mask and rest.get(whole ^ after, 0):
                found[i].append((mask, after, float(Fraction(before * rest[whole ^ after], orders))))
    return found


def _ways(known: frozenset[int], count: int) -> dict[int, int]:
    """Count the orders that lead from nobody to each set, every set on the way having a value."""
    found = {0: 1} if 0 in known else {}
    for mask in sorted(known, key=lambda m: (m.bit_count(), m)):
        if mask:
            came = sum(found.get(mask ^ 1 << i, 0) for i in range(count) if mask >> i & 1)
            if came:
                found[mask] = came
    return found


def orders(count: int) -> list[tuple[int, ...]]:
    """Give the fixed orders that stand for all, each with the same turned round."""
    found: list[tuple[int, ...]] = []
    for k in range(ORDERS // 2):
        keys = {i: hashlib.sha256(f"{k} {i}".encode()).digest() for i in range(count)}
        one = tuple(sorted(range(count), key=keys.__getitem__))
        found += [one, one[::-1]]
    return found


def masks(order: Sequence[int]) -> list[int]:
    """Give the sets that an order passes through, from nobody to everybody."""
    found = [0]
    for i in order:
        found.append(found[-1] | 1 << i)
    return found


def sampled(values: Mapping[int, float], count: int) -> list[float] | None:
    """Split as ``shares`` does, over the fixed orders only; None where none of them has a value after every step."""
    parts: list[list[float]] = [[] for _ in range(count)]
    for order in orders(count):
        steps = masks(order)
        if all(mask in values for mask in steps):
            for i, before, after in zip(order, steps, steps[1:], strict=False):
                parts[i].append(values[after] - values[before])
    return [fsum(own) / len(own) for own in parts] if all(parts) else None
