"""The picture of settings and merits over varied inputs: where everything stands, for a template that draws it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from ..telling.solution import STATED
from ..telling.tabling import NO_LIMIT, why_not
from ..telling.varying import NOWHERE_HOLDS, UNDECIDED, Data
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE
from . import plotting
from .targets import builtin_folder

FOLDER, TEMPLATE = "vary", "picture.svg.j2"
WIDTH = 800
LEFT, RIGHT, LABELLED_RIGHT = 176, 28, 144
PANEL, STRIP, LANE, LINE = 210, 18, 17, 17
COLUMNS, SMALL, SMALL_LEFT = 3, 62, 52
SHADES = 6


@dataclass(frozen=True, slots=True)
class _Series:
    """Points in the order of the first varied value, for one value of the second, if there is one."""

    label: str
    points: tuple[Data, ...]


def draw(data: Data, faults: list[Diagnostic]) -> str:
    """Draw all tables below one another; empty where the template is at fault, after reporting."""
    figures, top = [], 0.0
    for table in data["tables"]:
        figure = _Figure(data, table, top).drawn()
        figures.append(figure)
        top = float(figure["bottom"])
    view = {
        "width": WIDTH,
        "height": plotting.px(top + 24),
        "title": "; ".join(f["title"] for f in figures),
        "about": " ".join(f["about"] for f in figures),
        "figures": figures,
        "note": plotting.label(16, top + 10, data["note"], "tick"),
    }
    return _rendered(view, faults)


def _rendered(view: Data, faults: list[Diagnostic]) -> str:
    from jinja2 import TemplateError

    from .sandboxing import sandbox

    try:
        return sandbox(builtin_folder() / FOLDER, True).get_template(TEMPLATE).render(view)
    except TemplateError as error:
        faults.append(diagnose("M602", NOWHERE, name=f"{FOLDER}/{TEMPLATE}", why=str(error)))
        return ""


class _Figure:
    """One table's picture. ``y`` runs down as panels are added."""

    def __init__(self, data: Data, table: Data, top: float) -> None:
        self.table = table
        self.y = top
        self.varied = [s for s in data["set"] if s["varied"]]
        self.fixed = [s["text"] for s in data["set"] if not s["varied"]]
        self.name, self.unit = self.varied[0]["name"], self.varied[0]["unit"]
        self.series = _series(self.varied, table["points"])
        self.merit: Data | None = table["merits"][0] if table["merits"] else None
        numbers = self.varied[0]["values"]
        right = WIDTH - (LABELLED_RIGHT if len(self.varied) > 1 else RIGHT)
        self.x = plotting.Scale(numbers[0], numbers[-1], LEFT, right)
        self.shapes = _shapes(self) if len(self.varied) > 1 else {}

    def drawn(self) -> Data:
        """Place all parts, from the title down."""
        title = f"{self.table['profile']}: {self.table['material']} on {self.table['machine']}"
        heads = [plotting.label(16, self.y + 28, title, "title")]
        self.y += 28
        for line in [s["text"] for s in self.varied] + self.fixed:
            self.y += LINE
            heads.append(plotting.label(16, self.y, line, "faint"))
        upper = self._upper()
        lanes = self._lanes() if len(self.varied) == 1 else self._key()
        if any(p["holds"] == STATED for p in self.table["points"]):
            self.y += LINE
            lanes["ticks"].append({"d": plotting.mark("circle", 24, self.y - 8), "kind": "mark plain hollow"})
            lanes["texts"].append(plotting.label(36, self.y - 4, "at the stated input values only", "tick"))
        small = self._small_panels()
        self.y += 8
        return {
            "title": title,
            "about": self._about(title),
            "heads": heads,
            "upper": upper,
            "lanes": lanes,
            "small": small,
            "bottom": plotting.px(self.y),
        }

    def value(self, point: Data) -> float | None:
        """Give the first merit at a point."""
        return point["merits"].get(self.merit["name"]) if self.merit else None

    def limited(self, point: Data) -> tuple[str, ...]:
        """Name what limits the first merit at a point."""
        return tuple(point["limited_by"].get(self.merit["name"], ())) if self.merit else ()

    # ---- the first merit

    def _upper(self) -> Data:
        self.y += 34
        top, bottom = self.y, self.y + (PANEL if self.merit else 0)
        name = f"{self.merit['name']}, {self.merit['unit']}".removesuffix(", ") if self.merit else ""
        less = " (less is better)" if self.merit and self.merit["better"] == "less" else ""
        found = [v for s in self.series for p in s.points if (v := self.value(p)) is not None]
        low, high, ticks = plotting.axis(found)
        up = plotting.Scale(low, high, bottom, top)
        refused = [s for s in self.series if any(not p["settings"] for p in s.points)]
        foot = bottom + STRIP * len(refused)
        panel: Data = {
            "frame": plotting.box(LEFT, top, self.x.end, foot),
            "texts": [plotting.label(LEFT, top - 10, name + less, "name")] if found or self.merit else [],
            "grid": [],
            "sections": self._sections(top, bottom) if len(self.varied) == 1 else [],
            "lines": [],
            "marks": [],
        }
        for tick in ticks if found else ():
            panel["grid"].append(plotting.line(LEFT, up(tick), self.x.end, up(tick)))
            panel["texts"].append(plotting.label(LEFT - 8, up(tick) + 4, f"{tick:.12g}", "tick end"))
        for at, series in enumerate(self.series):
            panel["lines"] += self._curve(series, self.value, up, at)
            panel["marks"] += [m for p in series.points if (m := self._mark(series, p, up, at))]
        for row, series in enumerate(refused):
            middle = bottom + STRIP * (row + 0.5)
            said = "no answer" if any(p["holds"] == UNDECIDED for p in series.points) else NOWHERE_HOLDS
            label = f"{said.removesuffix(' holds')} at {series.label}" if series.label else said
            panel["texts"].append(plotting.label(LEFT - 8, middle + 4, label, "tick end"))
            crosses = (p for p in series.points if not p["settings"])
            panel["marks"] += [plotting.cross(self._at(p), middle, self._told(series, p)) for p in crosses]
        if len(self.varied) > 1:
            panel["texts"].append(plotting.label(self.x.end + 10, top - 10, self.varied[1]["name"], "name"))
            panel["lines"] += self._ends(panel["texts"], up, top, bottom)
        self.y = foot
        self._x_axis(panel)
        return panel

    def _at(self, point: Data) -> float:
        return self.x(point["values"][self.name])

    def _x_axis(self, panel: Data) -> None:
        for tick in plotting.round_values(self.x.low, self.x.high, 8):
            panel["grid"].append(plotting.line(self.x(tick), self.y, self.x(tick), self.y + 4, "stub"))
            panel["texts"].append(plotting.label(self.x(tick), self.y + 17, f"{tick:.12g}", "tick middle"))
        said = f"{self.name}, {self.unit}".removesuffix(", ")
        panel["texts"].append(plotting.label((LEFT + self.x.end) / 2, self.y + 34, said, "name middle"))
        self.y += 40

    def _curve(self, series: _Series, value: Any, up: plotting.Scale, at: int) -> list[Data]:
        """Join the points of a series, with a break where nothing holds and where another kind of answer begins."""
        runs: list[list[str]] = [[]]
        held = ""
        for p in series.points:
            number = value(p)
            if number is None or p["holds"] != held:
                runs.append([])
            if number is not None:
                runs[-1].append(f"{plotting.px(self._at(p))},{plotting.px(up(number))}")
            held = p["holds"]
        kind = f"curve s{at % SHADES}"
        return [{"points": " ".join(r), "kind": kind} for r in runs if len(r) > 1]

    def _mark(self, series: _Series, point: Data, up: plotting.Scale, at: int) -> Data | None:
        number = self.value(point)
        if number is None:
            return None
        shape = self.shapes.get(self.limited(point), "circle")
        hollow = " hollow" if point["holds"] == STATED else ""
        place = self._at(point), up(number)
        return {
            "d": plotting.mark(shape, *place),
            "kind": f"mark s{at % SHADES}{hollow}",
            "title": self._told(series, point),
        }

    def _told(self, series: _Series, point: Data) -> str:
        """Say what a point is, for those who point at it."""
        where = f"{self.name} {point['values'][self.name]:.12g} {self.unit}".rstrip()
        where += f", {self.varied[1]['name']} {series.label}" if series.label else ""
        if not point["settings"]:
            return f"{where}: {why_not(point)}"
        parts = []
        if self.merit and (number := self.value(point)) is not None:
            parts.append(f"{self.merit['name']} {number:.12g} {self.merit['unit']}".rstrip())
            parts.append(f"limited by {', '.join(self.limited(point)) or NO_LIMIT}")
        for s in _changing(self.table):
            parts.append(f"{s['name']} {point['settings'][s['name']]:.{s['decimals']}f} {s['unit']}".rstrip())
        if point["holds"] == STATED:
            parts.append("at the stated input values only")
        return f"{where}: {'; '.join(parts)}"

    def _ends(self, texts: list[Data], up: plotting.Scale, top: float, bottom: float) -> list[Data]:
        """Label the lines where they end, moved apart where they would cover each other."""
        ends = []
        for at, series in enumerate(self.series):
            last = next((p for p in reversed(series.points) if self.value(p) is not None), None)
            if last is not None:
                ends.append((up(self.value(last) or 0.0), self._at(last), at, series.label))
        ends.sort()
        apart = min(13.0, PANEL / len(ends)) if ends else 0.0
        places: list[float] = []
        for i, (y, *_) in enumerate(ends):
            room = bottom - apart * (len(ends) - 1 - i)
            places.append(min(max(y, places[-1] + apart if places else top), room))
        leaders = []
        for (y, x, at, label), place in zip(ends, places, strict=True):
            texts.append(plotting.label(self.x.end + 46, place + 4, label, "tick"))
            ends_at = [plotting.px(v) for v in (x + 5, y, self.x.end + 16, place, self.x.end + 42, place)]
            corners = [",".join(ends_at[k : k + 2]) for k in (0, 2, 4)]
            leaders.append({"points": " ".join(corners[:2]), "kind": f"leader s{at % SHADES}"})
            leaders.append({"points": " ".join(corners[1:]), "kind": f"curve s{at % SHADES}"})
        return leaders

    # ---- what limits it

    def _sections(self, top: float, bottom: float) -> list[Data]:
        """Shade the stretches between crossings, and name what limits throughout each, where that fits."""
        found = []
        for i, (first, last, names) in enumerate(self._stretches()):
            whole = ", ".join(names)
            rows = [whole] if plotting.width_of(whole) <= last - first else names
            fits = all(plotting.width_of(row) <= last - first for row in rows)
            middle = (first + last) / 2
            found.append(
                {
                    "box": plotting.box(first, top, last, bottom),
                    "kind": "odd" if i % 2 else "even",
                    "edge": plotting.line(first, top, first, bottom, "crossing") if i else None,
                    "texts": [
                        plotting.label(middle, top + 14 + 13 * k, row, "limit middle")
                        for k, row in enumerate(rows if fits else ())
                    ],
                }
            )
        return found

    def _stretches(self) -> list[tuple[float, float, list[str]]]:
        """Cut at crossings, where between neighbours one limit goes and another comes, and where nothing holds."""
        groups: list[list[int]] = []
        points = self.series[0].points
        for i, point in enumerate(points):
            if self.value(point) is None:
                continue
            if groups and groups[-1][-1] == i - 1:
                before, now = set(self.limited(points[i - 1])), set(self.limited(point))
                if not (before - now and now - before):
                    groups[-1].append(i)
                    continue
            groups.append([i])
        found = []
        for group in groups:
            shared = [n for n in self.limited(points[group[0]]) if all(n in self.limited(points[i]) for i in group)]
            found.append((self._around(group[0])[0], self._around(group[-1])[1], shared))
        return found

    def _around(self, i: int) -> tuple[float, float]:
        """Give the stretch that stands for a point: half-way to its neighbours."""
        places = [self._at(p) for p in self.series[0].points]
        first = (places[max(i - 1, 0)] + places[i]) / 2
        return first, (places[i] + places[min(i + 1, len(places) - 1)]) / 2

    def _lanes(self) -> Data:
        """Draw for every limit a bar over the values at which it limits."""
        lanes: Data = {"texts": [], "bars": [], "ticks": [], "grid": []}
        points = self.series[0].points
        names = list(dict.fromkeys(n for p in points for n in self.limited(p)))
        if not names:
            return lanes
        self.y += 22
        lanes["texts"].append(plotting.label(16, self.y - 4, "limited by", "name"))
        for name in names:
            self.y += LANE
            lanes["texts"].append(plotting.label(LEFT - 8, self.y - 4, plotting.short(name), "tick end"))
            lanes["grid"].append(plotting.line(LEFT, self.y - 8, self.x.end, self.y - 8))
            for i, p in enumerate(points):
                if name in self.limited(p):
                    first, last = self._around(i)
                    reason = self.table["reasons"].get(name, name)
                    box = plotting.box(first, self.y - 12, last, self.y - 4)
                    lanes["bars"].append(box | {"title": f"{name}: {reason}"})
        return lanes

    def _key(self) -> Data:
        """Explain the marks: what limits the points that they stand for."""
        key: Data = {"texts": [], "bars": [], "ticks": [], "grid": []}
        if not self.shapes:
            return key
        self.y += 22
        key["texts"].append(plotting.label(16, self.y - 4, "limited by", "name"))
        for names, shape in self.shapes.items():
            self.y += LANE
            key["ticks"].append({"d": plotting.mark(shape, 24, self.y - 8), "kind": "mark plain"})
            key["texts"].append(plotting.label(36, self.y - 4, ", ".join(names) or NO_LIMIT, "tick"))
        return key

    # ---- settings

    def _small_panels(self) -> list[Data]:
        changing = _changing(self.table)
        width = (WIDTH - 32) / COLUMNS
        found = []
        for i, setting in enumerate(changing):
            if i % COLUMNS == 0:
                self.y += 34
            left = 16 + width * (i % COLUMNS)
            found.append(self._small(setting, left, left + width))
            if i % COLUMNS == COLUMNS - 1 or i + 1 == len(changing):
                self.y += SMALL + 20
        return found

    def _small(self, setting: Data, left: float, right: float) -> Data:
        values = [p["settings"][setting["name"]] for s in self.series for p in s.points if p["settings"]]
        start, end, top, bottom = left + SMALL_LEFT, right - 20, self.y, self.y + SMALL
        up = plotting.Scale(min(values), max(values), bottom - 6, top + 6)
        wide = self.x
        self.x = plotting.Scale(wide.low, wide.high, start + 6, end - 6)

        def value(p: Data) -> float | None:
            found: float | None = p["settings"].get(setting["name"])
            return found

        name = f"{setting['name']}, {setting['unit']}".removesuffix(", ")
        panel: Data = {
            "frame": plotting.box(start, top, end, bottom),
            "texts": [plotting.label(start, top - 8, name, "name")],
            "lines": [c for at, s in enumerate(self.series) for c in self._curve(s, value, up, at)],
            "marks": [
                {"d": plotting.mark("circle", self._at(p), up(number), 1.8), "kind": f"mark s{at % SHADES}"}
                for at, s in enumerate(self.series)
                for p in s.points
                if (number := value(p)) is not None
            ],
        }
        for number in (min(values), max(values)):
            panel["texts"].append(
                plotting.label(start - 6, up(number) + 4, f"{number:.{setting['decimals']}f}", "tick end")
            )
        for number, side in ((wide.low, ""), (wide.high, " end")):
            panel["texts"].append(plotting.label(end if side else start, bottom + 14, f"{number:.12g}", f"tick{side}"))
        self.x = wide
        return panel

    def _about(self, title: str) -> str:
        """Say in words what the picture shows, for those who cannot see it."""
        said = [f"{title}."]
        ends = f"{self.x.low:.12g} to {self.x.high:.12g} {self.unit}".rstrip()
        if self.merit:
            found = [v for s in self.series for p in s.points if (v := self.value(p)) is not None]
            reach = f", between {min(found):.12g} and {max(found):.12g} {self.merit['unit']}".rstrip() if found else ""
            said.append(f"{self.merit['name'].capitalize()} over {self.name} from {ends}{reach}.")
        if len(self.varied) > 1:
            said.append(f"One line for each {self.varied[1]['name']}: {', '.join(s.label for s in self.series)}.")
        else:
            for group in self._runs():
                said.append(f"Limited by {group}.")
        points = self.table["points"]
        for kind in (NOWHERE_HOLDS, UNDECIDED):
            count = sum(p["holds"] == kind for p in points)
            said += [f"{kind.capitalize()} at {count} of {len(points)} points."] if count else []
        changing = [s["name"] for s in _changing(self.table)]
        if changing:
            said.append(f"Below: {', '.join(changing)}.")
        return " ".join(said)

    def _runs(self) -> Iterable[str]:
        runs: list[tuple[tuple[str, ...], list[float]]] = []
        for point in self.series[0].points:
            names = self.limited(point)
            if self.value(point) is None:
                continue
            if not runs or runs[-1][0] != names:
                runs.append((names, []))
            runs[-1][1].append(point["values"][self.name])
        for names, values in runs:
            at = f"at {values[0]:.12g}" if len(values) == 1 else f"from {values[0]:.12g} to {values[-1]:.12g}"
            yield f"{' and '.join(names) or NO_LIMIT} {at} {self.unit}".rstrip()


def _series(varied: Sequence[Data], points: Sequence[Data]) -> list[_Series]:
    if len(varied) == 1:
        return [_Series("", tuple(points))]
    second = varied[1]
    return [
        _Series(f"{v:.12g} {second['unit']}".rstrip(), tuple(p for p in points if p["values"][second["name"]] == v))
        for v in second["values"]
    ]


def _shapes(figure: _Figure) -> dict[tuple[str, ...], str]:
    """Give every set of limits a mark of its own, in the order in which they come; the last serves for all others."""
    points = (p for s in figure.series for p in s.points if figure.value(p) is not None)
    names = dict.fromkeys(figure.limited(p) for p in points)
    return {n: plotting.MARKS[min(i, len(plotting.MARKS) - 1)] for i, n in enumerate(names)}


def _changing(table: Data) -> list[Data]:
    return [s for s in table["settings"] if s["changes"] and not s["varied"]]
