"""The picture of a window: where each requirement ends what may be chosen over two settings, and the point chosen."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..meaning.units import Unit, from_base
from ..solving.problem import TOLERANCE
from ..solving.tape import Floats, Mask
from ..solving.windows import Grid, Window
from ..telling.formulas import titles
from ..telling.solution import Solution
from . import plotting
from .contours import Point, Ring, negative, simplified

WIDTH, HEIGHT = 640, 430
LEFT, RIGHT, TOP, BOTTOM = 64, 20, 22, 52
CLOSE = 0.3
"""Lines are drawn as they are to so many pixels."""

DASHES = 6
PARTS = 4
"""Pieces of a line between two cells that are looked at on their own."""

NEAR, NUMBER, BESIDE = 6.0, 13, 0.25
MOST_NEAREST = 3

Data = dict[str, Any]


def window_picture(solution: Solution, window: Window) -> Data:
    """Draw a window: its lines, the words for them, and what a script may read off."""
    return _Picture(solution, window).drawn()


class _Picture:
    def __init__(self, solution: Solution, window: Window) -> None:
        self.solution, self.window = solution, window
        settings = solution.network.settings
        self.across, self.up = settings[window.across].decl, settings[window.up].decl
        self.grid = Grid(
            _shown(window.fine.x, self.across.unit), _shown(window.fine.y, self.up.unit), window.fine.shares
        )
        right, bottom = WIDTH - RIGHT, HEIGHT - BOTTOM
        self.x = plotting.Scale(float(self.grid.x[0]), float(self.grid.x[-1]), LEFT, right)
        self.y = plotting.Scale(float(self.grid.y[0]), float(self.grid.y[-1]), bottom, TOP)
        self.taken: list[tuple[float, float, float, float]] = []
        """Where texts and numbers stand already: left, top, right and bottom."""
        self.titles = titles(solution.network)
        self.fields = {r: f + TOLERANCE for r, f in window.fine.shares.items() if (f < -TOLERANCE).any()}
        self.stack = np.array(list(self.fields.values())).reshape(len(self.fields), *self._shape)

    @property
    def _shape(self) -> tuple[int, int]:
        return self.grid.y.size, self.grid.x.size

    def drawn(self) -> Data:
        """Give all parts, in pixels and words."""
        refused, edges, numbers, words = self._lines()
        chosen = self._chosen()
        return {
            "width": WIDTH,
            "height": HEIGHT,
            "frame": plotting.box(LEFT, TOP, self.x.end, HEIGHT - BOTTOM),
            "refused": refused,
            "edges": edges,
            "numbers": numbers,
            "words": words,
            "ticks": self._ticks(),
            "chosen": chosen,
            "labels": [*(n["label"] for n in numbers), chosen["label"]],
            "title": f"Operating window: {self.across.name} against {self.up.name}",
            "about": self._about(words, chosen["text"]),
            "axes": [_axis(self.across), _axis(self.up)],
            **self._kept(),
            "read": self._read(words),
        }

    # ---- lines

    def _lines(self) -> tuple[list[Data], list[Data], list[Data], list[Data]]:
        """Give where nothing is to be chosen, the lines that end what is, their numbers, and the words for them."""
        refused: list[Data] = []
        edges: list[Data] = []
        numbers: list[Data] = []
        words: list[Data] = []
        covered: Mask = np.zeros(self._shape, dtype=np.bool_)
        left = []
        for k, (r, field) in enumerate(self.fields.items()):
            rings = negative(self.grid.x, self.grid.y, field) if self._may_end(k) else []
            runs = [run for ring in rings for line in ring.runs() for run in self._ending(k, line)]
            if not runs:
                left.append(field)
                continue
            covered |= field < 0
            number = len(words) + 1
            requirement = self.solution.network.requirements[r]
            words.append(
                {
                    "number": str(number),
                    "title": self.titles[r],
                    "text": requirement.otherwise or self.titles[r],
                    "dash": f"e{(number - 1) % DASHES}",
                    "place": self.solution.place(requirement.span),
                }
            )
            refused.append({"d": self._outline(rings)})
            edges += [{"d": self._path(run, False), "kind": words[-1]["dash"], "title": self.titles[r]} for run in runs]
            numbers.append(self._number(str(number), requirement.name, field, max(runs, key=len)))
        # What no line shows is drawn only where it adds to what is refused already.
        for field in left:
            if ((field < 0) & ~covered).any():
                covered |= field < 0
                refused.append({"d": self._outline(negative(self.grid.x, self.grid.y, field))})
        return refused, edges, numbers, words

    def _may_end(self, k: int) -> bool:
        """Tell whether there is a cell in which a requirement starts to be missed and the others are not all over."""
        others = np.delete(self.stack, k, axis=0)
        holds: Mask = np.asarray((others >= 0).all(axis=0))
        below = self.stack[k] < 0
        corners = [(slice(a, a - 1 or None), slice(b, b - 1 or None)) for a in (0, 1) for b in (0, 1)]
        mixed = np.logical_or.reduce([below[c] for c in corners]) & ~np.logical_and.reduce([below[c] for c in corners])
        return bool((mixed & np.logical_or.reduce([holds[c] for c in corners])).any())

    def _ending(self, k: int, line: Sequence[Point]) -> list[list[Point]]:
        """Cut out the parts of a line beyond which only this requirement is missed."""
        shares = np.arange(PARTS) / PARTS
        points = np.array(line)
        steps = np.diff(points, axis=0)
        fine = (points[:-1, None, :] + shares[None, :, None] * steps[:, None, :]).reshape(-1, 2)
        fine = np.concatenate([fine, points[-1:]])
        met = _between(self.grid, self.stack, (fine[:-1] + fine[1:]) / 2) >= 0
        met[k] = True
        kept: list[bool] = np.asarray(met.all(axis=0)).tolist()
        places: list[Point] = [(x, y) for x, y in fine.tolist()]
        found: list[list[Point]] = []
        for at, stays in enumerate(kept):
            if not stays:
                continue
            if not at or not kept[at - 1]:
                found.append([places[at]])
            found[-1].append(places[at + 1])
        return found

    def _outline(self, rings: Sequence[Ring]) -> str:
        return "".join([self._path([*ring.points, ring.points[0]], True) for ring in rings])

    def _path(self, points: Sequence[Point], closed: bool) -> str:
        placed = simplified([(self.x(x), self.y(y)) for x, y in points], CLOSE)
        if closed:
            placed = placed[:-1]
        return "M" + "L".join([f"{plotting.px(x)} {plotting.px(y)}" for x, y in placed]) + ("Z" if closed else "")

    def _number(self, text: str, name: str, field: Floats, run: Sequence[Point]) -> Data:
        """Put a number at the middle of a line, as seen, and a name on the side where the requirement is missed."""
        places = np.array([(self.x(x), self.y(y)) for x, y in run])
        lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
        at = [float(np.interp(lengths[-1] / 2, lengths, places[:, k])) for k in (0, 1)]
        x = min(max(at[0], LEFT + 11), self.x.end - 11)
        y = min(max(at[1], TOP + 11), self.y.start - 11)
        self.taken.append((x - 9, y - 9, x + 9, y + 9))
        sides = [(NUMBER, 4, ""), (-NUMBER, 4, " end"), (0, -14, " middle"), (0, 23, " middle")]
        near = np.array(
            [
                (self.x.back(px), self.y.back(py))
                for px, py in ((x + NEAR, y), (x - NEAR, y), (x, y - NEAR), (x, y + NEAR))
            ]
        )
        met = _between(self.grid, field, near).tolist()
        # Beside a sloping line a name is clear of it sooner than above.
        beside = min(met[:2]) <= BESIDE * min(met)
        order = [sides[k] for k in sorted(range(4), key=lambda k: (beside and k > 1, met[k]))]
        return {
            "x": plotting.px(x),
            "y": plotting.px(y),
            "below": plotting.px(y + 4),
            "text": text,
            "label": self._placed(plotting.short(name), x, y, order, "said aside"),
        }

    def _placed(self, text: str, x: float, y: float, sides: Sequence[tuple[float, float, str]], kind: str) -> Data:
        """Put a text beside a place: on the first side where nothing else stands, else on the first of all."""
        wide = plotting.width_of(text) + 4
        boxes = []
        for dx, dy, anchor in sides:
            start = x + dx - {"": 0.0, " end": wide, " middle": wide / 2}[anchor]
            boxes.append((start, y + dy - 11, start + wide, y + dy + 4))
        free = (k for k, box in enumerate(boxes) if self._free(box))
        chosen = next(free, 0)
        self.taken.append(boxes[chosen])
        dx, dy, anchor = sides[chosen]
        return plotting.label(x + dx, y + dy, text, kind + anchor)

    def _free(self, box: tuple[float, float, float, float]) -> bool:
        inside = box[0] >= LEFT and box[2] <= self.x.end and box[1] >= TOP and box[3] <= self.y.start
        return inside and all(box[2] <= b[0] or box[0] >= b[2] or box[3] <= b[1] or box[1] >= b[3] for b in self.taken)

    # ---- the point, the axes

    def _chosen(self) -> Data:
        point = self.solution.answer.point
        at = [float(d.number(int(point[i]))) for d, i in ((self.across, self.window.across), (self.up, self.window.up))]
        x, y = self.x(at[0]), self.y(at[1])
        texts = [self.solution.setting_text(i) for i in (self.window.across, self.window.up)]
        sides = [(13, -9, ""), (-13, -9, " end"), (13, 18, ""), (-13, 18, " end"), (13, -28, ""), (-13, 36, " end")]
        return {
            "d": plotting.mark("diamond", x, y, 6),
            "lines": [
                plotting.line(x, y, x, HEIGHT - BOTTOM, "drop"),
                plotting.line(LEFT, y, x, y, "drop"),
            ],
            "label": self._placed(", ".join(texts), x, y, sides, "said"),
            "text": " and ".join(texts),
        }

    def _ticks(self) -> Data:
        lines, texts = [], []
        bottom = HEIGHT - BOTTOM
        for tick in plotting.round_values(self.x.low, self.x.high, 9):
            lines.append(plotting.line(self.x(tick), bottom, self.x(tick), bottom + 5, "stub"))
            texts.append(plotting.label(self.x(tick), bottom + 19, f"{tick:.12g}", "tick middle"))
        for tick in plotting.round_values(self.y.low, self.y.high, 7):
            lines.append(plotting.line(LEFT - 5, self.y(tick), LEFT, self.y(tick), "stub"))
            texts.append(plotting.label(LEFT - 9, self.y(tick) + 4, f"{tick:.12g}", "tick end"))
        texts.append(plotting.label((LEFT + self.x.end) / 2, HEIGHT - 10, _axis(self.across), "name middle"))
        texts.append(plotting.label(8, TOP - 8, _axis(self.up), "name"))
        return {"lines": lines, "texts": texts}

    # ---- words

    def _kept(self) -> Data:
        """Say which settings stand as chosen, and which were given room."""
        network, window = self.solution.network, self.window
        moved = [
            f"{network.settings[i].decl.name} {self.solution.setting_text(i, window.room[i])}" for i in window.followers
        ]
        kept = [
            f"{s.decl.name} {self.solution.setting_text(i)}"
            for i, s in enumerate(network.settings)
            if i not in window.followers and i not in (window.across, window.up)
        ]
        pinned = [
            network.settings[i].decl.name for i in (window.across, window.up) if network.settings[i].pin is not None
        ]
        doubtful = [w for r, w in enumerate(self.titles) if r in window.doubtful]
        robust = self.solution.answer.robust
        return {
            "kept": kept,
            "moved": moved,
            "pinned": pinned,
            "doubtful": doubtful,
            "where": "the worst input values" if robust else "the stated input values",
        }

    def _about(self, words: Sequence[Data], chosen: str) -> str:
        ends = [
            f"{s.low:.4g} to {s.high:.4g} {d.unit.symbol}".rstrip()
            for s, d in ((self.x, self.across), (self.y, self.up))
        ]
        said = f"{self.across.name} from {ends[0]} across, {self.up.name} from {ends[1]} up. Chosen: {chosen}. "
        if not words:
            return said + "All that is shown holds."
        lines = "; ".join(f"{w['number']}: {w['title']} ({w['text']})" for w in words)
        return f"{said}Grey is where a requirement is missed. The lines that end what holds: {lines}."

    # ---- reading off

    def _read(self, words: Sequence[Data]) -> Data:
        """Give what a script shows at a place: for each, the requirements that are missed or closest, in percent."""
        grid = self.window.coarse
        numbers = {w["title"]: w["number"] for w in words}
        own = list(grid.shares)
        shares = np.stack([grid.shares[r] for r in own]) if own else np.zeros((0, grid.y.size, grid.x.size))
        order = np.argsort(shares, axis=0, kind="stable")[:MOST_NEAREST]
        percents = np.rint(1000 * np.take_along_axis(shares, order, 0)).astype(np.int64)
        missed = (shares < -TOLERANCE).sum(axis=0)
        across, up = _shown(grid.x, self.across.unit), _shown(grid.y, self.up.unit)
        used = sorted(set(order.ravel().tolist()))
        compact = {k: at for at, k in enumerate(used)}
        network = self.solution.network
        return {
            "across": [f"{v:.{self.across.decimals}f}" for v in across.tolist()],
            "up": [f"{v:.{self.up.decimals}f}" for v in up.tolist()],
            "x": [float(plotting.px(self.x(v))) for v in across.tolist()],
            "y": [float(plotting.px(self.y(v))) for v in up.tolist()],
            "units": [self.across.unit.symbol, self.up.unit.symbol],
            "start": [_nearest(across, self._value(self.window.across)), _nearest(up, self._value(self.window.up))],
            "words": [
                [numbers.get(self.titles[own[k]], ""), network.requirements[own[k]].otherwise or self.titles[own[k]]]
                for k in used
            ],
            "missed": missed.ravel().tolist(),
            "nearest": [[compact[k] for k in place] for place in order.reshape(len(order), -1).T.tolist()],
            "tenths": percents.reshape(len(order), -1).T.tolist(),
        }

    def _value(self, i: int) -> float:
        return float(self.solution.network.settings[i].decl.number(int(self.solution.answer.point[i])))


def _axis(decl: Any) -> str:
    return f"{decl.name}, {decl.unit.symbol}".removesuffix(", ")


def _shown(values: Floats, unit: Unit) -> Floats:
    return np.array([float(f"{from_base(float(v), unit):.10g}") for v in values])


def _nearest(values: Floats, value: float) -> int:
    return int(np.abs(values - value).argmin())


def _between(grid: Grid, fields: Floats, points: Floats) -> Floats:
    """Read fields (..., y, x) at places (places, 2) between those of the grid, straight from corner to corner."""
    found = []
    for axis, places in ((grid.x, points[:, 0]), (grid.y, points[:, 1])):
        at = (places - axis[0]) / (axis[-1] - axis[0]) * (axis.size - 1)
        low = np.minimum(np.maximum(at.astype(np.int64), 0), axis.size - 2)
        found.append((low, at - low))
    (i, u), (j, v) = found
    below = fields[..., j, i] * (1 - u) + fields[..., j, i + 1] * u
    above = fields[..., j + 1, i] * (1 - u) + fields[..., j + 1, i + 1] * u
    return np.asarray(below * (1 - v) + above * v)
