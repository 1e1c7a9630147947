"""How one name bears on a setting: the chains of laws that lead from an input, or a setting, to another setting.

Laws are followed as they are written. A name leads up, through what is derived from it, to what must hold or is
preferred; from there it leads down, through what that is derived from, to the settings that are bound; and a setting
leads on to others.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Any

from ..meaning.dimensions import names_in
from ..meaning.model import LawDecl, LetDecl, Model
from ..meaning.near import brief, near
from ..network.applying import applies, values_of
from ..network.graph import Network
from ..syntax import tree
from ..syntax.printing import print_comparison, print_condition, print_expression
from ..text.diagnostic import Diagnostic, diagnose
from ..text.joining import listed
from ..text.source import NOWHERE, Span

Data = dict[str, Any]

MOST_WAYS = 3
"""Direct ways that are told link by link; where none is direct, one is told. Of the others the last knot is named."""
WIDTH = 76
"""Characters of a formula that are shown in a line of text; the data holds all."""
AROUND = 1000
"""Links that a way by switching a law counts as."""


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a way.

    ``step`` is ``switches`` (a law applies or not), ``derives`` (upwards), ``requires``, ``wants``, ``prefers``,
    ``with`` (a derivation followed downwards) or ``moves`` (a setting on the way).
    """

    step: str
    name: str
    text: str
    law: str
    span: Span


@dataclass(frozen=True, slots=True)
class _Knot:
    """What ties settings together: a requirement, a want or a preferred merit."""

    at: int
    link: Link
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """A chain of links to a setting; ``through`` are the other settings that it passes, ``knot`` what it ends with."""

    links: tuple[Link, ...]
    through: tuple[str, ...]
    knot: Link


@dataclass(slots=True)
class Web:
    """The laws that bear on one profile and machine, as seen from one name: those that it may switch on count too.

    ``dormant`` are those of them that do not apply now, so that only the switch leads into them.
    """

    start: str
    free: frozenset[str]
    lets: dict[str, list[LetDecl]] = field(default_factory=dict)
    knots: list[_Knot] = field(default_factory=list)
    switched: list[LawDecl] = field(default_factory=list)
    dormant: set[str] = field(default_factory=set)
    users: dict[str, list[LetDecl]] = field(default_factory=dict)
    tied: dict[str, list[_Knot]] = field(default_factory=dict)
    chains: dict[int, dict[str, tuple[LetDecl, ...]]] = field(default_factory=dict)

    def below(self, knot: _Knot) -> Mapping[str, tuple[LetDecl, ...]]:
        """Give each free setting that a knot binds, with the shortest chain of derivations down to it."""
        found = self.chains.get(knot.at)
        if found is None:
            ways: dict[str, tuple[LetDecl, ...]] = dict.fromkeys(knot.names, ())
            queue = list(ways)
            for name in queue:
                for let in self.lets.get(name, ()):
                    for inner in _used(let.expression):
                        if inner not in ways:
                            ways[inner] = (*ways[name], let)
                            queue.append(inner)
            found = self.chains[knot.at] = {n: chain for n, chain in ways.items() if n in self.free}
        return found


def web(model: Model, network: Network, start: str) -> Web:
    """Gather what the laws say for a profile on a machine, as far as a change of ``start`` may need it."""
    values = values_of(model, network.profile, network.machine)
    found = Web(start, frozenset(s.decl.name for s in network.settings if s.pin is None))
    for law in model.laws.values():
        tests = law.when.tests if law.when else ()
        asking = [t for t in tests if start in _asked(t)]
        if any(applies(t, values) is False for t in tests if t not in asking):
            continue
        if asking:
            found.switched.append(law)
        if any(applies(t, values) is False for t in asking):
            found.dormant.add(law.name)
        for let in law.lets:
            if let.name not in values:
                found.lets.setdefault(let.name, []).append(let)
        for r in law.requires:
            _tie(found, Link("requires", law.name, print_comparison(r.comparison), law.name, r.span), r.comparison)
    for q in network.requirements:
        if q.origin == "want":
            _tie(found, Link("wants", q.name, print_comparison(q.comparison), "", q.span), q.comparison)
    for merit in network.merits:
        decl = model.merits[merit.name]
        link = Link("prefers", merit.name, f"{merit.name} = {print_expression(decl.expression)}", "", decl.span)
        _tie(found, link, decl.expression)
    for lets in found.lets.values():
        # Downwards what applies now is followed first.
        lets.sort(key=lambda let: let.law in found.dormant)
        for let in lets:
            for name in () if let.law in found.dormant else _used(let.expression):
                found.users.setdefault(name, []).append(let)
    for knot in found.knots:
        for name in () if knot.link.law in found.dormant else knot.names:
            found.tied.setdefault(name, []).append(knot)
    return found


def _tie(found: Web, link: Link, said: tree.Comparison | tree.Expression) -> None:
    sides = (said.left, said.right) if isinstance(said, tree.Comparison) else (said,)
    found.knots.append(_Knot(len(found.knots), link, _used(*sides)))


def _used(*expressions: tree.Expression) -> tuple[str, ...]:
    return tuple(dict.fromkeys(r.name for e in expressions for r in names_in(e)))


def _asked(test: tree.Test) -> tuple[str, ...]:
    return _used(test.left, test.right) if isinstance(test, tree.Comparison) else (test.quantity.text,)


def reached(web: Web) -> frozenset[str]:
    """Give the settings that a change of the start may change: through any law, and through other settings.

    The others stay as they are, as long as there still are settings that hold for all input values.
    """
    return frozenset(s for knot in _knots(web, "") for s in web.below(web.knots[knot]) if s != web.start)


def ways(web: Web, setting: str) -> list[Way]:
    """List the ways to a free setting, one for each requirement or merit that binds it: direct first, then short."""
    found = []
    for at, (links, through) in _knots(web, setting).items():
        knot = web.knots[at]
        chain = web.below(knot).get(setting)
        if chain is not None:
            down = tuple(_link("with", let) for let in chain)
            found.append(Way((*links, knot.link, *down), through, knot.link))
    # Sorting keeps the order of the text among equals.
    return sorted(found, key=lambda way: (len(way.through), len(way.links)))


def _knots(web: Web, target: str) -> dict[int, tuple[tuple[Link, ...], tuple[str, ...]]]:
    """Give every knot that is reached, with the links before it and the settings passed, ``target`` never."""
    knots: dict[int, tuple[tuple[Link, ...], tuple[str, ...]]] = {}
    names: set[str] = set()
    waiting: list[tuple[int, int, int, str, int, tuple[Link, ...], tuple[str, ...]]] = []
    count = 0

    def go(name: str, knot: int, links: tuple[Link, ...], through: tuple[str, ...]) -> None:
        nonlocal count
        count += 1
        # What the formulas of laws that apply say tells more than that others might apply.
        detour = AROUND * sum(k.step == "switches" for k in links)
        heappush(waiting, (len(through), len(links) + detour, count, name, knot, links, through))

    go(web.start, -1, (), ())
    for law in web.switched:
        when = print_condition(law.when) if law.when else ""
        gate = Link(
            "switches", law.name, f"{law.name} applies when {when}", law.name, law.when.span if law.when else law.span
        )
        for let in law.lets:
            if let in web.lets.get(let.name, ()):
                go(let.name, -1, (gate, _link("derives", let)), ())
        for knot in web.knots:
            if knot.link.step == "requires" and knot.link.law == law.name:
                go("", knot.at, (gate,), ())
    while waiting:
        _, _, _, name, at, links, through = heappop(waiting)
        if at >= 0:
            if at in knots:
                continue
            knots[at] = links, through
            knot = web.knots[at]
            for other, chain in web.below(knot).items():
                if other not in names and other != target:
                    down = tuple(_link("with", let) for let in chain)
                    moved = Link("moves", other, other, "", knot.link.span)
                    go(other, -1, (*links, knot.link, *down, moved), (*through, other))
            continue
        if name in names:
            continue
        names.add(name)
        for let in web.users.get(name, ()):
            if let.name not in names:
                go(let.name, -1, (*links, _link("derives", let)), through)
        for knot in web.tied.get(name, ()):
            if knot.at not in knots:
                go("", knot.at, links, through)
    return knots


def _link(step: str, let: LetDecl) -> Link:
    return Link(step, let.name, f"{let.name} = {print_expression(let.expression)}", let.law, let.span)


# ---- data and text


def startable(model: Model, start: str, setting: str, faults: list[Diagnostic]) -> None:
    """Report a name from which nothing can lead to a setting: an unknown one, a grade, a merit, or the setting."""
    known = [*model.quantities, *model.settings, *model.lets]
    facts: dict[str, Any] = {"name": brief(start)}
    if start == setting:
        advice = "name an input, a derived quantity or another setting"
        faults.append(diagnose("M431", NOWHERE, what="the setting itself", advice=advice, **facts))
    elif start in model.grades:
        advice = f"name what it is read from: {model.grades[start].quantity}"
        faults.append(diagnose("M431", NOWHERE, what="a grade", advice=advice, **facts))
    elif start in model.merits:
        used = listed(_used(model.merits[start].expression))
        faults.append(diagnose("M431", NOWHERE, what="a merit", advice=f"name what it is made of: {used}", **facts))
    elif start not in known:
        advice = near(start, known, "name a quantity, a setting, or what a let derives")
        faults.append(diagnose("M214", NOWHERE, near=advice, **facts))


def link_up(model: Model, networks: Iterable[Network], setting: str, start: str) -> list[Data]:
    """Say for each network how ``start`` bears on ``setting``, as data."""
    return [_linked(model, n, setting, start) for n in networks]


def _linked(model: Model, network: Network, setting: str, start: str) -> Data:
    def place(span: Span) -> str:
        return f"{span.file}:{model.sources[span.file].line_column(span.start)[0]}"

    pin = network.profile.pins.get(setting)
    found = [] if pin is not None else ways(web(model, network, start), setting)
    direct = [way for way in found if not way.through]
    shown = direct[:MOST_WAYS] or found[:1]
    told = [
        {
            "ends_with": way.knot.name,
            "through": list(way.through),
            "links": [
                {"step": k.step, "name": k.name, "text": k.text, "law": k.law, "place": place(k.span)}
                for k in way.links
            ],
        }
        for way in shown
    ]
    others = [
        {"ends_with": way.knot.name, "text": way.knot.text, "through": list(way.through), "place": place(way.knot.span)}
        for way in found[len(shown) :]
    ]
    return {
        "profile": network.profile.name,
        "material": network.material,
        "machine": network.machine,
        "leads": bool(found),
        "fixed": "" if pin is None else place(pin.span),
        "because": pin.reason if pin else "",
        "ways": told,
        "other_ways": others,
    }


def linked(found: list[Data], setting: str, start: str) -> str:
    """Tell how a name bears on a setting; machines of which the same is told are told together."""
    told: dict[str, list[Data]] = {}
    for data in found:
        key = f"{data['profile']}: {data['material']}\n{_body(data, setting, start)}"
        told.setdefault(key, []).append(data)
    parts = []
    for key, machines in told.items():
        of, _, body = key.partition("\n")
        parts.append(f"{setting} from {start}   ({of} on {', '.join(m['machine'] for m in machines)})\n\n{body}")
    return "\n".join(parts)


def _body(data: Data, setting: str, start: str) -> str:
    if data["fixed"]:
        because = f" because {data['because']}" if data["because"] else ""
        return f"  the profile fixes {setting}{because} ({data['fixed']}):\n  changing {start} does not change it\n"
    if not data["leads"]:
        return f"  nothing leads there: changing {start} does not change {setting} through any law\n"
    lines = []
    for way in data["ways"]:
        through = f", through {', '.join(way['through'])}" if way["through"] else ""
        lines += [f"  by {way['ends_with']}{through}", f"    {start}"]
        for k in way["links"]:
            if k["step"] == "moves":
                lines.append(f"    moves     {k['name']}")
            else:
                law = f"{k['law']}, " if k["law"] else ""
                lines.append(f"    {k['step']:<9} {_cut(k['text'])}  ({law}{k['place']})")
        lines += [f"    moves     {setting}", ""]
    others = data["other_ways"]
    if others:
        names = list(dict.fromkeys(w["ends_with"] for w in others))
        lines += [f"  and {len(others)} more {'way' if len(others) == 1 else 'ways'}, by {', '.join(names)}", ""]
    return "\n".join(lines[:-1]) + "\n"


def _cut(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 4]} ..."
