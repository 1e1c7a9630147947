"""Entries of a comparison that every kind of side shares: edits, machines and changes as plain data."""

from collections.abc import Iterable, Sequence
from typing import Any

from .attributing import changed, difference
from .coalitions import Outcome
from .facts import HOLDS, Facts, Key, answered

Data = dict[str, Any]


class Register:
    """The edits of a comparison, each once, numbered from 1 in the order in which they are found."""

    def __init__(self) -> None:
        self._numbers: dict[tuple[object, ...], int] = {}
        self.edits: list[Data] = []

    def take(self, **edit: Any) -> int:
        """Number an edit; the same edit seen through several files is one."""
        number = self._numbers.setdefault(tuple(edit.values()), len(self._numbers) + 1)
        if number > len(self.edits):
            self.edits.append({"id": number, **edit, "effect": False})
        return number

    def found_effective(self, causes: Iterable[Data]) -> None:
        """Mark the edits that are among the causes of a change."""
        for cause in causes:
            for number in cause["edits"]:
                self.edits[number - 1]["effect"] = True


def keys(old: Facts, new: Facts) -> list[Key]:
    """List what changed; where one side has no settings, that alone is told."""
    return [HOLDS] if answered(old) != answered(new) else changed(old, new)


def machine_told(machine: str, state: str, edits: Sequence[int] = (), method: str = "") -> Data:
    """Make the entry of a machine, as yet without changes."""
    return {
        "machine": machine,
        "state": state,
        "old_holds": "",
        "new_holds": "",
        "old_conflict": [],
        "new_conflict": [],
        "certified": True,
        "method": method,
        "edits": list(edits),
        "changes": [],
    }


def end_told(end: str, outcome: Outcome) -> Data:
    """Tell for which input values one end holds, or which lines cannot hold together."""
    told: Data = {f"{end}_holds": outcome.facts[HOLDS].text, f"{end}_conflict": list(outcome.conflict)}
    return told if outcome.certified else told | {"certified": False}


def change_told(key: Key, old: Facts, new: Facts) -> Data:
    """Tell a change, as yet without causes."""
    before, after = old.get(key), new.get(key)
    known = after or before
    return {
        "kind": key[0],
        "name": key[1],
        "old": before.text if before else "",
        "new": after.text if after else "",
        "old_value": before.number if before else None,
        "new_value": after.number if after else None,
        "unit": known.unit if known else "",
        "change": short(difference(before, after)),
    }


def short(number: float | None) -> float | None:
    """Round a number so that no rounding error is told."""
    if number is None:
        return None
    found = float(f"{number:.9g}")
    return 0.0 if abs(found) < 1e-12 else found
