"""Pictures of bars: what a setting is spent on, and how much each requirement has to spare."""

from collections.abc import Sequence
from typing import Any

from . import plotting

WIDTH = 640
LEFT, RIGHT = 20, 20
BAR, ROW = 44, 22
NAMES, SPARES = 264, 74
MOST_MARGINS = 14
SHADES = 5
OVERHANG = 1.04
FAR = 8
"""A limit so many times as far off as what is spent is named, not drawn."""

Data = dict[str, Any]


# ---- budgets


def budget_picture(budget: Data) -> Data:
    """Draw what a setting is spent on, part by part, against how much there may be of it."""
    total, most, chosen = (float(v or 0.0) for v in (budget["sum"]["value"], budget["most"]["value"], budget["value"]))
    parts = [(p, max(float(p["value"] or 0.0), 0.0)) for p in budget["parts"]]
    shown = max(total, chosen, most if most <= FAR * max(total, chosen) else 0.0, 1e-9) * OVERHANG
    x = plotting.Scale(0.0, shown, LEFT, WIDTH - RIGHT)
    top = 66.0
    bars, texts, at = [], [], 0.0
    for k, (part, value) in enumerate(parts):
        first, last = x(at), x(at + value)
        bars.append(plotting.box(first, top, last, top + BAR) | {"kind": f"p{k % SHADES}", "title": _said(part)})
        wide = last - first > 20
        texts += (
            [plotting.label((first + last) / 2, top + BAR / 2 + 5, str(k + 1), f"name middle on{k % SHADES}")]
            if wide
            else []
        )
        at += value
    marks = [_flag(x, min(chosen, shown), f"set: {budget['text']}", top, top - 10, "set")]
    fits = most <= shown
    limit = f"{budget['most']['name']}: {budget['most']['text']}"
    if fits:
        marks.append(_flag(x, most, limit, top, top - 34, "most"))
    ticks = []
    base = top + BAR
    for tick in plotting.round_values(0.0, shown, 8):
        ticks.append(plotting.line(x(tick), base, x(tick), base + 5, "stub"))
        texts.append(plotting.label(x(tick), base + 19, f"{tick:.12g}", "tick middle"))
    said = f"{budget['setting']}, {budget['unit']}".removesuffix(", ")
    texts.append(plotting.label(LEFT, base + 38, said, "name"))
    missing = total - most
    return {
        "width": WIDTH,
        "height": round(base + 48),
        "bars": bars,
        "lines": [*ticks, *(m["line"] for m in marks)],
        "texts": [*texts, *(m["label"] for m in marks)],
        "over": plotting.box(x(most), top - 4, x(total), top + BAR + 4)
        if fits and missing > 0 and x(total) - x(most) > 1
        else None,
        "title": f"What {budget['setting']} is spent on",
        "about": f"{budget['setting']} is {budget['text']}. Asked for: "
        + "; ".join(_said(p) for p, _ in parts)
        + f"; together {budget['sum']['text']}. At most {limit}.",
        "short": missing > 1e-6 * max(abs(total), 1e-9),
        "open": not fits,
    }


def _said(part: Data) -> str:
    return f"{part['name']} {part['text']}"


def _flag(x: plotting.Scale, value: float, text: str, top: float, y: float, kind: str) -> Data:
    """Mark a value over the bar, with its words to the side that has room."""
    at = x(value)
    after = at < plotting.width_of(text) + 8
    label = plotting.label(at + (5 if after else -5), y, text, "tick" if after else "tick end")
    return {"line": plotting.line(at, y - 9, at, top + BAR + 6, kind), "label": label}


# ---- margins


def margins_picture(requirements: Sequence[Data]) -> Data:
    """Draw how much each requirement has to spare, the closest first; of many, those that are closest."""
    shown = requirements[:MOST_MARGINS]
    x = plotting.Scale(0.0, 100.0, NAMES, WIDTH - SPARES)
    rows, grid = [], []
    top = 10.0
    bottom = top + ROW * len(shown)
    for tick in (0, 25, 50, 75, 100):
        grid.append(plotting.line(x(tick), top, x(tick), bottom + 4, "stub" if tick == 0 else "grid"))
    texts = [plotting.label(x(tick), bottom + 19, f"{tick} %", "tick middle") for tick in (0, 50, 100)]
    for k, r in enumerate(shown):
        share = min(max(float(r["margin"]), 0.0), 100.0)
        y = top + ROW * k
        end = max(x(share), NAMES + 1.5)
        texts.append(plotting.label(NAMES - 8, y + 15, plotting.short(r["title"], 36), "tick end"))
        texts.append(plotting.label(end + 6, y + 15, r["spare"], "tick"))
        rows.append(
            {
                "bar": plotting.box(NAMES, y + 4, end, y + ROW - 4),
                "kind": "tight" if share < 5 else "roomy",
                "title": f"{r['title']}: {r['sides']}",
            }
        )
    return {
        "width": WIDTH,
        "height": round(bottom + 26),
        "rows": rows,
        "grid": grid,
        "texts": texts,
        "more": len(requirements) - len(shown),
        "title": "What each requirement has to spare, the closest first",
        "about": "; ".join(f"{r['title']}: {r['spare']}" for r in shown) + ".",
    }
