"""Enclosures and slopes of whole tapes: against mpmath at 60 digits, and row by row."""

from dataclasses import dataclass
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check
from meltwright.meaning.loading import library_folder, load
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from meltwright.solving.operators import OPERATORS, Interval
from meltwright.solving.problem import UNKNOWN, Problem
from meltwright.solving.slopes import signs_of
from meltwright.solving.tape import Tape
from mpmath import mp, mpf
from numpy.typing import NDArray

from tests.solving.test_operators import DIGITS, REFERENCE

Floats = NDArray[np.float64]
Box = tuple[Floats, Floats]
INF = float("inf")
often = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])

# ---- networks of all operators

NUMBERS = [0.0, 1.0, -1.0, 0.3, -0.7, 2.5, 13.0, -40.0, 1e-3, 1e5, 5e-324, -1e-310, 1e-160, 1e160, -1e200, 1e308]
UNARY = [name for name, o in OPERATORS.items() if o.arity == 1]
BINARY = [name for name, o in OPERATORS.items() if o.arity == 2]


@dataclass(frozen=True)
class Node:
    operator: str
    arguments: tuple[int, ...] = ()
    value: float = 0.0


def network_of(nodes: list[Node]) -> Network:
    """Make as much of a network as a tape looks at."""
    inputs = [
        SimpleNamespace(node=i, stated=0.0, low=0.0, high=1.0) for i, n in enumerate(nodes) if n.operator == "input"
    ]
    return cast(Network, SimpleNamespace(nodes=nodes, settings=(), inputs=inputs))


@st.composite
def node_lists(draw: st.DrawFn) -> list[Node]:
    nodes = [Node("input")] * draw(st.integers(1, 3))
    nodes += [Node("constant", (), draw(st.sampled_from(NUMBERS))) for _ in range(draw(st.integers(0, 2)))]
    for _ in range(draw(st.integers(1, 14))):
        # Mostly what was made last, so that chains get long.
        argument = st.integers(0, len(nodes) - 1) | st.integers(max(0, len(nodes) - 3), len(nodes) - 1)
        name = draw(st.sampled_from(["mul", "add", "sub", "div"]) | st.sampled_from(UNARY + BINARY))
        arguments = [draw(argument) for _ in range(OPERATORS[name].arity)]
        if name == "powi" or (name == "pow" and draw(st.booleans())):
            whole = st.integers(-3, 4).map(float)
            nodes.append(Node("constant", (), draw(whole if name == "powi" else whole | st.floats(-2.5, 2.5))))
            arguments[1] = len(nodes) - 1
        nodes.append(Node(name, tuple(arguments)))
    return nodes


@st.composite
def boxes(draw: st.DrawFn, count: int, rows: int, tame: bool) -> Box:
    number = st.floats(0.5, 2.0) if tame else st.floats(-4, 4) | st.sampled_from([*NUMBERS, INF, -INF])
    ends = [[[draw(number) for _ in range(rows)] for _ in range(count)] for _ in range(2)]
    low, high = np.minimum(*ends), np.maximum(*ends)
    narrow = np.array(draw(st.lists(st.booleans(), min_size=count, max_size=count)))
    high = np.where(narrow[:, None], low, high)
    # An infinity alone is no interval of numbers.
    return np.where(low == INF, 1e300, low), np.where(high == -INF, -1e300, high)


def column(box: Box, row: int) -> Box:
    return box[0][:, [row]], box[1][:, [row]]


def all_ends(found: list[Interval], tape: Tape, rows: int) -> Floats:
    """Give the ends (nodes, 2, rows) of all nodes."""
    return np.array([[np.broadcast_to(end, rows) for end in found[n]] for n in range(tape.node_count)])


def all_slopes(found: Any, tape: Tape, variables: list[int], rows: int) -> Floats:
    """Give the slopes (nodes, 2, variables, rows) of all nodes."""
    shape = (len(variables), rows)
    return np.array(
        [
            np.zeros((2, *shape)) if (s := found[n]) is None else [np.broadcast_to(end, shape) for end in s]
            for n in range(tape.node_count)
        ]
    )


def check_rows(tape: Tape, box: Box) -> None:
    """Compare each row of a batch with the same row alone."""
    variables, rows = list(range(len(tape.variables))), box[0].shape[1]
    found = tape.enclosures(*box)
    ends, steep = all_ends(found, tape, rows), all_slopes(tape.slopes(found, variables), tape, variables, rows)
    for row in range(rows):
        own = tape.enclosures(*column(box, row))
        np.testing.assert_array_equal(ends[..., [row]], all_ends(own, tape, 1))
        slopes = tape.slopes(own, variables)
        np.testing.assert_array_equal(steep[..., [row]], all_slopes(slopes, tape, variables, 1))


@often
@given(nodes=node_lists(), tame=st.booleans(), data=st.data())
def test_a_row_is_the_same_alone(nodes: list[Node], tame: bool, data: st.DataObject) -> None:
    tape = Tape(network_of(nodes), {})
    check_rows(tape, data.draw(boxes(len(tape.variables), 4, tame)))


X = Node("input")


@pytest.mark.parametrize(
    ("nodes", "rows"),
    [
        # The greater of everything and nothing is nothing.
        ([X, Node("div", (0, 0)), Node("log", (0,)), Node("max", (1, 2)), Node("min", (1, 2))], [(0, 0), (-1, 0)]),
        ([X, Node("constant", (), -1.0), Node("powi", (0, 1))], [(1, 1), (0, 1)]),
        # One exponent to many bases: numpy takes another way for some exponents.
        *[([X, Node("constant", (), n), Node("pow", (0, 1))], [(0, 0), (0, 1.509765625)]) for n in (-1.0, 0.5, 2.0)],
        # Slopes where a divisor, a base, a logarithm's or a root's argument is not positive in another row.
        ([X, Node("constant", (), 0.3), Node("pow", (0, 1))], [(1, 2), (0, 1)]),
        ([X, Node("div", (0, 0)), Node("log", (0,)), Node("sqrt", (0,))], [(1, 2), (-1, 3)]),
        # An infinite slope in another row.
        ([X, Node("sqrt", (0,)), Node("mul", (0, 1))], [(1, 2), (0, 2)]),
        ([X, Node("pow", (0, 0))], [(1, 2), (0, 3)]),
    ],
)
def test_a_row_is_the_same_beside_one_out_of_the_ordinary(nodes: list[Node], rows: list[tuple[float, float]]) -> None:
    low, high = np.array(rows, dtype=np.float64).T[:, None]
    check_rows(Tape(network_of(nodes), {}), (low, high))


def test_slopes_beyond_the_largest_number() -> None:
    nodes = [X, Node("constant", (), 5e-324), Node("div", (0, 1)), Node("mul", (0, 2))]
    tape = Tape(network_of(nodes), {})
    slopes = tape.slopes(tape.enclosures(np.ones((1, 1)), np.full((1, 1), 2.0)), [0])
    for node in (2, 3):
        assert (found := slopes[node]) is not None
        assert 1e300 < found.lo.item() < INF == found.hi.item()


def test_signs_of_slopes() -> None:
    """A slope that is empty, or not a number, proves nothing."""
    low = np.array([0.5, -2.0, 0.0, -1.0, INF, np.nan])
    high = np.array([2.0, -1.0, 0.0, 1.0, -INF, np.nan])
    np.testing.assert_array_equal(signs_of(low, high), [1, -1, 0, UNKNOWN, UNKNOWN, UNKNOWN])


# ---- exact values

Exact = list[Any]


def exact_values(nodes: list[Any], point: dict[int, float]) -> Exact:
    """Evaluate at 60 digits; None where a node is undefined or beyond all measure."""
    found: Exact = []
    for i, node in enumerate(nodes):
        arguments = [found[a] for a in node.arguments]
        if node.arguments:
            found.append(exact_step(node.operator, arguments) if usable(node.operator, arguments) else None)
        else:
            found.append(mpf(point.get(i, node.value)))
    return found


def exact_step(name: str, arguments: list[Any]) -> Any:
    if any(a is None for a in arguments):
        return None
    try:
        value = REFERENCE[name](*arguments)
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    # Sizes beyond these only cost time.
    return value if value is not None and (value == 0 or -2000 < mp.log(abs(value), 10) < 2000) else None


def usable(name: str, arguments: list[Any]) -> bool:
    limits = {"exp": 2000, "expm1_ratio": 2000, "sin": 1e6, "cos": 1e6, "tan": 1e6, "erf": 60}
    return name not in limits or arguments[0] is None or abs(arguments[0]) < limits[name]


def in_box(draw: Any, box: Box, row: int) -> list[float]:
    ends = [(float(lo[row]), float(hi[row])) for lo, hi in zip(*box, strict=True)]
    finite = [(max(lo, -1e308), min(hi, 1e308)) for lo, hi in ends]
    return [draw(st.sampled_from(e) | st.floats(*e)) for e in finite]


@often
@given(nodes=node_lists(), tame=st.booleans(), data=st.data())
def test_all_values_are_enclosed(nodes: list[Node], tame: bool, data: st.DataObject) -> None:
    tape = Tape(network_of(nodes), {})
    variables = tape.variables
    box = data.draw(boxes(len(variables), 2, tame))
    found = tape.enclosures(*box)
    for row in range(2):
        point = dict(zip(variables, in_box(data.draw, box, row), strict=True))
        with mp.workdps(DIGITS):
            for i, value in enumerate(exact_values(nodes, point)):
                if value is not None:
                    lo, hi = (float(np.broadcast_to(end, 2)[row]) for end in found[i])
                    assert mpf(lo) <= value <= mpf(hi), (i, nodes[i])


# ---- slopes


def sound_nodes(tape: Tape, found: list[Interval]) -> list[bool]:
    """Tell which nodes are surely defined all over all boxes."""
    sound = np.ones(tape.node_count, dtype=np.bool_)
    for node, _, _ in tape.partial(found):
        sound &= ~tape.relying(node)
    return [bool(s) for s in sound]


@often
@given(nodes=node_lists(), tame=st.booleans(), data=st.data())
def test_slopes_give_the_mean_value_inclusion(nodes: list[Node], tame: bool, data: st.DataObject) -> None:
    tape = Tape(network_of(nodes), {})
    box = data.draw(boxes(len(tape.variables), 2, tame))
    wanted = list(range(len(tape.variables)))
    found = tape.enclosures(*box)
    slopes = tape.slopes(found, wanted)
    sound = sound_nodes(tape, found)
    point = in_box(data.draw, box, 1)
    at = data.draw(st.sampled_from(wanted))
    other = [x if i != at else y for i, (x, y) in enumerate(zip(point, in_box(data.draw, box, 1), strict=True))]
    check_mean_values(tape, nodes, slopes, sound, wanted.index(at), (point, other), 1)


def check_mean_values(
    tape: Tape,
    nodes: list[Any],
    slopes: Any,
    sound: list[bool],
    at: int,
    points: tuple[list[float], list[float]],
    row: int,
) -> int:
    """Compare differences between two points that differ in one variable with its slopes; give how many."""
    compared = 0
    with mp.workdps(DIGITS):
        before, after = (exact_values(nodes, dict(zip(tape.variables, p, strict=True))) for p in points)
        step = sum((mpf(b) - mpf(a) for a, b in zip(*points, strict=True)), mpf(0))
        for node in range(tape.node_count):
            if before[node] is None or after[node] is None or not sound[node]:
                continue
            moved = after[node] - before[node]
            lo, hi = (0.0, 0.0)
            if (found := slopes[node]) is not None:
                lo, hi = (float(end[at, row if end.shape[1] > 1 else 0]) for end in found)
            if step:
                ends = sorted((mpf(lo) * step, mpf(hi) * step))
                # The 60 digits are of the largest of all values that went into it.
                slack = mpf(10) ** -40 * (1 + max(abs(v) for v in (*before, *after) if v is not None))
                slack += mpf("1e-289") * abs(step)
                assert ends[0] - slack <= moved <= ends[1] + slack, (node, nodes[node])
                compared += 1
    return compared


# ---- the demo


@cache
def demo() -> tuple[Network, Problem]:
    model, faults = check(load(library_folder() / "demos" / "watch_strap.melt"))
    assert model is not None
    network = lower(model, model.profiles["watch_strap"], "bench_tube", faults)
    assert network is not None
    return network, Problem(network)


def demo_box(data: st.DataObject, rows: int) -> Box:
    """Draw parts of the whole box; ends are often those of the whole."""
    _, problem = demo()
    low = np.concatenate([problem.settings_at(problem.first[:, None]), problem.low[:, None]])
    high = np.concatenate([problem.settings_at(problem.last[:, None]), problem.high[:, None]])
    random = np.random.default_rng(data.draw(st.integers(0, 2**32)))
    parts = np.sort(random.uniform(-0.5, 1.5, (2, len(low), rows)).clip(0, 1), axis=0)
    width = data.draw(st.sampled_from([1.0, 0.1, 0.0]))
    parts[1] = parts[0] + (parts[1] - parts[0]) * width
    lower, upper = ((low + (high - low) * p).clip(low, high) for p in parts)
    return lower, np.maximum(lower, upper)


few = settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@few
@given(data=st.data())
def test_the_demo_is_enclosed_and_its_slopes_are(data: st.DataObject) -> None:
    network, problem = demo()
    tape, box = problem.tape, demo_box(data, 3)
    wanted = [int(i) for i in np.flatnonzero((box[0] < box[1]).any(axis=1))] or [0]
    found = tape.enclosures(*box)
    slopes = tape.slopes(found, wanted)
    nodes, row = list(network.nodes), data.draw(st.integers(0, 2))
    point, second = in_box(data.draw, box, row), in_box(data.draw, box, row)
    at = data.draw(st.sampled_from(wanted))
    other = [y if i == at else x for i, (x, y) in enumerate(zip(point, second, strict=True))]
    with mp.workdps(DIGITS):
        values = exact_values(nodes, dict(zip(tape.variables, point, strict=True)))
        enclosed = 0
        for i, value in enumerate(values):
            if value is not None:
                lo, hi = (float(np.broadcast_to(end, 3)[row]) for end in found[i])
                assert mpf(lo) <= value <= mpf(hi), (i, nodes[i])
                enclosed += 1
    assert enclosed > 0.95 * len(nodes)
    compared = check_mean_values(tape, nodes, slopes, sound_nodes(tape, found), wanted.index(at), (point, other), row)
    assert compared > 0.9 * len(nodes) or point == other


@few
@given(data=st.data())
def test_the_rows_of_the_demo_are_the_same_alone(data: st.DataObject) -> None:
    network, problem = demo()
    tape, box = problem.tape, demo_box(data, 3)
    wanted = [int(i) for i in np.flatnonzero((box[0] < box[1]).any(axis=1))][:5] or [0]
    outputs = [r.slack for r in network.requirements]
    found = tape.enclosures(*box, outputs=outputs)
    slopes = tape.slopes(found, wanted, outputs=outputs)
    for row in range(3):
        own = tape.enclosures(*column(box, row), outputs=outputs)
        own_slopes = tape.slopes(own, wanted, outputs=outputs)
        for node in outputs:
            np.testing.assert_array_equal(np.array(found[node])[:, [row]], own[node])
            slope, own_slope = slopes[node], own_slopes[node]
            assert (slope is None) == (own_slope is None)
            if slope is not None and own_slope is not None:
                together = np.array([np.broadcast_to(end, (len(wanted), 3)) for end in slope])
                np.testing.assert_array_equal(together[..., [row]], own_slope)
