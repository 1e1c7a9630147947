"""Where nothing holds: the lines that cannot be true together, each with its place, by how much, and what would do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from ..meaning.dimensions import names_in
from ..meaning.display import with_unit
from ..meaning.model import Model
from ..network.graph import Network
from ..solving.answering import Margin, Refusal
from ..solving.conflict import Conflict, Member, Sets, conflicts, shared
from ..solving.curing import Cure, better_known, cures
from ..solving.problem import TOLERANCE
from ..solving.trying import Case
from ..text.diagnostic import Diagnostic, Related, Shown, diagnose
from ..text.joining import listed
from ..text.source import Span
from .cure_fixes import fixes
from .cures import cure_lines, sentences, some
from .formulas import requirement_text
from .sides import spare, told, unit_of_sides
from .valued import Point

MOST_VALUES = 3
"""Machines whose values are told of one line."""

MOST_ALSO = 32
"""Other machines on which it is tried whether a cure would do as well."""

MOST_LOOKED_INTO = 8
"""Different refusals of a profile that are looked into for further conflicts and cures, and machines of one refusal
whose own lines are; a fleet has more."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A network for which nothing holds, and its conflicts."""

    network: Network
    conflicts: Sequence[Conflict]
    sets: Sets


def explain_refusals(
    model: Model, refused: Sequence[tuple[Network, Refusal]], held: Sequence[tuple[str, str]], effort: int
) -> list[Diagnostic]:
    """Make the diagnostics of refusals: one for all machines of a profile that are refused for the same reasons.

    ``held`` are the profiles and machines for which all holds. Cures are tried on some of many machines.
    """
    faults = []
    profiles: dict[str, list[list[Refused]]] = {}
    for network, refusal in refused:
        profile = network.profile.name
        if refusal.out_of_effort:
            facts: dict[str, Any] = {"profile": profile, "machine": network.machine}
            faults.append(diagnose("M505", _place(network), limit=f"{effort:,}", more=10 * effort, **facts))
        else:
            _group(profiles.setdefault(profile, []), network, refusal, effort)
    for name, groups in profiles.items():
        others = tuple(machine for profile, machine in held if profile == name)
        for at, group in enumerate(groups):
            found = None
            if at < MOST_LOOKED_INTO:
                few, rest = group[:MOST_LOOKED_INTO], group[MOST_LOOKED_INTO:]
                also = (*(r.network.machine for r in rest), *others)[:MOST_ALSO]
                case = Case(model, group[0].network.profile, tuple(r.network.machine for r in few), also)
                found = cures(case, [r.network for r in few], [r.conflicts for r in few], effort)
            faults.append(_explain(model, group, found))
    return faults


def _group(groups: list[list[Refused]], network: Network, refusal: Refusal, effort: int) -> None:
    """Put a refusal to those of other machines that have the same conflicts, or make it the first of its own."""
    first = Conflict(refusal.conflict, refusal.pins, (), refusal.margins, refusal.point)
    alike = _identity(network, first)
    for group in groups:
        if _identity(group[0].network, group[0].conflicts[0]) == alike:
            sets = [_members_of(network, _identity(group[0].network, c)) for c in group[0].conflicts]
            cuts = [_members_of(network, {_line(group[0].network, m) for m in c}) for c in group[0].sets.cuts]
            if None in sets or None in cuts:
                continue
            whole = Sets((), tuple(c for c in cuts if c is not None), group[0].sets.complete)
            found = shared(network, [s for s in sets if s is not None], whole, effort)
            if found is not None:
                group.append(Refused(network, found, whole))
                return
    if len(groups) < MOST_LOOKED_INTO:
        several, whole = conflicts(network, refusal, effort)
        groups.append([Refused(network, several, whole)])
    else:
        groups.append([Refused(network, [first], Sets((), (), False))])


def explain_stated_only(model: Model, networks: Sequence[Network], effort: int) -> list[Diagnostic]:
    """Say which inputs would have to be known better, and how well, for something to hold for all values."""
    faults = []
    for at, network in enumerate(networks):
        if at < MOST_LOOKED_INTO:
            lines = cure_lines(better_known(model, network, effort), False)
        else:
            lines = [f"this was looked into for {networks[0].machine} and some others, not for this machine"]
        if not lines:
            assumed = [v.given.name for v in network.inputs if v.low < v.high and v.given.evidence.kind == "assumed"]
            first = f"; measure the assumed ones first: {', '.join(sorted(assumed))}" if assumed else ""
            lines = [f"several inputs would have to be known better{first}"]
        faults.append(diagnose("M504", network.profile.span, machine=network.machine, advice="\n".join(lines)))
    return faults


def _explain(model: Model, group: Sequence[Refused], cured: Sequence[Cure] | None) -> Diagnostic:
    network, found = group[0].network, group[0].conflicts
    numbers: dict[_Line, int] = {}
    related, numbered = [], []
    beneath = _Beneath(model, network)
    for at, conflict in enumerate(found):
        own = []
        for member in _ordered(conflict):
            line = _line(network, member)
            if line not in numbers:
                numbers[line] = len(numbers) + 1
                role = _over_machines([(r.network, r.conflicts[at]) for r in group], line)
                below = f"; shown below for {network.machine}" if member.kind == "requirement" and group[1:] else ""
                related.append((line[0], role + below))
                beneath.add(conflict, member)
            own.append(numbers[line])
        numbered.append(own)
    if len(found) > 1:
        related = [(span, f"line {k}: {role}") for k, (span, role) in enumerate(related, 1)]
    lines = _together(numbered, len(related))
    if not all(r.sets.complete for r in group):
        lines.append("there may be more such conflicts")
    if cured is None:
        lines.append("cures were looked for on other machines only")
    elif not cured:
        lines.append("no single change and no pair of changes was found that would do")
    ways = sentences(cured or (), len(group) > 1)
    lines += [way.text for way in ways]
    facts: dict[str, Any] = {
        "profile": network.profile.name,
        "machine": some([r.network.machine for r in group]),
        "advice": "\n".join(lines),
    }
    places = [
        *(Related(*r) for r in related),
        *(Related(span, f"{n} comes from this") for span, n in beneath.steps.items()),
    ]
    mended = fixes(model, network.profile, ways)
    return diagnose("M503", _place(network), related=places, values=beneath.values.values(), fixes=mended, **facts)


class _Beneath:
    """What stands beneath the lines of conflicts where each comes closest, on the first machine that is told.

    ``steps`` are the places of what the names of a missed line come from.
    """

    def __init__(self, model: Model, network: Network) -> None:
        self._model = model
        self._network = network
        self.values: dict[Span, Shown] = {}
        self.steps: dict[Span, str] = {}

    def add(self, conflict: Conflict, member: Member) -> None:
        """Take in a line of a conflict; the values of a place are those of the first conflict that shows it."""
        margin = next((m for m in conflict.margins if member == Member("requirement", m.requirement)), None)
        if margin is None:
            return
        point = Point(self._model, self._network, conflict.point, margin.inputs)
        requirement = self._network.requirements[member.index]
        found = point.requirement(requirement)
        sides = (requirement.comparison.left, requirement.comparison.right) if _missed(margin) else ()
        for name in dict.fromkeys(r.name for side in sides for r in names_in(side)):
            decl = self._network.lets.get(name)
            if decl is not None and (place := decl.span.to(decl.expression.span)) not in self.steps:
                self.steps[place] = name
                found += point.let(name)
        for value in found:
            self.values.setdefault(value.span, value.shown)


def _together(conflicts: Sequence[Sequence[int]], count: int) -> list[str]:
    """Say which lines cannot hold together."""
    if len(conflicts) == 1:
        return ["this line cannot hold" if count == 1 else f"these {count} lines cannot hold together"]
    lines = []
    for numbers in conflicts:
        names = listed([str(k) for k in sorted(numbers)], "and")
        lines.append(f"line {names} cannot hold" if len(numbers) == 1 else f"lines {names} cannot hold together")
    return lines


def _over_machines(parts: Sequence[tuple[Network, Conflict]], line: "_Line") -> str:
    """Say a line once where it reads the same on all machines, else with the values of some of them."""
    roles = []
    for network, conflict in parts:
        member = next(m for m in _ordered(conflict) if _line(network, m) == line)
        roles.append((network.machine, *_role(network, conflict, member)))
    _, said, value = roles[0]
    if len({v for _, _, v in roles}) == 1:
        return f"{said}: {value}" if value else said
    return f"{said}: " + "; ".join(f"{v} on {machine}" for machine, _, v in roles[:MOST_VALUES])


def _role(network: Network, conflict: Conflict, member: Member) -> tuple[str, str]:
    """Say a line of a conflict, and its values where the conflict comes closest."""
    if member.kind == "pin":
        return f"{network.settings[member.index].decl.name} is fixed here", ""
    if member.kind == "input":
        variable = network.inputs[member.index]
        given, at = variable.given, _tightest(conflict, member.index, variable.stated)
        unit = given.amount.unit if given.amount else None
        where = f"{with_unit(at, unit)} is the hardest" if unit and at is not None else ""
        return f"{given.name} is known only as {given.text}", where
    margin = next(m for m in conflict.margins if m.requirement == member.index)
    requirement = network.requirements[member.index]
    said = requirement.otherwise or requirement_text(requirement)
    holds = not _missed(margin)
    relation, unit = requirement.comparison.relation, unit_of_sides(network, requirement)
    compared = told(relation, margin.left, margin.right, unit, holds)
    if holds:
        return said, f"{compared} holds"
    return said, f"{compared}, missed by {spare(-margin.share, margin, requirement)}"


def _missed(margin: Margin) -> bool:
    """Tell whether a requirement does not hold, by more than a rounding error."""
    return margin.share < -2 * TOLERANCE


def _tightest(conflict: Conflict, index: int, stated: float) -> float | None:
    """Give an input's value where the requirements of a conflict have least room, those that are missed first."""
    margins: list[Margin] = sorted(conflict.margins, key=lambda m: m.share)
    values = [float(m.inputs[index]) for m in margins]
    return next((v for v in values if v != stated), None)


def _ordered(conflict: Conflict) -> list[Member]:
    requirements = [Member("requirement", m.requirement) for m in conflict.margins]
    pins = [Member("pin", i) for i in conflict.pins]
    return [*requirements, *pins, *(Member("input", i) for i in conflict.inputs)]


# ---- lines of the text

_Line = tuple[Span, str]
"""The place and the name of a member: by these, lines are the same on several machines."""


def _line(network: Network, member: Member) -> _Line:
    if member.kind == "pin":
        pin = network.settings[member.index].pin
        assert pin is not None
        return pin.span, pin.name
    if member.kind == "input":
        given = network.inputs[member.index].given
        return given.span, given.name
    requirement = network.requirements[member.index]
    return requirement.span, requirement.name


def _identity(network: Network, conflict: Conflict) -> frozenset[_Line]:
    return frozenset(_line(network, m) for m in conflict.members)


def _members_of(network: Network, lines: Iterable[_Line]) -> frozenset[Member] | None:
    """Find the members of a network that lines are; None where one is not there."""
    members = [Member("requirement", r) for r in range(len(network.requirements))]
    members += [Member("pin", i) for i, s in enumerate(network.settings) if s.pin is not None]
    members += [Member("input", i) for i, v in enumerate(network.inputs) if v.low < v.high]
    known = {_line(network, m): m for m in members}
    found = [known.get(line) for line in lines]
    return None if None in found else frozenset(m for m in found if m is not None)


def _place(network: Network) -> Span:
    """Give the place where a profile names its machine."""
    return next((m.span for m in network.profile.machines if m.text == network.machine), network.profile.span)
