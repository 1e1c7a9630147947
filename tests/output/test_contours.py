"""Outlines on grids: against areas and places that are known by geometry."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from meltwright.output.contours import Point, Ring, negative, simplified


def area(ring: Ring) -> float:
    """Give the area inside a ring, by the shoelace formula."""
    points = [*ring.points, ring.points[0]]
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(points))) / 2


def test_a_circle_is_one_ring_of_its_area() -> None:
    x = y = np.linspace(-2, 2, 201)
    (ring,) = negative(x, y, np.hypot(*np.meshgrid(x, y)) - 1.5)
    assert all(ring.inner)
    assert area(ring) == pytest.approx(math.pi * 1.5**2, rel=1e-3)
    assert max(abs(math.hypot(*p) - 1.5) for p in ring.points) < 1e-3
    (run,) = ring.runs()
    assert run[0] == run[-1] and len(run) == len(ring.points) + 1


def test_a_half_plane_is_closed_along_the_border() -> None:
    x, y = np.linspace(0, 4, 9), np.linspace(10, 12, 5)
    (ring,) = negative(x, y, np.meshgrid(x, y)[0] - 1.3)
    assert area(ring) == pytest.approx(1.3 * 2)
    (run,) = ring.runs()
    assert [p[0] for p in run] == pytest.approx([1.3] * len(run))
    assert {run[0][1], run[-1][1]} == {10, 12}


def test_what_is_negative_everywhere_is_the_whole_grid_without_a_line() -> None:
    x, y = np.linspace(0, 3, 4), np.linspace(0, 2, 3)
    (ring,) = negative(x, y, -np.ones((3, 4)))
    assert area(ring) == pytest.approx(6) and ring.runs() == []
    assert negative(x, y, np.zeros((3, 4))) == []


def test_a_ring_around_a_hole_is_two_rings() -> None:
    x = y = np.linspace(-3, 3, 121)
    rings = negative(x, y, np.abs(np.hypot(*np.meshgrid(x, y)) - 2) - 0.5)
    assert sorted(area(r) for r in rings) == pytest.approx([math.pi * 1.5**2, math.pi * 2.5**2], rel=2e-3)


@pytest.mark.parametrize(("middle", "count"), [(-1.0, 1), (1.0, 2)])
def test_corners_that_agree_only_across_are_settled_by_their_mean(middle: float, count: int) -> None:
    """Two negative corners of one cell are joined where the mean of the four is negative."""
    x = y = np.array([0.0, 1.0])
    low, high = (-3.0, 1.0) if middle < 0 else (-1.0, 3.0)
    for field in ([[low, high], [high, low]], [[high, low], [low, high]]):
        assert len(negative(x, y, np.array(field))) == count


@given(arrays(np.float64, (6, 7), elements=st.sampled_from([-2.0, -1.0, -0.25, 0.0, 0.5, 1.0, 3.0])))
def test_rings_are_closed_and_part_the_corners(field: np.ndarray) -> None:
    """Each corner is inside an odd number of rings where it is negative, and on or outside them where it is not."""
    x, y = np.arange(7.0), np.arange(6.0)
    rings = negative(x, y, field)
    for ring in rings:
        assert len(ring.points) == len(ring.inner) >= 3
        assert all(0 <= p[0] <= 6 and 0 <= p[1] <= 5 for p in ring.points)
    for j in range(1, 5):
        for i in range(1, 6):
            if field[j, i]:
                inside = sum(_inside(ring, (x[i] + 1e-9, y[j] + 1e-9)) for ring in rings) % 2
                assert inside == (field[j, i] < 0)


def _inside(ring: Ring, place: Point) -> bool:
    """Count crossings of a ray to the right."""
    found = False
    for a, b in pairwise([*ring.points, ring.points[0]]):
        if (a[1] > place[1]) != (b[1] > place[1]):
            found ^= place[0] < a[0] + (place[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
    return found


def test_a_simplified_line_stays_close() -> None:
    line = [(t / 50, math.sin(t / 50)) for t in range(300)]
    kept = simplified(line, 0.01)
    assert kept[0] == line[0] and kept[-1] == line[-1] and len(kept) < 40
    xs, ys = zip(*kept, strict=True)
    assert max(abs(np.interp(x, xs, ys) - y) for x, y in line) < 0.0125
    assert simplified([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], 0.1) == [(0.0, 0.0), (2.0, 0.0)]
