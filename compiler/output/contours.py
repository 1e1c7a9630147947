"""Outlines of where a field on a grid is negative, by marching squares.

Source: the classic walk over cells with linear interpolation along their sides (Lorensen and Cline 1987 in two
dimensions); a cell whose corners agree only across is settled by the mean of the four.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..solving.tape import Floats

Point = tuple[float, float]

_Side = tuple[int, int, int]
"""A side of a cell: 0 for one along x and 1 for one along y, and the row and column where it starts."""


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
    below = field < 0
    if not below.any():
        return []
    rows, columns = field.shape
    # A frame of no width that is not negative: lines are closed along the border.
    values = np.pad(field, 1, constant_values=1.0)
    inside = np.pad(below, 1)
    xs, ys = np.pad(x, 1, mode="edge"), np.pad(y, 1, mode="edge")
    links: dict[_Side, list[tuple[_Side, bool]]] = {}
    corners = inside[:-1, :-1].astype(np.int8)
    kinds = corners + 2 * inside[:-1, 1:] + 4 * inside[1:, 1:] + 8 * inside[1:, :-1]
    for j, i in np.argwhere((kinds > 0) & (kinds < 15)).tolist():
        inner = 0 < j < rows and 0 < i < columns
        for one, other in _pairs(int(kinds[j, i]), j, i, values):
            links.setdefault(one, []).append((other, inner))
            links.setdefault(other, []).append((one, inner))
    places = {side: _crossing(side, xs, ys, values) for side in links}
    return [Ring(tuple(places[s] for s in sides), tuple(inner)) for sides, inner in _walks(links)]


_PAIRS: dict[int, tuple[str, ...]] = {
    1: ("lb",), 2: ("br",), 3: ("lr",), 4: ("rt",), 6: ("bt",), 7: ("lt",), 8: ("lt",), 9: ("bt",), 11: ("rt",),
    12: ("lr",), 13: ("br",), 14: ("lb",),
}  # fmt: skip
"""Which sides of a cell (left, bottom, right, top) an outline joins, by which corners are negative."""


def _pairs(kind: int, j: int, i: int, values: Floats) -> Iterator[tuple[_Side, _Side]]:
    sides = {"b": (0, j, i), "t": (0, j + 1, i), "l": (1, j, i), "r": (1, j, i + 1)}
    pairs = _PAIRS.get(kind)
    if pairs is None:
        joined = values[j : j + 2, i : i + 2].sum() < 0
        pairs = ("lt", "br") if joined == (kind == 5) else ("lb", "rt")
    for one, other in pairs:
        yield sides[one], sides[other]


def _crossing(side: _Side, x: Floats, y: Floats, values: Floats) -> Point:
    along, j, i = side
    first = values[j, i]
    last = values[j + along, i + 1 - along]
    share = first / (first - last)
    if along:
        return float(x[i]), float(y[j] + share * (y[j + 1] - y[j]))
    return float(x[i] + share * (x[i + 1] - x[i])), float(y[j])


def _walks(links: dict[_Side, list[tuple[_Side, bool]]]) -> Iterator[tuple[list[_Side], list[bool]]]:
    """Follow the links round each ring."""
    seen: set[_Side] = set()
    for start in links:
        if start in seen:
            continue
        sides, inner = [start], []
        before, here = None, start
        seen.add(start)
        while True:
            following, within = next(n for n in links[here] if n[0] != before)
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
    length = float(np.hypot(bx - ax, by - ay))
    inner = np.array(points[1:-1])
    if length:
        off = np.abs((bx - ax) * (inner[:, 1] - ay) - (by - ay) * (inner[:, 0] - ax)) / length
    else:
        off = np.hypot(inner[:, 0] - ax, inner[:, 1] - ay)
    at = int(off.argmax())
    if off[at] <= most:
        return [points[0], points[-1]]
    return simplified(points[: at + 2], most)[:-1] + simplified(points[at + 1 :], most)
