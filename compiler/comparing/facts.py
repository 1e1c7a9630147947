"""What is compared of a bundle: its facts by kind and name, so that two bundles can be set side by side."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Data = dict[str, Any]
Key = tuple[str, str]
"""The kind and the name of a fact."""

KINDS = (
    "holds",
    "conflict",
    "merit",
    "merit_limits",
    "setting",
    "band_low",
    "band_high",
    "limit_below",
    "limit_above",
    "want",
    "grade",
    "caution",
    "prepare",
    "warning",
    "margin",
)
"""The kinds of facts, in the order in which they are told."""

HOLDS = ("holds", "")
NOTHING = "nothing holds"
UNDECIDED = "not decided"
FIXED = "its fixed value"


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact: how it reads, and what tells it from another, a number or an identity."""

    text: str
    number: float | None = None
    unit: str = ""
    identity: str = ""

    def __post_init__(self) -> None:
        # A file that somebody has changed may hold anything.
        if not isinstance(self.text, str) or not isinstance(self.number, int | float | None):
            raise TypeError(self.text)

    @property
    def what(self) -> float | str:
        """What makes the fact another one when it changes."""
        return self.number if self.number is not None else self.identity or self.text


Facts = Mapping[Key, Fact]


def refused(text: str, conflict: Sequence[str]) -> Facts:
    """Give the facts of a machine without settings: ``NOTHING`` or ``UNDECIDED``, and what cannot hold together."""
    return {HOLDS: Fact(text), ("conflict", ""): Fact("; ".join(conflict))}


def answered(facts: Facts) -> bool:
    """Tell whether a machine has settings."""
    return facts[HOLDS].text not in (NOTHING, UNDECIDED)


def facts(bundle: Data) -> Facts:
    """List the facts of a bundle."""
    found: dict[Key, Fact] = {HOLDS: Fact(bundle["holds"])}
    titles = {r["id"]: (r["title"], _identity(r)) for r in bundle["requirements"]}
    for merit in bundle["merits"]:
        found["merit", merit["name"]] = Fact(merit["text"], merit["value"], merit["unit"])
        limits = [titles.get(i, (i, i)) for i in merit["limited_by"]]
        shown, identity = (", ".join(t[k] for t in limits) or "nothing" for k in (0, 1))
        found["merit_limits", merit["name"]] = Fact(shown, identity=identity)
    for group, members in bundle["settings"].items():
        for name, setting in members.items():
            found |= _setting(name if name == group else f"{group}.{name}", setting, titles)
    for want in bundle["wants"]:
        met = "met" if want["met"] else "set aside"
        found["want", want_name(want["text"])] = Fact(f"{want['text']}: {met}")
    for name, grade in bundle["grades"].items():
        found["grade", name] = Fact(grade["band"])
    for kind, list_name in (("caution", "cautions"), ("prepare", "prepare"), ("warning", "warnings")):
        for notice in bundle.get(list_name, ()):
            text = notice.get("otherwise") or notice["text"]
            found[kind, text] = Fact(text)
    for r in bundle["requirements"]:
        found["margin", _identity(r)] = Fact(f"{r['margin']:g} %", r["margin"], "%")
    return found


def _setting(name: str, setting: Data, titles: Mapping[str, tuple[str, str]]) -> dict[Key, Fact]:
    unit = setting["unit"]
    low, high = setting["band"]
    texts = setting["band_text"].split(" .. ")
    found: dict[Key, Fact] = {
        ("setting", name): Fact(f"{setting['text']} {unit}".rstrip(), setting["value"], unit),
        ("band_low", name): Fact(f"{texts[0]} {unit}".rstrip(), low, unit),
        ("band_high", name): Fact(f"{texts[-1]} {unit}".rstrip(), high, unit),
    }
    for side in ("below", "above"):
        limit = setting[f"limited_{side}"]
        identity = titles[limit][1] if limit in titles else limit or FIXED
        found[f"limit_{side}", name] = Fact(setting[f"ends_{side}"] or FIXED, identity=identity)
    return found


def _identity(requirement: Data) -> str:
    """Name a requirement by what it says: its number among those of its law hangs on what else the law says."""
    return f"{requirement['law']}: {requirement['text']}" if requirement["law"] else str(requirement["title"])


def want_name(text: str) -> str:
    """Name a want by what it bounds, and on which side."""
    name, _, rest = text.partition(" at ")
    return f"{name} at {rest.split(' ')[0]}"
