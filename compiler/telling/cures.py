"""Cures as people read them: what to write instead of what, one line each."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..solving.curing import Change, Cure
from ..text.joining import listed

MOST_CURES = 6
MOST_NAMES = 8


@dataclass(frozen=True, slots=True)
class Sentence:
    """A cure in words, or the same cure on several machines; ``exact`` names the one value that would be written."""

    text: str
    exact: str
    cures: tuple[Cure, ...]


def sentences(cures: Sequence[Cure], several: bool) -> list[Sentence]:
    """Put the smallest cures into words, the first ones first; ``several`` machines are told apart by name."""
    alike: dict[tuple[str, str], list[Cure]] = {}
    for cure in cures:
        text = ", and ".join(change_text(c) for c in cure.changes)
        harms = f"; but then not for {some(cure.harms)}" if cure.harms else ""
        alike.setdefault((text, harms), []).append(cure)
    found = []
    for (text, harms), group in alike.items():
        own = [c.lever.machine for cure in group for c in cure.changes if c.lever.machine]
        where = f" on {some(list(dict.fromkeys(own)))}" if several and own else ""
        exact = ", and ".join(change_text(c, exact=True) for c in group[0].changes)
        found.append(Sentence(f"{text}{where} (verified{harms})", f"{exact}{where}{harms}", tuple(group)))
    return found[:MOST_CURES]


def cure_lines(cures: Sequence[Cure], several: bool) -> list[str]:
    """Write the smallest cures, one line each."""
    return [s.text for s in sentences(cures, several)]


def some(names: Sequence[str]) -> str:
    """List names; of very many, the first and how many more."""
    if len(names) <= MOST_NAMES:
        return listed(names, "and")
    return f"{', '.join(names[: MOST_NAMES - 1])} and {len(names) - MOST_NAMES + 1} others"


def change_text(change: Change, exact: bool = False) -> str:
    """Write one change: what it is for, the line as it should be, and what it replaces.

    An ``exact`` one names no other values that would do as well.
    """
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
                free = "" if exact else ", or leave it free"
                return f"pin {lever.name} = {new} instead of {old}{free}"
            return f"{lever.name} {new} instead of {old}"
        case "range":
            return f"know {lever.name} better: {new} instead of {old}"
    onward = change.onward and not exact
    beyond = {"lower": " or less", "raise": " or more"}.get(lever.towards, "") if onward else ""
    return f"{purpose(change)}: {lever.name} {new}{beyond} instead of {old}"


def purpose(change: Change) -> str:
    """Say what changing an input is for: the law's own advice, where it gives any."""
    return change.lever.advice or f"{change.lever.towards or 'change'} {change.lever.name}"
