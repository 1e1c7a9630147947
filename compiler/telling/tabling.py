"""The table of settings and merits over varied inputs, as text for a terminal."""

from collections.abc import Sequence
from itertools import zip_longest

from .solution import STATED
from .varying import NOTE, NOWHERE_HOLDS, UNDECIDED, Data

GAP = "  "
STATED_MARK, ASIDE_MARK, DOUBT_MARK = "*", "~", "?"
NO_LIMIT = "no law or want"


def told(data: Data) -> str:
    """Write all tables, one a profile and machine, and what is to be known of them."""
    return "\n".join(_one(data, t) for t in data["tables"]) + f"\n{NOTE}\n"


def _one(data: Data, table: Data) -> str:
    lines = [f"{table['profile']}: {table['material']} on {table['machine']}"]
    lines += [f"  {s['text']}" for s in data["set"]]
    lines += ["", *_rows(data, table), *_marks(table)]
    lines += _listed("limits", _reasons(table))
    kept = {s["name"]: _with_unit(s) for s in table["settings"] if s["value"] is not None and not s["varied"]}
    lines += _listed("the same at all these points" if len(table["points"]) > 1 else "settings", kept)
    lines += [f"\nNo law asks for {n} here: it changes nothing." for n in table["without_effect"]]
    if len(table["points"]) > 1 and not table["without_effect"] and _same(table["points"]):
        lines += ["\nNothing changes over these values."]
    return "\n".join(lines) + "\n"


def _same(points: Sequence[Data]) -> bool:
    first, *others = ({k: v for k, v in p.items() if k not in ("values", "boxes")} for p in points)
    return all(other == first for other in others)


def _with_unit(setting: Data) -> str:
    return f"{setting['value']:.{setting['decimals']}f} {setting['unit']}".rstrip()


def _reasons(table: Data) -> dict[str, str]:
    """Give the words for what the rows name, but for wants, whose name says it all."""
    first = [m["name"] for m in table["merits"][:1]]
    points = table["points"]
    named = {n for p in points for n in p["conflict"]} | {
        n for p in points for m in first for n in p["limited_by"].get(m, ())
    }
    return {n: words for n, words in table["reasons"].items() if n in named and n not in words}


def _listed(title: str, entries: dict[str, str]) -> list[str]:
    width = max(map(len, entries), default=0)
    return ["", title, *(f"  {name:<{width}}  {text}" for name, text in entries.items())] if entries else []


# ---- rows


class _Column:
    """A column: what stands above it, its unit, and its cells; ``left`` for words."""

    def __init__(self, name: str, unit: str, cells: Sequence[str], left: bool = False) -> None:
        cut = name.rfind(".") + 1
        self.heads = [name[:cut], name[cut:]] if cut else [name]
        self.unit = unit
        self.cells = list(cells) if left else _aligned(cells)
        self.left = left
        self.width = max(map(len, [*self.heads, unit, *self.cells]))

    def put(self, text: str) -> str:
        return f"{text:<{self.width}}" if self.left else f"{text:>{self.width}}"


def _aligned(cells: Sequence[str]) -> list[str]:
    """Put decimal points below one another."""
    places = [len(c) - c.index(".") if "." in c else 0 for c in cells]
    return [c + " " * (max(places) - p) for c, p in zip(cells, places, strict=True)]


def _rows(data: Data, table: Data) -> list[str]:
    names = [s for s in data["set"] if s["varied"]]
    points = table["points"]
    values = [_Column(s["name"], s["unit"], [f"{p['values'][s['name']]:.12g}" for p in points]) for s in names]
    if any(_mark(p) for p in points):
        values.append(_Column("", "", [_mark(p) for p in points], left=True))
    others = _merit_columns(table) + _setting_columns(table)
    heads = list(zip_longest(*(reversed(c.heads) for c in [*values, *others]), fillvalue=""))[::-1]
    columns = [*values, *others]
    lines = [_line(columns, head) for head in heads]
    lines.append(_line(columns, [c.unit for c in columns]))
    for i, point in enumerate(points):
        if len(names) == 2 and i and points[i - 1]["values"][names[0]["name"]] != point["values"][names[0]["name"]]:
            lines.append("")
        cells = [c.cells[i] for c in values]
        if point["merits"] or point["settings"]:
            lines.append(_line(columns, cells + [c.cells[i] for c in others]))
        else:
            lines.append(_line(values, cells) + (GAP if values else "") + why_not(point))
    return [line.rstrip() for line in lines]


def _line(columns: Sequence[_Column], texts: Sequence[str]) -> str:
    return GAP.join(c.put(t) for c, t in zip(columns, texts, strict=True))


def _merit_columns(table: Data) -> list[_Column]:
    points = table["points"]
    found = [
        _Column(m["name"], m["unit"], [_number(p["merits"].get(m["name"])) if p["merits"] else "" for p in points])
        for m in table["merits"]
    ]
    if table["merits"]:
        found.append(_Column("limited by", "", [limits(table, p) for p in points], left=True))
    return found


def _number(value: float | None) -> str:
    return "unbounded" if value is None else f"{value:.12g}"


def limits(table: Data, point: Data) -> str:
    """Name what keeps the first merit from growing at a point; empty where nothing holds."""
    if not point["merits"]:
        return ""
    return ", ".join(point["limited_by"][table["merits"][0]["name"]]) or NO_LIMIT


def _setting_columns(table: Data) -> list[_Column]:
    found = []
    for s in table["settings"]:
        if s["changes"] and not s["varied"]:
            cells = [f"{p['settings'][s['name']]:.{s['decimals']}f}" if p["settings"] else "" for p in table["points"]]
            found.append(_Column(s["name"], s["unit"], cells))
    return found


def why_not(point: Data) -> str:
    """Say in short words why there are no settings at a point."""
    if point["holds"] == UNDECIDED:
        return f"{UNDECIDED} within {point['boxes']:,} boxes: try more --effort"
    return f"{NOWHERE_HOLDS}: {', '.join(point['conflict'])}"


# ---- marks


def _mark(point: Data) -> str:
    marks = (STATED_MARK if point["holds"] == STATED else "") + (ASIDE_MARK if point["set_aside"] else "")
    return marks + (DOUBT_MARK if point["merits"] and not point["certified"] else "")


def _marks(table: Data) -> list[str]:
    points, found = table["points"], []
    little = [m["name"] for m in table["merits"] if m["better"] == "less"]
    if little:
        found.append(f"less is better: {', '.join(little)}")
    if any(p["holds"] == STATED for p in points):
        found.append(f"{STATED_MARK} holds at the stated input values only, not over their whole ranges")
    if any(DOUBT_MARK in _mark(p) for p in points):
        found.append(
            f"{DOUBT_MARK} holds, but the search ended before it was certain that none is better: try more --effort"
        )
    wants = dict.fromkeys(w for p in points for w in p["set_aside"])
    if wants:
        found.append(f"{ASIDE_MARK} set aside, as it cannot be met and says 'if possible': {', '.join(wants)}")
    return ["", *found] if found else []
