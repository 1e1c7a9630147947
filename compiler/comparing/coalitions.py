"""The text with some of its edits made, checked, lowered and solved; what is alike is done once.

Texts that differ in materials, machines and profiles alone are lowered within one model, so that their networks share
their structure and are solved in one batch. Networks that ask the same are solved once, whatever text they come from.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from ..compiling import confirmed
from ..meaning.checking import check, check_entities
from ..meaning.loading import Loaded
from ..meaning.model import EntityDecl, Model, ProfileDecl, SettingDecl
from ..network.graph import Network
from ..network.lowering import lower, lower_all
from ..syntax import tree
from ..text.diagnostic import Diagnostic
from .edits import Change
from .facts import NOTHING, UNDECIDED, Facts, facts, refused

if TYPE_CHECKING:
    from ..solving.answering import Answer, Refusal
    from ..solving.problem import Problem

Made = frozenset[int]
"""The edits that are made, by their numbers."""

AT_A_TIME = 1_024
"""Networks whose answers are held at once, before their facts are all that is kept of them."""

Asked = tuple[Made, str, str]
"""A text, a profile and a machine."""


@dataclass(frozen=True, slots=True)
class Lowered:
    """A network, the model it is of, and what it asks: two of the same print have the same answer."""

    model: Model
    network: Network
    print: object


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a network: its facts, the lines in conflict where nothing holds, and whether it is certified."""

    facts: Facts
    conflict: tuple[str, ...] = ()
    certified: bool = True


@dataclass(slots=True)
class Coalitions:
    """All texts between two sides, as far as they were asked for. ``faults`` are those of the independent check."""

    change: Change
    sources: Mapping[str, Any]
    effort: int
    faults: list[Diagnostic] = field(default_factory=list)
    _models: dict[Made, Model | None] = field(default_factory=dict)
    _lowered: dict[Asked, Lowered | None] = field(default_factory=dict)
    _outcomes: dict[object, Outcome | None] = field(default_factory=dict)
    _bases: dict[Made, Model | None] = field(default_factory=dict)
    _structures: dict[int, tuple[object, int]] = field(default_factory=dict)
    _numbers: dict[object, int] = field(default_factory=dict)

    # ---- texts

    def model(self, made: Made) -> Model | None:
        """Check the text with these edits made; None where it has errors."""
        if made not in self._models:
            statements = self.change.statements(made)
            declared = self._declared(self._laws(made))
            model, faults = check_entities(declared, statements) if declared is not None else (None, [])
            self._models[made] = None if any(f.is_error for f in faults) else model
        return self._models[made]

    def _laws(self, made: Made) -> Made:
        return frozenset(i for i in made if not self.change.edits[i].numbers)

    def _declared(self, laws: Made) -> Model | None:
        """Check the laws and other declarations with some of their edits, without any entity; None where at fault."""
        if laws not in self._bases:
            statements = tuple(s for s in self.change.statements(laws) if not isinstance(s, tree.Entity))
            model, faults = check(Loaded("", dict(self.sources), {"": tree.File("", statements)}))
            self._bases[laws] = None if any(f.is_error for f in faults) else model
        return self._bases[laws]

    # ---- networks

    def lower(self, asked: Iterable[Asked]) -> None:
        """Lower what was not lowered yet, those texts together that differ in entities alone."""
        groups: dict[Made, list[Asked]] = {}
        for one in dict.fromkeys(asked):
            if one not in self._lowered:
                groups.setdefault(self._laws(one[0]), []).append(one)
        for laws, members in groups.items():
            self._lower(laws, members)

    def _lower(self, laws: Made, members: list[Asked]) -> None:
        profiles: list[ProfileDecl] = []
        machines: dict[str, EntityDecl] = {}
        wanted: list[tuple[Asked, ProfileDecl, str]] = []
        numbers: dict[tuple[Made, str], int] = {}
        base = self._declared(laws)
        for one in members:
            made, name, machine = one
            model = self.model(made)
            profile = model.profiles.get(name) if model is not None else None
            self._lowered[one] = None
            if model is None or profile is None or machine not in {m.text for m in profile.machines}:
                continue
            alike = next((p for p in profiles if p == profile), None)
            profiles += [] if alike else [profile]
            profile = alike or profile
            # What the profile's material says is told of the machine: machines of one model may share a structure.
            number = numbers.setdefault((made, profile.material), len(numbers))
            alias = f"{machine}@{number}"
            if alias not in machines:
                line = model.machines[machine]
                values = {**model.materials[profile.material].values, **line.values}
                machines[alias] = EntityDecl("machine", alias, line.line, values, line.span)
            wanted.append((one, profile, alias))
        if base is None:
            return
        materials = {p.material: EntityDecl("material", p.material, (p.material,), {}, p.span) for p in profiles}
        whole = replace(base, materials=materials, machines=machines, profiles={p.name: p for p in profiles})
        for (one, _, _), network in zip(wanted, _networks(whole, [(p, m) for _, p, m in wanted]), strict=True):
            if network is not None:
                self._lowered[one] = Lowered(whole, network, self._print(whole, network))

    def lowered(self, asked: Asked) -> Lowered | None:
        """Give a network; None where the text is not sound, or does not have the profile on the machine."""
        self.lower([asked])
        return self._lowered[asked]

    def asks(self, asked: Asked) -> object:
        """Tell what a network asks; None where there is none."""
        found = self.lowered(asked)
        return found.print if found else None

    def _print(self, model: Model, network: Network) -> object:
        """Tell what a network asks apart from any other: numbers and formulas, but no places, names and sources."""
        known = self._structures.get(id(network.nodes))
        if known is None:
            print_ = self._numbers.setdefault(_structure(model, network), len(self._numbers))
            # The nodes are kept as well, so that no others come by their identity.
            known = self._structures[id(network.nodes)] = (network.nodes, print_)
        settings = tuple((_lattice(v.decl), v.first, v.last, v.pin is None) for v in network.settings)
        inputs = tuple((v.given.name, v.stated, v.low, v.high) for v in network.inputs)
        return known[1], network.profile.share, settings, inputs

    # ---- answers

    def solve(self, asked: Iterable[Asked]) -> None:
        """Solve what was not solved yet."""
        from ..solving.answering import problems
        from ..solving.definedness import undefined_all

        chosen: dict[object, Lowered] = {}
        asked = list(asked)
        self.lower(asked)
        for one in asked:
            found = self._lowered[one]
            if found is not None and found.print not in self._outcomes:
                chosen.setdefault(found.print, found)
        new = list(chosen.values())
        flawed = undefined_all(problems([n.network for n in new]), lambda _: "")
        for lowered, faults in zip(new, flawed, strict=True):
            if faults:
                self._outcomes[lowered.print] = None
        sound = [n for n, faults in zip(new, flawed, strict=True) if not faults]
        for at in range(0, len(sound), AT_A_TIME):
            self._solve(sound[at : at + AT_A_TIME])

    def _solve(self, sound: list[Lowered]) -> None:
        from ..solving.answering import DEFAULT_EFFORT, Refusal, solve_all

        answered: list[tuple[Lowered, Problem, Answer]] = []
        outcomes = solve_all([n.network for n in sound], self.effort or DEFAULT_EFFORT)
        for lowered, (problem, outcome) in zip(sound, outcomes, strict=True):
            if isinstance(outcome, Refusal):
                self._outcomes[lowered.print] = without_settings(lowered.network, outcome)
            else:
                answered.append((lowered, problem, outcome))
        self._tell(answered)

    def _tell(self, answered: list[tuple[Lowered, "Problem", "Answer"]]) -> None:
        """Look at answers with the independent check, and list their facts."""
        from ..telling.bundle import bundles
        from ..telling.solution import solutions

        groups: dict[int, list[tuple[Lowered, Problem, Answer]]] = {}
        for one in answered:
            groups.setdefault(id(one[0].model), []).append(one)
        for members in groups.values():
            model = members[0][0].model
            solved = [(problem, answer) for _, problem, answer in members]
            confirmed(model, solved, self.faults)
            for (lowered, _, answer), bundle in zip(members, bundles(solutions(model, solved)), strict=True):
                self._outcomes[lowered.print] = Outcome(facts(bundle), certified=answer.certified)

    def outcome(self, asked: Asked) -> Outcome | None:
        """Give what came of a text on a machine; None where it has no network, or one that is not defined."""
        found = self._lowered.get(asked)
        return self._outcomes.get(found.print) if found else None


def without_settings(network: Network, refusal: "Refusal") -> Outcome:
    """Tell of a network that was refused: that nothing holds and what cannot hold together, or that it is undecided."""
    from ..telling.formulas import titles

    names = titles(network)
    lines = tuple(names[r] for r in refusal.conflict)
    return Outcome(refused(UNDECIDED if refusal.out_of_effort else NOTHING, lines), lines)


def _networks(model: Model, asked: list[tuple[ProfileDecl, str]]) -> list[Network | None]:
    """Lower all; where anything is at fault, each on its own, to tell which."""
    faults: list[Diagnostic] = []
    found = lower_all(model, asked, faults)
    if not any(f.is_error for f in faults):
        return found
    return [lower(model, profile, machine, []) for profile, machine in asked]


def _lattice(decl: SettingDecl) -> object:
    return decl.name, decl.unit.symbol, decl.low, decl.step, decl.last, decl.rather


def _structure(model: Model, network: Network) -> object:
    """Tell what a network says but for its numbers, as plain tuples."""
    requirements = tuple((r.name, r.origin, r.left, r.right, r.slack, r.soft) for r in network.requirements)
    grades = tuple(
        (name, node, model.grades[name].more_is_better, *((b.name, b.limit) for b in model.grades[name].bands))
        for name, node in sorted(network.grades.items())
    )
    return (
        tuple((n.operator, n.arguments, n.value, n.name, n.dimension) for n in network.nodes),
        requirements,
        tuple((m.name, m.node) for m in network.merits),
        tuple((n.kind, n.text, n.law, n.tests) for n in network.notices),
        tuple((v.law, v.text, v.left, v.right) for v in network.validities),
        grades,
    )
