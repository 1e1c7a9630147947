"""Lines of text that ``why`` and ``why not`` share; all facts come from ``explaining``."""

from typing import Any

from .solution import EVERYWHERE
from .valued import quoted_lines

Data = dict[str, Any]

MOST_INPUTS = 5
"""Inputs named in one line of text; the data holds all."""


def heading(e: Data) -> str:
    """Say what an explanation is of."""
    where = f"{e['profile']}: {e['material']} on {e['machine']}"
    if e["holds"] != EVERYWHERE:
        where += "; holds at the stated input values only"
    return where if e["certified"] else f"{where}; not certified to be the best"


def breach_lines(b: Data, there: str, word: str) -> list[str]:
    """Tell a broken requirement: by how much, the condition and its derivation with values, source and what helps."""
    lines = [f"    at {there}: {b['sides']}, missed by {b['missed']}"]
    if b["worst"]:
        lines[-1] += f"; with {_worst(b['worst'])}"
    lines += [f"      {line}" for line in quoted_lines(b["quoted"])]
    for d in b["derivation"]:
        first, *rest = quoted_lines(d["quoted"])
        lines += [f"      {first}  {d['place']}", *(f"      {line}" for line in rest)]
    if b.get("also"):
        lines.append(f"    breaks too: {'; '.join(b['also'])}")
    lines.append(f"    {b['status']}: {b['source']}  {b['place']}" if b["source"] else f"    {b['place']}")
    return lines + _help(b["help"], word)


def holds_lines(side: Data, e: Data) -> str:
    """Say what chose the value though a step to this side holds as well."""
    changed = [m for m in side["merits"] if m["effect"] != "same"]
    first = merit_change(changed[0]) if changed else ""
    if side["reason"] == "fixed":
        return "; ".join(
            ["but the profile fixes the value", *([", ".join(map(merit_change, changed))] if changed else [])]
        )
    if side["reason"] == "returned":
        worse = ", ".join(merit_change(m) for m in changed[1:] if m["effect"] == "worse")
        share = f"the {e['gives_back']:g} % that the profile gives back for what comes next"
        return f"and {first}, which is within {share}" + (f": {worse}" if worse else "")
    said = {"merit": first, "lean": f"the setting would rather be {e['rather']}"}.get(side["reason"])
    return f"but {said}" if said else "and nothing prefers either"


def merit_change(m: Data) -> str:
    """Say how a merit would change."""
    by = f" ({m['change']})" if m["change"] else ""
    return f"{m['name']} would be {m['there_text']} instead of {m['here_text']}{by}"


def _worst(found: list[Data]) -> str:
    """Name the inputs that cost most at their worst values."""
    dear = [f"{i['name']} {i['text']}" for i in found if i["cost"] is None or i["cost"] > 0][:MOST_INPUTS]
    more = len(found) - len(dear)
    if not dear:
        return f"all {more} of its uncertain inputs at their worst"
    inputs = "input" if more == 1 else "inputs"
    return ", ".join(dear) + (f" and {more} more {inputs} at their worst" if more else " at their worst")


def _help(h: Data, word: str) -> list[str]:
    """Say what would let the setting go on: one of these, all else as it is."""
    lines = []
    for s in h["settings"]:
        said = f"{s['name']} {s['bound']} {s['text']} (now {s['now']})"
        if s["ended_at"]:
            said += f", but {s['ended_by'] or 'its own range'} ends it at {s['ended_at']}"
        lines.append(f"      setting {said}")
    known = sum(i["known"] for i in h["inputs"])
    shown = h["inputs"][: max(known + 1, MOST_INPUTS)]
    for i in shown:
        if i["known"]:
            lines.append(f"      {i['name']} known to be {i['bound']} {i['text']} (now {i['now']}, {i['evidence']})")
        else:
            lines.append(f"      {i['name']} {i['bound']} {i['text']} (now {i['now']})")
    if rest := len(h["inputs"]) - len(shown):
        lines[-1] += f"; or one of {rest} more inputs, by more"
    if h["want"]:
        w = h["want"]
        lines.append(f"      asking for less: {w['name']} {w['bound']} {w['text']}")
    advice = [f"{a['direction']} {a['name']}" + (f" ({a['text']})" if a["text"] else "") for a in h["advice"]]
    if advice:
        lines.append(f"      the law's advice: {'; '.join(advice)}")
    if not lines:
        return []
    return [f"    to go {word} it takes at least one of these, all else as it is:", *lines]
