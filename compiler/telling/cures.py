"""Cures as people read them: what to write instead of what, one line each."""

from collections.abc import Sequence

from ..meaning.near import listed
from ..solving.curing import Change, Cure

MOST_CURES = 6
MOST_NAMES = 8


def cure_lines(cures: Sequence[Cure], several: bool) -> list[str]:
    """Write the smallest cures, the first ones first; ``several`` machines are told apart by name."""
    machines: dict[tuple[str, str], list[str]] = {}
    for cure in cures:
        text = ", and ".join(change_text(c) for c in cure.changes)
        harms = f"; but then not for {some(cure.harms)}" if cure.harms else ""
        own = [c.lever.machine for c in cure.changes if c.lever.machine]
        machines.setdefault((text, harms), []).extend(own)
    lines = []
    for (text, harms), own in machines.items():
        where = f" on {some(list(dict.fromkeys(own)))}" if several and own else ""
        lines.append(f"{text}{where} (verified{harms})")
    return lines[:MOST_CURES]


def some(names: Sequence[str]) -> str:
    """List names; of very many, the first and how many more."""
    if len(names) <= MOST_NAMES:
        return listed(names, "and")
    return f"{', '.join(names[: MOST_NAMES - 1])} and {len(names) - MOST_NAMES + 1} others"


def change_text(change: Change) -> str:
    """Write one change: what it is for, the line as it should be, and what it replaces."""
    lever, new, old = change.lever, change.rung.text, change.lever.old
    match lever.kind:
        case "grade" if new:
            return f"allow {new} instead of {old}: {lever.name} {new}"
        case "want" if new:
            asked = "ask for less" if lever.towards == "lower" else "allow more"
            return f"{asked}: {lever.name} {new} instead of {old}"
        case "grade" | "want":
            return f"leave out: {lever.name} {old}"
        case "pin":
            if lever.free:
                return f"pin {lever.name} = {new} instead of {old}, or leave it free"
            return f"{lever.name} {new} instead of {old}"
        case "range":
            return f"know {lever.name} better: {new} instead of {old}"
    beyond = {"lower": " or less", "raise": " or more"}.get(lever.towards, "") if change.onward else ""
    purpose = lever.advice or f"{lever.towards or 'change'} {lever.name}"
    return f"{purpose}: {lever.name} {new}{beyond} instead of {old}"
