"""Texts in markup, and pictures one above the other."""

import json
from functools import lru_cache
from typing import Any

from markupsafe import Markup, escape

Data = dict[str, Any]

TITLE, GAP = 30, 26
WORDS = 98
"""Letters that fit into a line below a picture."""


@lru_cache(maxsize=10_000)
def coded(text: str) -> Markup:
    """Turn a text with code between backticks into markup; all else in it is plain text."""
    parts = text.split("`")
    if len(parts) % 2 == 0:
        return escape(text)
    return Markup("").join(Markup("<code>{}</code>").format(p) if k % 2 else escape(p) for k, p in enumerate(parts))


def compact(data: Any) -> Markup:
    """Write data as JSON without blanks, safe between the tags of a script."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def escapes(template: str | None) -> bool:
    """Tell by its name whether a template writes markup."""
    return template is not None and template.endswith((".html.j2", ".svg.j2"))


def stacked(pictures: Data) -> Data:
    """Place the pictures of a machine one above the other, each with its title and its words below."""
    figures: list[Data] = []
    if pictures["window"]:
        figures.append(_figure("window", "window", pictures["window"], _window_lines(pictures["window"])))
    for k, b in enumerate(pictures["budgets"]):
        figures.append(_figure("budget", f"budget-{k}", b["picture"], _budget_lines(b["data"])))
    figures.append(_figure("margins", "margins", pictures["margins"], []))
    y, titles = 10, []
    for f in figures:
        titles.append({"y": y + 20, "text": f["picture"]["title"]})
        f["y"] = y + TITLE
        y = f["y"] + f["picture"]["height"] + 19 * len(f["lines"]) + GAP
    about = " ".join(f"{f['picture']['title']}." for f in figures)
    width = max(f["picture"]["width"] for f in figures)
    return {"width": width, "height": y, "figures": figures, "titles": titles, "about": about}


def _figure(kind: str, identity: str, picture: Data, lines: list[str]) -> Data:
    return {"kind": kind, "id": identity, "picture": picture, "lines": lines}


def _window_lines(picture: Data) -> list[str]:
    lines = [x for w in picture["words"] for x in folded(f"{w['number']}  {w['title']}: {w['text']}")]
    lines += folded(f"Grey: a requirement is missed at {picture['where']}.")
    if picture["moved"]:
        lines += folded("Moved as far as they help: " + ", ".join(picture["moved"]) + ".")
    return lines + folded("Kept: " + ", ".join(picture["kept"]) + ".") if picture["kept"] else lines


def _budget_lines(budget: Data) -> list[str]:
    return [x for k, p in enumerate(budget["parts"], 1) for x in folded(f"{k}  {p['name']} {p['text']}: {p['about']}")]


def folded(text: str, most: int = WORDS) -> list[str]:
    """Break a text into lines; what follows is set in."""
    lines: list[str] = []
    here = ""
    for word in text.split(" "):
        if here and len(here) + 1 + len(word) > most:
            lines.append(here)
            here = f"    {word}"
        else:
            here = f"{here} {word}" if here else word
    return [*lines, here]
