"""Sides that ``compile`` wrote: the causes of a change are named as far as the files tell, without shares."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from ..compiling import confirmed, undefined
from ..telling.bundle import bundles
from ..telling.solution import solutions
from ..text.diagnostic import diagnose
from ..text.joining import listed
from ..text.source import Span
from .coalitions import Outcome, without_settings
from .entries import Register, change_told, end_told, keys, machine_told
from .facts import facts, want_name
from .sides import COMMAND_LINE, Fault, Side, Text, at_fault, named

if TYPE_CHECKING:
    from ..solving.answering import Answer
    from ..solving.problem import Problem

Data = dict[str, Any]
Pair = tuple[str, str]


def compare_outputs(
    old: Side, new: Side, machine: str, effort: int, register: Register, faults: list[Fault]
) -> list[Data]:
    """Compare two sides of which one at least was written by ``compile``."""
    wanted = [_named(side) for side in (old, new)]
    for side, other in ((0, 1), (1, 0)):
        if (old, new)[side].single:
            wanted[other] = [pair for pair in wanted[other] if pair in wanted[side]]
    common = {p for p, _ in wanted[0]} & {p for p, _ in wanted[1]}
    if not common:
        names = [listed(sorted({p for p, _ in w}), "and") or "none" for w in wanted]
        advice = "compare what was compiled from the same profiles"
        told: Data = {"old": named(old), "new": named(new), "names": f"{names[0]} there, {names[1]} here"}
        faults.append(Fault((diagnose("M707", Span(COMMAND_LINE, 0, 0), advice=advice, **told),)))
        return []
    asked = [{pair for pair in w if machine in ("", pair[1]) and pair[0] in common} for w in wanted]
    sides = [_Outputs(side, pairs, effort, faults) for side, pairs in zip((old, new), asked, strict=True)]
    if faults:
        return []
    found = []
    for name in dict.fromkeys(p for p, _ in (*wanted[1], *wanted[0])):
        before, after = ([m for p, m in w if p == name and machine in ("", m)] for w in wanted)
        known = sorted({m for w in wanted for p, m in w if p == name})
        machines = [
            _machine((name, m), m in before, m in after, sides, register) for m in dict.fromkeys(after + before)
        ]
        states = ["added" if not any(p == name for p, _ in wanted[0]) else ""]
        states += ["removed" if not any(p == name for p, _ in wanted[1]) else ""]
        changed = "same" if all(m["state"] == "same" for m in machines) else "changed"
        files = [side.file(name) for side in sides]
        found.append(
            {
                "profile": name,
                "state": "".join(states) or changed,
                "old_file": files[0],
                "new_file": files[1],
                "machines": machines,
                "known": known,
            }
        )
    return found


def _named(side: Side) -> list[Pair]:
    if side.kind == "outputs":
        return list(side.bundles)
    return [(p.name, m) for text in side.texts for p, m in text.pairs]


def _machine(pair: Pair, before: bool, after: bool, sides: Sequence["_Outputs"], register: Register) -> Data:
    if not (before and after):
        end = "new" if after else "old"
        told = machine_told(pair[1], "added" if after else "removed", method="outputs")
        outcome = sides[1 if after else 0].outcomes.get(pair)
        return told | end_told(end, outcome) if outcome else told
    ends = [side.outcomes[pair] for side in sides]
    changes = [change_told(key, ends[0].facts, ends[1].facts) for key in keys(ends[0].facts, ends[1].facts)]
    old, new = (side.bundles.get(pair) for side in sides)
    edits = [register.take(**edit) for edit in _edits(old, new)] if old and new else []
    causes = [{"edits": [n], "share": None, "percent": None, "alone": None} for n in edits]
    if changes:
        register.found_effective(causes)
    told = machine_told(pair[1], "changed" if changes else "same", edits, "outputs" if changes else "")
    told |= end_told("old", ends[0]) | end_told("new", ends[1])
    return told | {"changes": [c | {"causes": causes} for c in changes]}


class _Outputs:
    """The bundles of one side: read, or made of its texts."""

    def __init__(self, side: Side, pairs: set[Pair], effort: int, faults: list[Fault]) -> None:
        self.side = side
        self.bundles: dict[Pair, Data] = {p: b for p, b in side.bundles.items() if p in pairs}
        self.outcomes: dict[Pair, Outcome] = {}
        for text in side.texts:
            if not self._solve(text, pairs, effort):
                faults.append(at_fault(side, text))
        for pair, bundle in self.bundles.items():
            try:
                self.outcomes[pair] = Outcome(facts(bundle), certified=bool(bundle["work"]["certified"]))
                list(_edits(bundle, bundle))
            except (KeyError, TypeError, ValueError, AttributeError, IndexError):
                # Somebody has changed the file; which of its fields is no matter.
                shown = f"{pair[0]} on {pair[1]}"
                why = "its fields are not those that this version writes"
                faults.append(Fault((diagnose("M710", Span(side.name, 0, 0), path=shown, why=why),)))

    def file(self, profile: str) -> str:
        """Name the file of a profile."""
        files = [b["file"] for (p, _), b in self.bundles.items() if p == profile]
        return next((t.name for t in self.side.texts if profile in t.profiles), files[0] if files else "")

    def _solve(self, text: Text, pairs: set[Pair], effort: int) -> bool:
        """Make bundles of a text; tells whether there was no fault."""
        from ..solving.answering import DEFAULT_EFFORT, Refusal, solve_all

        prepared = text.prepared
        networks = [n for n in prepared.networks if (n.profile.name, n.machine) in pairs]
        if prepared.model is None or any(undefined(prepared, networks)):
            return False
        answered: list[tuple[Problem, Answer]] = []
        for problem, outcome in solve_all(networks, effort or DEFAULT_EFFORT):
            pair = (problem.network.profile.name, problem.network.machine)
            if isinstance(outcome, Refusal):
                self.outcomes[pair] = without_settings(problem.network, outcome)
            else:
                answered.append((problem, outcome))
        confirmed(prepared.model, answered, prepared.faults)
        for bundle in bundles(solutions(prepared.model, answered)):
            self.bundles[bundle["profile"], bundle["machine"]] = bundle
        return not prepared.failed


# ---- what two bundles tell of the edits between them


def _edits(old: Data, new: Data) -> Iterator[Data]:
    """List what differs of what two bundles were made from."""
    yield from _inputs(old, new)
    yield from _keyed("want", f"profile {new['profile']}", _wants(old), _wants(new))
    yield from _keyed("pin", f"profile {new['profile']}", _pins(old), _pins(new))
    merits = [", ".join(m["name"] for m in b["merits"]) for b in (old, new)]
    if merits[0] != merits[1]:
        yield _edit("preference", f"profile {new['profile']}", "", merits[0], merits[1])
    for kind, listing in (("require", _requires), ("let", _lets)):
        yield from _keyed(kind, "law", listing(old), listing(new))
    sources = [{s["file"]: (s["sha256"][:12], "") for s in b["sources"]} for b in (old, new)]
    yield from _keyed("file", "source", sources[0], sources[1])
    versions = [str(b["program"].get("version", "")) for b in (old, new)]
    if versions[0] != versions[1]:
        yield _edit("version", "compiler", "", versions[0], versions[1])
    limits = [f"{b['work']['limit']} boxes" for b in (old, new)]
    if limits[0] != limits[1]:
        yield _edit("effort", "search limit", "", limits[0], limits[1])


def _edit(kind: str, subject: str, name: str, old: str, new: str, places: Sequence[str] = ("", "")) -> Data:
    return {
        "kind": kind,
        "subject": str(subject),
        "name": str(name),
        "old": str(old),
        "new": str(new),
        "old_place": str(places[0]),
        "new_place": str(places[1]),
    }


def _inputs(old: Data, new: Data) -> Iterator[Data]:
    before, after = ({i["name"]: i for i in b["inputs"]} for b in (old, new))
    for name in sorted({*before, *after}):
        one, other = before.get(name), after.get(name)
        known = other or one
        assert known is not None
        subject = f"{known['owner']} {known['entity']}"
        places = [i["place"] if i else "" for i in (one, other)]
        texts = [i["text"] if i else "" for i in (one, other)]
        if texts[0] != texts[1]:
            yield _edit("value", subject, name, texts[0], texts[1], places)
        elif one and other:
            known_by = [f'{i["evidence"]} "{i["evidence_text"]}"' for i in (one, other)]
            if known_by[0] != known_by[1]:
                yield _edit("evidence", subject, name, known_by[0], known_by[1], places)


Listing = dict[str, tuple[str, str]]
"""Texts and places by name."""


def _keyed(kind: str, subject: str, old: Listing, new: Listing) -> Iterator[Data]:
    for name in dict.fromkeys((*old, *new)):
        one, other = old.get(name, ("", "")), new.get(name, ("", ""))
        if one[0] != other[0]:
            yield _edit(kind, subject, name, one[0], other[0], (one[1], other[1]))


def _wants(bundle: Data) -> Listing:
    found: Listing = {}
    for want in bundle["wants"]:
        found[want_name(want["text"])] = want["text"], want["place"]
    return found


def _pins(bundle: Data) -> Listing:
    settings = [(g, n, s) for g, members in bundle["settings"].items() for n, s in members.items()]
    return {
        n if n == g else f"{g}.{n}": (f"{s['text']} {s['unit']}".rstrip(), s["place"])
        for g, n, s in settings
        if s["chosen"] in ("pinned", "given")
    }


def _requires(bundle: Data) -> Listing:
    laws: dict[str, list[Data]] = {}
    for r in bundle["requirements"]:
        if r["law"]:
            laws.setdefault(r["law"], []).append(r)
    return {law: ("; ".join(sorted(r["text"] for r in rs)), rs[0]["place"]) for law, rs in sorted(laws.items())}


def _lets(bundle: Data) -> Listing:
    derived: Iterable[tuple[str, Data]] = sorted(bundle["derived"].items())
    return {f"{d['law']}: {name}": (d["formula"], d["place"]) for name, d in derived}
