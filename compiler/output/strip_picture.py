"""The picture of a fleet: a row a machine, with its first merit, the settings that differ most, and what limits it."""

from collections.abc import Sequence
from typing import Any

from ..telling.brief import FEW_MACHINES, differing_settings
from . import plotting

WIDTH = 1040
ROW, HEAD = 26, 46
NAME, MERIT, SETTING, GAP = 150, 200, 132, 16
MOST_SETTINGS = 3

Data = dict[str, Any]


def strip_picture(machines: Sequence[Data]) -> Data:
    """Draw machines one below the other; of many, the first."""
    shown = list(machines[:FEW_MACHINES])
    settings = _differing(shown)
    merit = shown[0]["merits"][0] if shown[0]["merits"] else None
    start = 12 + NAME
    columns = [start + (MERIT + GAP if merit else 0) + k * (SETTING + GAP) for k in range(len(settings))]
    words = (columns[-1] + SETTING + GAP) if columns else start + (MERIT + GAP if merit else 0)
    heads = [plotting.label(12, 18, "machine", "name")]
    if merit:
        heads += [plotting.label(start, 18, merit["name"], "name"), plotting.label(start, 35, _better(merit), "soft")]
    for x, setting in zip(columns, settings, strict=True):
        heads += [
            plotting.label(x, 18, plotting.short(setting["name"], 18), "name"),
            plotting.label(x, 35, setting["unit"], "soft"),
        ]
    heads.append(plotting.label(words, 18, "held back by", "name"))
    values = [_number(m["merits"][0]["text"]) for m in shown] if merit else []
    largest = max((abs(v) for v in values), default=0.0) or 1.0
    rows = []
    for k, m in enumerate(shown):
        y = HEAD + ROW * k
        row: Data = {
            "bar": None,
            "lines": [plotting.line(12, y, WIDTH - 12, y, "grid")],
            "texts": [plotting.label(12, y + 17, plotting.short(m["machine"], 21), "tick")],
            "dots": [],
        }
        if merit:
            length = abs(values[k]) / largest * (MERIT - 90)
            row["bar"] = plotting.box(start, y + 6, start + max(length, 1.5), y + ROW - 6)
            row["texts"].append(plotting.label(start + max(length, 1.5) + 6, y + 17, m["merits"][0]["text"], "tick"))
        for x, setting in zip(columns, settings, strict=True):
            row["lines"].append(plotting.line(x, y + 13, x + SETTING - 52, y + 13, "stub"))
            at = x + (SETTING - 52) * (setting["values"][k] - setting["low"]) / (setting["high"] - setting["low"])
            row["dots"].append({"d": plotting.mark("circle", at, y + 13, 4)})
            row["texts"].append(plotting.label(x + SETTING - 42, y + 17, setting["texts"][k], "tick"))
        limits = m["limits"].replace("`", "")
        row["texts"].append(
            plotting.label(words, y + 17, plotting.short(limits, int((WIDTH - 16 - words) / 7.3)), "tick")
        )
        row["title"] = f"{m['machine']}: {limits}"
        rows.append(row)
    return {
        "width": WIDTH,
        "height": HEAD + ROW * len(shown) + 8,
        "heads": heads,
        "rows": rows,
        "more": len(machines) - len(shown),
        "title": "The machines side by side",
        "about": " ".join(_about(m) for m in shown),
    }


def _differing(machines: Sequence[Data]) -> list[Data]:
    """Choose the settings that differ most between machines, by their range over their largest value."""
    found = []
    for place, row in enumerate(differing_settings(list(machines))):
        texts = [c["text"] for c in row["cells"]]
        values = [float(t) for t in texts]
        low, high = min(values), max(values)
        if low < high:
            size = max(abs(low), abs(high))
            found.append(
                ((low - high) / size, place, row | {"texts": texts, "values": values, "low": low, "high": high})
            )
    return [row for _, _, row in sorted(found, key=lambda f: f[:2])[:MOST_SETTINGS]]


def _number(text: str) -> float:
    """Read the number that a text starts with; what has no end counts as nothing."""
    try:
        return float(text.split(" ")[0])
    except ValueError:
        return 0.0


def _better(merit: Data) -> str:
    return "less is better" if merit["better"] == "less" else ""


def _about(machine: Data) -> str:
    merits = ", ".join(f"{m['name']} {m['text']}" for m in machine["merits"][:1])
    return f"{machine['machine']}: {merits}, held back by {machine['limits']}.".replace("`", "")
