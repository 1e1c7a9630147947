"""Two sides compared: the data that the text, the Markdown and the JSON output are made of.

The keys are described in ``compiler/comparing/README.md``. Texts are compared through the texts between them, so that
each change has its causes; where a side is what ``compile`` wrote, the causes are named as far as the files tell them.
"""

import hashlib
from collections.abc import Sequence
from typing import Any

from .. import __version__
from ..compiling import undefined
from ..meaning.loading import LIBRARY
from ..meaning.near import brief, near
from ..network.lowering import lower_all
from ..text.diagnostic import diagnose
from ..text.joining import listed
from ..text.source import Span
from .attributing import Attribution, Cause, Pair
from .coalitions import Coalitions
from .edits import Change, Edit, change
from .entries import Register, change_told, end_told, keys, machine_told, short
from .facts import Facts, Key
from .outputs import compare_outputs
from .sides import COMMAND_LINE, Fault, Side, Text, at_fault, named

Data = dict[str, Any]

FORMAT = 1
NOTE = (
    "These numbers are derived, not tested: try them with care. "
    "What the makers of machine and material say comes first."
)


def compare(old: Side, new: Side, machine: str, effort: int, faults: list[Fault]) -> Data:
    """Compare two sides, on one machine or on all; what cannot be compared is reported.

    Machines that are asked the same on both sides are not solved.
    """
    if old.kind == "outputs" or new.kind == "outputs":
        register = Register()
        profiles = compare_outputs(old, new, machine, effort, register, faults)
    else:
        register, profiles = Register(), []
        for group in _grouped(old, new, faults):
            profiles += _Texts(old, new, *group, machine, effort, register, faults).compared()
    if not faults:
        _machine_known(profiles, machine, faults)
    kept = [p for p in profiles if p["machines"] or not machine]
    return {
        "format": FORMAT,
        "program": {"name": "meltwright", "version": __version__},
        "note": NOTE,
        "old": _told_side(old),
        "new": _told_side(new),
        "same": all(p["state"] == "same" for p in kept),
        "edits": register.edits,
        "profiles": kept,
    }


def _machine_known(profiles: Sequence[Data], machine: str, faults: list[Fault]) -> None:
    if machine and not any(p["machines"] for p in profiles):
        known = sorted({name for p in profiles for name in p["known"]})
        advice = near(machine, known, f"they name {listed(known, 'and')}")
        faults.append(Fault((diagnose("M711", Span(COMMAND_LINE, 0, 0), name=brief(machine), near=advice),)))
    for p in profiles:
        p.pop("known")


def _told_side(side: Side) -> Data:
    libraries = {s.name: s.text for t in side.texts for s in t.prepared.sources.values() if s.name.startswith(LIBRARY)}
    digests = {n: hashlib.sha256(text.encode()).hexdigest() for n, text in libraries.items()}
    for bundle in side.bundles.values():
        digests |= {s["file"]: str(s["sha256"]) for s in bundle["sources"] if s["file"].startswith(LIBRARY)}
    whole = "\n".join(f"{digest} {name}" for name, digest in sorted(digests.items()))
    versions = sorted({str(b["program"].get("version", "")) for b in side.bundles.values()}) or [__version__]
    return {
        "name": side.name,
        "kind": side.kind,
        "commit": side.commit,
        "compiler": ", ".join(versions),
        "library": hashlib.sha256(whole.encode()).hexdigest() if digests else "",
    }


# ---- pairing


Paired = list[tuple[str, Text | None, Text | None]]
"""Profiles by name, with the texts that hold them on both sides."""


def _grouped(old: Side, new: Side, faults: list[Fault]) -> list[tuple[Text | None, Text | None, list[str]]]:
    """Pair profiles by name, by file too where a name stands in several, and group them by their texts."""
    pairs = paired(_profiles(old), _profiles(new))
    if not any(before and after for _, before, after in pairs):
        names = [listed(sorted({name for name, _ in _profiles(side)}), "and") or "none" for side in (old, new)]
        facts: Data = {"old": named(old), "new": named(new), "names": f"{names[0]} there, {names[1]} here"}
        advice = "a profile that was renamed is compared once both sides call it the same"
        faults.append(Fault((diagnose("M707", Span(COMMAND_LINE, 0, 0), advice=advice, **facts),)))
        return []
    groups: dict[tuple[int, int], tuple[Text | None, Text | None, list[str]]] = {}
    for name, before, after in pairs:
        groups.setdefault((id(before), id(after)), (before, after, []))[2].append(name)
    return list(groups.values())


def _profiles(side: Side) -> list[tuple[str, Text]]:
    return [(name, text) for text in side.texts for name in text.profiles]


def paired(old: Sequence[tuple[str, Text]], new: Sequence[tuple[str, Text]]) -> Paired:
    """Pair what has the same name; where several have it, what has the same file as well."""
    found: Paired = []
    for name in dict.fromkeys(n for n, _ in (*new, *old)):
        before, after = ([t for n, t in side if n == name] for side in (old, new))
        if len(before) == len(after) == 1:
            found.append((name, before[0], after[0]))
            continue
        files = {t.name: t for t in before}
        found += [(name, files.pop(t.name, None), t) for t in after]
        found += [(name, t, None) for t in files.values()]
    return found


class _Texts:
    """Profiles of one text, or of two that stand for one another."""

    def __init__(
        self,
        old_side: Side,
        new_side: Side,
        old: Text | None,
        new: Text | None,
        names: Sequence[str],
        machine: str,
        effort: int,
        register: Register,
        faults: list[Fault],
    ) -> None:
        self.old_side, self.new_side, self.old, self.new = old_side, new_side, old, new
        self.names, self.machine, self.register, self.faults = names, machine, register, faults
        before, after = old or new, new or old
        assert before is not None
        assert after is not None
        self.change: Change = change(before.files, after.files)
        sources = {**before.prepared.sources, **after.prepared.sources}
        self.coalitions = Coalitions(self.change, sources, effort)
        both = [p for p in self._pairs(old) if p in self._pairs(new)]
        self.attribution = Attribution(self.coalitions, both)

    def _pairs(self, text: Text | None) -> list[Pair]:
        pairs = [(p.name, m) for p, m in text.pairs if p.name in self.names] if text else []
        return [pair for pair in pairs if self.machine in ("", pair[1])]

    def compared(self) -> list[Data]:
        """Compare all profiles."""
        self.numbers = [self._edit(e) for e in self.change.edits] if self.old and self.new else []
        self.attribution.prepare()
        if self._undefined():
            return []
        everything = self.attribution.everything
        added = [p for p in self._pairs(self.new) if p not in self.attribution.pairs]
        self.coalitions.solve((everything, *pair) for pair in added)
        if self.coalitions.faults:
            self.faults.append(Fault(tuple(self.coalitions.faults)))
        return [self._profile(name) for name in self.names]

    def _edit(self, edit: Edit) -> int:
        assert self.old is not None
        assert self.new is not None
        return self.register.take(
            kind=edit.kind,
            subject=edit.subject,
            name=edit.name,
            old=edit.old,
            new=edit.new,
            old_place=self.old_side.place(self.old, edit.old_span),
            new_place=self.new_side.place(self.new, edit.new_span),
        )

    def _undefined(self) -> bool:
        """Report what is not defined on one of the sides, on machines where anything changes."""
        found = False
        for side, text, end in ((self.old_side, self.old, 0), (self.new_side, self.new, 1)):
            missing = [pair for pair in self.attribution.plans if self.attribution.ends(pair)[end] is None]
            if text is not None and missing and text.prepared.model is not None:
                asked = [(text.profiles[name], machine) for name, machine in missing]
                networks = lower_all(text.prepared.model, asked, text.prepared.faults)
                undefined(text.prepared, [n for n in networks if n is not None])
                self.faults.append(at_fault(side, text))
                found = True
        return found

    # ---- telling

    def _profile(self, name: str) -> Data:
        before, after = ([p for p in self._pairs(t) if p[0] == name] for t in (self.old, self.new))
        machines = [self._machine(pair, pair in before, pair in after) for pair in dict.fromkeys((*after, *before))]
        state = "added" if self.old is None else "removed" if self.new is None else ""
        texts = [t for t in (self.old, self.new) if t is not None]
        return {
            "profile": name,
            "state": state or ("same" if all(m["state"] == "same" for m in machines) else "changed"),
            "old_file": self.old.name if self.old else "",
            "new_file": self.new.name if self.new else "",
            "machines": machines,
            "known": sorted({m for t in texts for p, m in t.pairs if p.name == name}),
        }

    def _machine(self, pair: Pair, before: bool, after: bool) -> Data:
        if before and after and self.old and self.new:
            if pair not in self.attribution.plans:
                return machine_told(pair[1], "same")
            return self._both(pair)
        causes = [
            n
            for n, e in zip(self.numbers, self.change.edits, strict=False)
            if e.name == pair[1] and e.kind == "machine" and e.key == ("profile", pair[0])
        ]
        self.register.found_effective([{"edits": causes}])
        if not after:
            return machine_told(pair[1], "removed", edits=causes)
        outcome = self.coalitions.outcome((self.attribution.everything, *pair))
        told = machine_told(pair[1], "added", edits=causes)
        return told | end_told("new", outcome) if outcome else told

    def _both(self, pair: Pair) -> Data:
        old, new = self.attribution.ends(pair)
        assert old is not None
        assert new is not None
        plan = self.attribution.plans[pair]
        changes = [self._change(pair, key, old.facts, new.facts) for key in keys(old.facts, new.facts)]
        for c in changes:
            self.register.found_effective(c["causes"])
        numbers = sorted(self.numbers[i] for p in plan.players for i in p)
        told = machine_told(pair[1], "changed" if changes else "same", numbers, plan.method if changes else "")
        told |= end_told("old", old) | end_told("new", new)
        return told | {"certified": self.attribution.certified(pair), "changes": changes}

    def _change(self, pair: Pair, key: Key, old: Facts, new: Facts) -> Data:
        causes = self.attribution.causes(pair, key, old.get(key), new.get(key))
        return change_told(key, old, new) | {"causes": [self._cause(c) for c in causes]}

    def _cause(self, cause: Cause) -> Data:
        return {
            "edits": sorted(self.numbers[i] for i in cause.edits),
            "share": short(cause.share),
            "percent": short(cause.percent),
            "alone": short(cause.alone),
        }
