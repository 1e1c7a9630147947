"""A comparison as text for a terminal, and as Markdown for a review."""

from collections.abc import Callable, Sequence
from typing import Any

from .wording import (
    SHORT_KINDS,
    causes,
    common_cause,
    edit,
    margins,
    method,
    moved,
    place,
    side,
    some,
    state,
    told_changes,
    told_machines,
    versions,
    what,
)

Data = dict[str, Any]

SAME = "no change"
_HEADS = ("", "old", "new", "change", "causes")


# ---- text


def text(data: Data) -> str:
    """Write a comparison for a terminal."""
    lines = [f"old: {side(data['old'])}", f"new: {side(data['new'])}", *versions(data)]
    effective = [e for e in data["edits"] if e["effect"]]
    others = [e for e in data["edits"] if not e["effect"]]
    lines += _listed("edits", effective)
    lines += _listed("edits that change no result here", others)
    for profile in data["profiles"]:
        lines += ["", *_profile(profile)]
    if data["same"]:
        lines += ["", SAME]
    else:
        lines += ["", data["note"]]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _listed(title: str, edits: Sequence[Data]) -> list[str]:
    width = max((len(str(e["id"])) for e in edits), default=0)
    lines = [f"  {e['id']:>{width}}  {edit(e)}" + (f"  [{place(e)}]" if place(e) else "") for e in edits]
    return ["", title, *lines] if lines else []


def _profile(profile: Data) -> list[str]:
    told, brief, same = told_machines(profile)
    lines = [f"profile {profile['profile']}"]
    if profile["state"] in ("added", "removed"):
        lines[0] += f": {profile['state']}"
    for machine in told:
        lines += _machine(machine)
    lines += [f"  on {m['machine']}: {state(m)}" for m in brief]
    if same:
        lines.append(f"  {SAME} on {some(same)}")
    return lines


def _machine(machine: Data) -> list[str]:
    lines = [f"  on {machine['machine']}" + (f": {state(machine)}" if machine["state"] != "changed" else "")]
    told = told_changes(machine)
    plain = [c for c in told if c["kind"] in SHORT_KINDS]
    common = common_cause(machine)
    heads = _HEADS[:-1] if common else _HEADS
    rows = [(what(c), c["old"] or "-", c["new"] or "-", moved(c), causes(c))[: len(heads)] for c in plain]
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    for row in (heads, *rows) if rows else ():
        lines.append("    " + "  ".join(f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True)))
    for c in told:
        if c["kind"] not in SHORT_KINDS:
            lines += _long(c, "" if common else causes(c))
    if margins(machine):
        lines.append(f"    margins: {margins(machine)}")
    if common:
        lines.append(f"    caused by: {common}")
    for end in ("old", "new"):
        if machine[f"{end}_conflict"]:
            lines.append(f"    cannot hold together in the {end} text: {'; '.join(machine[f'{end}_conflict'])}")
    if not machine["certified"]:
        lines.append("    The search ended at its limit: there may be better settings. --effort lets it go on.")
    if method(machine):
        lines.append(f"    {method(machine)}")
    return lines


def _long(change: Data, cause: str) -> list[str]:
    """Write a change of long texts."""
    by = f"  ({cause})" if cause else ""
    if not (change["old"] and change["new"]):
        said = "now" if change["new"] else "no longer"
        return [f"    {what(change)} {said}: {change['new'] or change['old']}{by}"]
    return [f"    {what(change)}: {change['old']} -> {change['new']}{by}"]


# ---- Markdown


_ESCAPED = {c: f"\\{c}" for c in "\\`*_[]|~"} | {"&": "&amp;", "<": "&lt;", ">": "&gt;", "@": "&#64;", "#": "&#35;"}


def cell(text: str) -> str:
    """Write a text so that it stands in a table's cell and nothing of it is markup, a mention or a reference."""
    return "".join(_ESCAPED.get(c, c) for c in " ".join(text.split()))


def markdown(data: Data) -> str:
    """Write a comparison for a review."""
    lines = [f"**{cell(side(data['old']))}** to **{cell(side(data['new']))}**", ""]
    lines += [f"- {cell(v)}" for v in versions(data)]
    if data["same"]:
        lines += ["", "No result changes."]
    for title, effect in (("Edits", True), ("Edits that change no result here", False)):
        found = [e for e in data["edits"] if e["effect"] == effect]
        rows = [(str(e["id"]), edit(e), place(e)) for e in found]
        lines += ["", f"{title}:", "", *_table(("", "edit", "place"), rows)] if rows else []
    for profile in data["profiles"]:
        lines += _markdown_profile(profile)
    if not data["same"]:
        lines += ["", f"*{cell(data['note'])}*"]
    return "\n".join(_apart(lines)) + "\n"


def _markdown_profile(profile: Data) -> list[str]:
    told, brief, same = told_machines(profile)
    lines: list[str] = []
    if profile["state"] in ("added", "removed"):
        lines += ["", f"Profile {cell(profile['profile'])} was {profile['state']}."]
    for machine in told:
        lines += ["", f"### {cell(profile['profile'])} on {cell(machine['machine'])}", ""]
        lines += _markdown_machine(machine)
    lines += ["", *(f"- {cell(profile['profile'])} on {cell(m['machine'])}: {state(m)}" for m in brief)]
    if same:
        lines += ["", f"{cell(profile['profile'])}: {SAME} on {cell(some(same))}."]
    return lines


def _markdown_machine(machine: Data) -> list[str]:
    lines = [] if machine["state"] == "changed" else [f"{state(machine).capitalize()}."]
    told = told_changes(machine)
    common = common_cause(machine)
    heads = ("what", "old", "new", "change", *(() if common else ("causes",)))
    lines += _table(heads, [(what(c), c["old"], c["new"], moved(c), causes(c))[: len(heads)] for c in told])
    if margins(machine):
        lines += ["", f"Margins: {cell(margins(machine))}."]
    if common:
        lines += ["", f"Caused by: {cell(common)}."]
    for end in ("old", "new"):
        if machine[f"{end}_conflict"]:
            lines += ["", f"Cannot hold together in the {end} text:", ""]
            lines += [f"- {cell(line)}" for line in machine[f"{end}_conflict"]]
    if not machine["certified"]:
        lines += ["", "The search ended at its limit: there may be better settings."]
    if method(machine):
        lines += ["", cell(method(machine))]
    return lines


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    line: Callable[[Sequence[str]], str] = lambda cells: "| " + " | ".join(map(cell, cells)) + " |"  # noqa: E731
    return [line(heads), "|" + " --- |" * len(heads), *map(line, rows)] if rows else []


def _apart(lines: Sequence[str]) -> list[str]:
    """Leave one empty line where there are several."""
    return [line for line, before in zip(lines, ("", *lines), strict=False) if line or before]
