"""Fair shares against values that are known from the theory of games, and against every order walked through."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.comparing.shares import orders, sampled, shares


def every(count: int) -> range:
    return range(1 << count)


def test_the_gloves() -> None:
    """One left glove, two right ones, and a pair is worth one: 2/3, 1/6, 1/6 (a textbook example, from memory)."""
    values = {s: float(s & 1 and s & 6 and 1) for s in every(3)}
    assert shares(values, 3) == pytest.approx([2 / 3, 1 / 6, 1 / 6])


def test_the_runway() -> None:
    """Who needs a longer runway pays the further stretch with those who need it too.

    Littlechild and Owen 1973, A simple expression for the Shapley value in a special case, Management Science 20,
    370-372 (from memory): the share of player i is the sum over j up to i of (c_j - c_(j-1)) / (n - j + 1).
    """
    costs = [8.0, 11.0, 13.0, 18.0]
    values = {s: max((c for i, c in enumerate(costs) if s >> i & 1), default=0.0) for s in every(4)}
    expected, paid = [], 0.0
    for j, (cost, before) in enumerate(zip(costs, [0.0, *costs], strict=False)):
        paid += (cost - before) / (4 - j)
        expected.append(paid)
    assert shares(values, 4) == pytest.approx(expected)


def walked(values: dict[int, float], count: int) -> list[float] | None:
    """Average over all orders that have a value after every step, by walking each."""
    totals, used = [0.0] * count, 0
    for order in permutations(range(count)):
        masks = [0]
        for i in order:
            masks.append(masks[-1] | 1 << i)
        if all(m in values for m in masks):
            used += 1
            for i, before, after in zip(order, masks, masks[1:], strict=False):
                totals[i] += values[after] - values[before]
    return [t / used for t in totals] if used else None


@given(st.integers(1, 5).flatmap(lambda n: st.tuples(st.just(n), st.dictionaries(
    st.integers(0, 2**n - 1), st.integers(-50, 50).map(float), min_size=2**n // 2
))))  # fmt: skip
def test_every_order_walked(case: tuple[int, dict[int, float]]) -> None:
    count, values = case
    values |= {0: values.get(0, 0.0), 2**count - 1: values.get(2**count - 1, 7.0)}
    expected, found = walked(values, count), shares(values, count)
    if expected is None:
        assert found is None
    else:
        assert found == pytest.approx(expected, abs=1e-9)
        assert sum(found) == pytest.approx(values[2**count - 1] - values[0], abs=1e-9)


def test_orders_are_fixed_and_each_has_its_turned_one() -> None:
    found = orders(11)
    assert found == orders(11)
    assert all(sorted(order) == list(range(11)) for order in found)
    assert found[1::2] == [order[::-1] for order in found[::2]]
    assert len(set(found)) == len(found)


def test_sampled_shares_are_exact_where_nothing_interacts_and_sum_up_where_it_does() -> None:
    count, each = 10, [float(i * i - 20) for i in range(10)]
    masks = [sum(1 << i for i in order[:k]) for order in orders(count) for k in range(count + 1)]
    plain = {m: sum(e for i, e in enumerate(each) if m >> i & 1) for m in masks}
    assert sampled(plain, count) == pytest.approx(each)
    bent = {m: float(m.bit_count() ** 2 + (m & 1)) for m in masks}
    found = sampled(bent, count)
    assert found is not None
    assert sum(found) == pytest.approx(101)


def test_sampled_orders_without_a_value_on_the_way_do_not_count() -> None:
    assert sampled({0: 0.0, 7: 3.0}, 3) is None
