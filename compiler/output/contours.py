"""Outlines of where a field on a grid is negative, by marching squares.

Source: the classic walk over cells with linear interpolation along their sides (Lorensen and Cline 1987 in two
dimensions); a cell whose corners agree only across is settled by the mean of the four.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..solving.tape import Floats

Point = tuple[float, float]

_Side = int
"""A side of a cell: twice the place where it starts, and one more where it runs along y."""


@dataclass(frozen=True, slots=True)
class Ring:
    """A closed outline. ``inner[k]`` tells whether the way from point k to the next runs inside the grid.

    The other parts run along its border.
    """

    points: tuple[Point, ...]
    inner: tuple[bool, ...]

    def runs(self) -> list[list[Point]]:
        """Give the unbroken lines that lie inside the grid."""
        count = len(self.points)
        if all(self.inner):
            return [[*self.points, self.points[0]]]
        start = self.inner.index(False)
        found: list[list[Point]] = []
        for k in range(start, start + count):
            if not self.inner[k % count]:
                continue
            if not self.inner[(k - 1) % count]:
                found.append([self.points[k % count]])
            found[-1].append(self.points[(k + 1) % count])
        return found


def negative(x: Floats, y: Floats, field: Floats) -> list[Ring]:
    """Outline where ``field`` (y, x) is below zero, each ring once, in the order of rows and columns.

    The border of the grid closes what is negative there.
    """
    if not (field < 0).any():
        return []
    rows, columns = field.shape
    # A frame of no width that is not negative: lines are closed along the border.
    padded = np.ones((rows + 2, columns + 2))
    padded[1:-1, 1:-1] = field
    below = (padded < 0).astype(np.int8)
    kinds = below[:-1, :-1] + 2 * below[:-1, 1:] + 4 * below[1:, 1:] + 8 * below[1:, :-1]
    wide = columns + 2
    values = padded.ravel().tolist()
    links: dict[_Side, list[tuple[_Side, bool]]] = {}
    cells = np.argwhere((kinds > 0) & (kinds < 15))
    for (j, i), kind in zip(cells.tolist(), kinds[cells[:, 0], cells[:, 1]].tolist(), strict=True):
        inner = 0 < j < rows and 0 < i < columns
        at = j * wide + i
        sides = (2 * at + 1, 2 * at, 2 * at + 3, 2 * (at + wide))
        pairs = _PAIRS.get(kind)
        if pairs is None:
            joined = values[at] + values[at + 1] + values[at + wide] + values[at + wide + 1] < 0
            pairs = _ACROSS[joined == (kind == 5)]
        for one, other in pairs:
            links.setdefault(sides[one], []).append((sides[other], inner))
            links.setdefault(sides[other], []).append((sides[one], inner))
    xs, ys = ([line[0], *line, line[-1]] for line in (x.tolist(), y.tolist()))
    places = {side: _crossing(side, wide, xs, ys, values) for side in links}
    return [Ring(tuple([places[s] for s in sides]), tuple(inner)) for sides, inner in _walks(links)]


_LEFT, _BOTTOM, _RIGHT, _TOP = range(4)
_PAIRS: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((_LEFT, _BOTTOM),), 2: ((_BOTTOM, _RIGHT),), 3: ((_LEFT, _RIGHT),), 4: ((_RIGHT, _TOP),),
    6: ((_BOTTOM, _TOP),), 7: ((_LEFT, _TOP),), 8: ((_LEFT, _TOP),), 9: ((_BOTTOM, _TOP),), 11: ((_RIGHT, _TOP),),
    12: ((_LEFT, _RIGHT),), 13: ((_BOTTOM, _RIGHT),), 14: ((_LEFT, _BOTTOM),),
}  # fmt: skip
"""Which sides of a cell an outline joins, by which corners are negative."""

_ACROSS = {True: ((_LEFT, _TOP), (_BOTTOM, _RIGHT)), False: ((_LEFT, _BOTTOM), (_RIGHT, _TOP))}
"""The same where two corners across are negative, by which two are cut off."""


def _crossing(side: _Side, wide: int, x: Sequence[float], y: Sequence[float], values: Sequence[float]) -> Point:
    at, up = divmod(side, 2)
    j, i = divmod(at, wide)
    first = values[at]
    if up:
        share = first / (first - values[at + wide])
        return x[i], y[j] + share * (y[j + 1] - y[j])
    share = first / (first - values[at + 1])
    return x[i] + share * (x[i + 1] - x[i]), y[j]


def _walks(links: dict[_Side, list[tuple[_Side, bool]]]) -> Iterator[tuple[list[_Side], list[bool]]]:
    """Follow the links round each ring."""
    seen: set[_Side] = set()
    for start in links:
        if start in seen:
            continue
        sides, inner = [start], []
        before, here = -1, start
        seen.add(start)
        while True:
            one, other = links[here]
            following, within = one if one[0] != before else other
            inner.append(within)
            if following == start:
                break
            seen.add(following)
            sides.append(following)
            before, here = here, following
        yield sides, inner


def simplified(points: Sequence[Point], most: float) -> list[Point]:
    """Leave out points that are no further than ``most`` from the line through what is kept.

    Source: Douglas and Peucker 1973.
    """
    if len(points) < 3:
        return list(points)
    (ax, ay), (bx, by) = points[0], points[-1]
    dx, dy = bx - ax, by - ay
    length = math.hypot(dx, dy)
    if length:
        off = [abs(dx * (y - ay) - dy * (x - ax)) / length for x, y in points[1:-1]]
    else:
        off = [math.hypot(x - ax, y - ay) for x, y in points[1:-1]]
    furthest = max(off)
    if furthest <= most:
        return [points[0], points[-1]]
    at = off.index(furthest) + 1
    return simplified(points[: at + 1], most)[:-1] + simplified(points[at:], most)
