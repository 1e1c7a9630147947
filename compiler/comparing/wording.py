"""Words for what changed, shared by the text for a terminal and the Markdown for a review."""

from collections.abc import Sequence
from typing import Any

from ..meaning.display import rounded

Data = dict[str, Any]

MOST_TOLD = 20
"""Machines of a profile whose changes are told one by one."""

MOST_NAMED = 8
"""Machines or edits that are named in one line."""

MOST_MARGINS = 3
"""Changed margins that are told; the JSON output holds all."""

MOST_CAUSES = 4
"""Causes of one change that are told, the largest first."""

WHAT = {
    "holds": "holds for",
    "conflict": "cannot hold together",
    "merit": "{name}",
    "setting": "{name}",
    "band_low": "{name}, band from",
    "band_high": "{name}, band to",
    "limit_below": "{name}, ended below by",
    "limit_above": "{name}, ended above by",
    "merit_limits": "{name}, limited by",
    "want": "want",
    "grade": "{name}",
    "caution": "caution",
    "prepare": "to prepare",
    "warning": "warning",
    "margin": "margin of {name}",
}
"""What a change is of, by its kind."""

SHORT_KINDS = ("holds", "merit", "setting", "band_low", "band_high", "grade")
"""Kinds whose texts fit into a table of a terminal."""


def what(change: Data) -> str:
    """Name what a change is of."""
    return WHAT[change["kind"]].format(name=change["name"])


def moved(change: Data) -> str:
    """Say by how much a number has moved; nothing for what is no number."""
    if change["change"] is None:
        return ""
    return f"{signed(change['change'])} {change['unit']}".rstrip()


def signed(number: float) -> str:
    """Write a number with its sign."""
    text = rounded(number, 3)
    return text if text.startswith("-") or text == "0" else f"+{text}"


def causes(change: Data) -> str:
    """Name the edits that caused a change, with their shares where there are several."""
    found = change["causes"]
    if not found:
        return ""
    if found[0]["percent"] is None:
        numbers = sorted({n for c in found for n in c["edits"]})
        return f"{'among' if len(numbers) > 1 else 'perhaps'} {edits(numbers)}"
    if len(found) == 1:
        return edits(found[0]["edits"])
    rest = len(found) - MOST_CAUSES
    return ", ".join(map(_cause, found[:MOST_CAUSES])) + (f" and {rest} smaller" if rest > 0 else "")


def _cause(cause: Data) -> str:
    percent = f"{rounded(cause['percent'], 2)} %"
    if cause["share"] is None:
        return f"{edits(cause['edits'])}: {percent}"
    said = f"{edits(cause['edits'])}: {signed(cause['share'])} ({percent}"
    alone = cause["alone"]
    if alone is not None and rounded(alone, 3) != rounded(cause["share"], 3):
        said += f", alone {signed(alone)}"
    return said + ")"


def common_cause(machine: Data) -> str:
    """Name what caused all changes on a machine, where that is the same for all."""
    found = {causes(c) for c in machine["changes"]}
    return found.pop() if len(found) == 1 else ""


def edits(numbers: Sequence[int]) -> str:
    """Name edits by their numbers, runs of them by their ends."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    texts = [str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs]
    return ("edit " if len(numbers) == 1 else "edits ") + ", ".join(texts)


def edit(e: Data) -> str:
    """Say what an edit is, with both texts."""
    # A want, a pin and a formula say their name themselves.
    named = e["name"] and e["kind"] not in ("want", "pin", "let")
    subject = f"{e['subject']}, {e['name']}" if named else str(e["subject"])
    if e["kind"] == "machine":
        return f"{e['subject']}: machine {e['name']} {'added' if e['new'] else 'removed'}"
    if not (e["old"] and e["new"]):
        text = e["new"] or e["old"]
        said = "added" if e["new"] else "removed"
        return f"{text} {said}" if e["kind"] == said else f"{subject}: {said} {text}"
    return f"{subject}: {e['old']} -> {e['new']}"


def place(e: Data) -> str:
    """Say where an edit stands: in the new text, and in the old one where that is elsewhere."""
    if e["old_place"] and e["new_place"] and e["old_place"] != e["new_place"]:
        return f"{e['old_place']} -> {e['new_place']}"
    return str(e["new_place"] or e["old_place"])


def side(s: Data) -> str:
    """Name a side."""
    return f"{s['name']} ({s['commit'][:10]})" if s["commit"] else str(s["name"])


def versions(data: Data) -> list[str]:
    """Say which versions differ: of the compiler and of the library."""
    found = []
    if data["old"]["compiler"] != data["new"]["compiler"]:
        found.append(f"compiler: {data['old']['compiler']} -> {data['new']['compiler']}")
    old, new = (data[s]["library"] for s in ("old", "new"))
    if old and new and old != new:
        found.append(f"library: {old[:10]} -> {new[:10]}")
    return found


def told_changes(machine: Data) -> list[Data]:
    """List the changes that are told one by one: no margins, and no end of a band that moved as its setting did."""
    values = {c["name"]: c for c in machine["changes"] if c["kind"] == "setting"}

    def repeats(c: Data) -> bool:
        value = values.get(c["name"]) if c["kind"] in ("band_low", "band_high") else None
        return value is not None and all(c[key] == value[key] for key in ("old", "new", "causes"))

    return [c for c in machine["changes"] if c["kind"] != "margin" and not repeats(c)]


def margins(machine: Data) -> str:
    """Sum up the changed margins: how many, and those that are tightest now; nothing where there are none."""
    found = sorted((c for c in machine["changes"] if c["kind"] == "margin"), key=lambda c: (c["new_value"], c["name"]))
    if not found:
        return ""
    told = "; ".join(f"{c['name']} {c['old']} -> {c['new']}" for c in found[:MOST_MARGINS])
    rest = len(found) - MOST_MARGINS
    return told + (f"; and {rest} wider ones" if rest > 0 else "")


def told_machines(profile: Data) -> tuple[list[Data], list[Data], list[str]]:
    """Part the machines of a profile: those told one by one, those told in a line, and those that are the same."""
    changed = [m for m in profile["machines"] if m["state"] != "same"]
    same = [m["machine"] for m in profile["machines"] if m["state"] == "same"]
    return changed[:MOST_TOLD], changed[MOST_TOLD:], same


def some(names: Sequence[str]) -> str:
    """Name a few of many."""
    rest = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def state(machine: Data) -> str:
    """Say what became of a machine, in a few words."""
    if machine["state"] == "removed":
        return "no longer there"
    if machine["state"] == "added":
        holds = machine["new_holds"] or machine["old_holds"]
        return "new" + (f"; holds for {holds}" if holds.endswith(("values", "only")) else f"; {holds}" if holds else "")
    count = len([c for c in machine["changes"] if c["kind"] != "margin"])
    return f"{count} {'change' if count == 1 else 'changes'}" if count else "margins changed"


def method(machine: Data) -> str:
    """Say how the causes were found, where that is not exact."""
    if machine["method"] == "sampled":
        return "There are too many edits for all orders: the shares are means over 24 fixed orders."
    if machine["method"] == "named":
        return "One of many machines: its causes are named only. compare --machine shares them out."
    if machine["method"] == "outputs":
        return "Written files do not hold the whole text: the causes are those that they tell of, without shares."
    return ""
