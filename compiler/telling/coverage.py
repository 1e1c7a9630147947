"""What the library covers, as data made from its text: each declaration, what is known of it, and where it stands."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ..meaning.display import shown, with_unit
from ..meaning.loading import LIBRARY
from ..meaning.model import EntityDecl, GivenValue, GradeDecl, LawDecl, Model, QuantityDecl, SettingDecl
from ..meaning.near import brief, near
from ..meaning.units import describe, from_base
from ..syntax.printing import print_comparison, print_condition, print_expression
from ..syntax.tree import EVIDENCE
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Span

Data = dict[str, Any]

KINDS = ("quantities", "settings", "laws", "grades", "merits", "materials", "machines")
"""The kinds of entries, in the order in which they are told."""
STATUS = ("textbook", "published", "practice", "assumed")


def coverage(model: Model) -> dict[str, list[Data]]:
    """Give the entries of every kind, in the order of the text; materials and machines after what they inherit from."""

    def place(span: Span) -> str:
        return f"{span.file}:{model.sources[span.file].line_column(span.start)[0]}"

    return {
        "quantities": [_quantity(q, model, place) for q in model.quantities.values()],
        "settings": [_setting(s, place) for s in model.settings.values()],
        "laws": [_law(law, model, place) for law in model.laws.values()],
        "grades": [_grade(g, place) for g in model.grades.values()],
        "merits": [
            {"name": m.name, "formula": print_expression(m.expression), "about": m.doc, "place": place(m.span)}
            for m in model.merits.values()
        ],
        "materials": [_entity(e, place) for e in _families(model.materials)],
        "machines": [_entity(e, place) for e in _families(model.machines)],
    }


def select(
    page: Mapping[str, list[Data]], asked: Sequence[str], faults: list[Diagnostic]
) -> tuple[dict[str, list[Data]], dict[str, list[Data]]]:
    """Give what is asked for: entries of whole kinds, and entries by name; report what is neither.

    The name of a derived quantity stands for the laws that derive it.
    """
    kinds: dict[str, list[Data]] = {}
    named: dict[str, list[Data]] = {}
    for word in asked:
        if word in page:
            kinds[word] = page[word]
            continue
        found = {kind: [e for e in page[kind] if e["name"] == word] for kind in page}
        if not any(found.values()):
            found["laws"] = [e for e in page["laws"] if word in [d["name"] for d in e["derives"]]]
        if not any(found.values()):
            known = [*page, *(e["name"] for kind in page for e in page[kind]), *_derived(page)]
            advice = near(word, known, f"ask for {', '.join(page)}, or for an entry by its name")
            faults.append(diagnose("M430", NOWHERE, name=brief(word), near=advice))
        for kind, entries in found.items():
            of_kind = named.setdefault(kind, [])
            of_kind += [e for e in entries if e not in of_kind]
    return {k: kinds[k] for k in KINDS if k in kinds}, {k: named[k] for k in KINDS if named.get(k)}


def _derived(page: Mapping[str, list[Data]]) -> list[str]:
    return [d["name"] for law in page["laws"] for d in law["derives"]]


def counted(entries: Sequence[Data], key: str, order: Sequence[str] = ()) -> dict[str, int]:
    """Count entries by what they hold under a key, in the order given, else in that of the entries."""
    counts = Counter(e[key] for e in entries)
    return {k: counts[k] for k in dict.fromkeys([*order, *counts]) if counts[k]}


def own(entries: Sequence[Data]) -> int:
    """Count the entries that are a shop's own."""
    return sum(not e["place"].startswith(LIBRARY) for e in entries)


Place = Callable[[Span], str]


def _quantity(q: QuantityDecl, model: Model, place: Place) -> Data:
    return {
        "name": q.name,
        "owner": q.owner,
        "dimension": describe(q.dimension) if q.dimension is not None else "",
        "words": list(q.words),
        "ranges": [
            {"low": from_base(low, unit), "high": from_base(high, unit), "unit": unit.symbol}
            for low, high, unit in q.ranges
        ],
        "believable": ", ".join(
            f"{shown(low, unit, 6)} .. {shown(high, unit, 6)} {unit.symbol}".rstrip() for low, high, unit in q.ranges
        ),
        "about": q.doc,
        "derived_by": [let.law for let in model.lets.get(q.name, ())],
        "place": place(q.span),
    }


def _setting(s: SettingDecl, place: Place) -> Data:
    group, _, _ = s.name.rpartition(".")
    return {
        "name": s.name,
        "group": group,
        "dimension": describe(s.dimension),
        "low": float(s.number(0)),
        "high": float(s.number(s.last)),
        "step": float(s.step),
        "unit": s.unit.symbol,
        "lattice": f"{s.text(0)} .. {s.text(s.last)} {s.unit.symbol}".rstrip()
        + f" step {float(s.step):g} {'K' if s.unit.symbol == 'degC' else s.unit.symbol}".rstrip(),
        "given": s.given,
        "rather": s.rather,
        "about": s.doc,
        "place": place(s.span),
    }


def _law(law: LawDecl, model: Model, place: Place) -> Data:
    return {
        "name": law.name,
        "about": law.about,
        "status": law.status,
        "source": law.source,
        "when": print_condition(law.when) if law.when else "",
        "derives": [
            {
                "name": let.name,
                "dimension": describe(model.dimensions[let.name]) if let.name in model.dimensions else "",
                "formula": print_expression(let.expression),
                "about": let.doc,
                "place": place(let.span),
            }
            for let in law.lets
        ],
        "requires": [
            {
                "text": print_comparison(r.comparison),
                "otherwise": r.otherwise.text if r.otherwise else "",
                "place": place(r.span),
            }
            for r in law.requires
        ],
        "valid": [
            {
                "text": print_comparison(v.comparison),
                "otherwise": v.otherwise.text if v.otherwise else "",
                "place": place(v.span),
            }
            for v in law.valids
        ],
        "notices": [
            {
                "kind": n.kind,
                "text": n.text.text,
                "where": print_condition(n.where) if n.where else "",
                "place": place(n.span),
            }
            for n in law.notices
        ],
        "checks": [{"text": c.text, "by": c.by, "place": place(c.span)} for c in law.checks],
        "unchecked": law.unchecked,
        "place": place(law.span),
    }


def _grade(g: GradeDecl, place: Place) -> Data:
    edge, rest = ("from", "below") if g.more_is_better else ("up to", "above")
    return {
        "name": g.name,
        "of": g.quantity,
        "about": g.doc,
        "bands": [
            {
                "name": b.name,
                "limit": rest if b.limit is None or b.unit is None else f"{edge} {with_unit(b.limit, b.unit, 6)}",
                "reason": b.doc,
                "place": place(b.span),
            }
            for b in g.bands
        ],
        "place": place(g.span),
    }


def _families(entities: Mapping[str, EntityDecl]) -> list[EntityDecl]:
    """List entities so that each follows what it inherits from, as a tree is read."""
    children: dict[str, list[EntityDecl]] = {}
    for e in entities.values():
        children.setdefault(e.line[1] if len(e.line) > 1 else "", []).append(e)
    found: list[EntityDecl] = []
    waiting = list(reversed(children.get("", [])))
    while waiting:
        found.append(waiting.pop())
        waiting += reversed(children.get(found[-1].name, []))
    return found


def _entity(e: EntityDecl, place: Place) -> Data:
    mine = [v for v in e.values.values() if v.entity == e.name]
    counts = Counter(v.evidence.kind for v in mine if v.evidence.stated)
    return {
        "name": e.name,
        "line": list(e.line[1:]),
        "own_values": {k: counts[k] for k in EVIDENCE},
        "without_evidence": [v.name for v in mine if not v.evidence.stated],
        "assumed": [v.name for v in mine if v.evidence.kind == "assumed"],
        "sources": list(dict.fromkeys(v.evidence.text for v in mine if v.evidence.kind == "published")),
        "values": [_value(v, place) for v in e.values.values()],
        "place": place(e.span),
    }


def _value(v: GivenValue, place: Place) -> Data:
    return {
        "name": v.name,
        "text": v.text,
        "evidence": v.evidence.kind,
        "evidence_given": v.evidence.stated,
        "evidence_text": v.evidence.text,
        "of": v.entity,
        "replaces": v.replaced.entity if v.replaced else "",
        "place": place(v.span),
    }
