"""Putting a profile on a machine together: its laws, names and values become one constraint network."""

from collections.abc import Iterator, Sequence
from typing import Any

from ..meaning.dimensions import names_in
from ..meaning.laws import circle
from ..meaning.loading import LIBRARY
from ..meaning.model import (
    GivenValue,
    GradeDecl,
    LawDecl,
    LetDecl,
    Model,
    ProfileDecl,
    QuantityDecl,
    SettingDecl,
    WantDecl,
)
from ..meaning.near import near
from ..meaning.pinning import index_on_lattice
from ..meaning.units import NUMBER, Dimension, from_base
from ..meaning.valuing import example_unit
from ..meaning.wanting import comparison
from ..syntax import tree
from ..text.diagnostic import Diagnostic, Fix, Related, diagnose
from ..text.fixing import laid_fix, put_in
from ..text.joining import listed
from ..text.source import Span
from .applying import applies, values_of
from .building import Graph, Lowering
from .graph import InputVariable, Merit, Network, Notice, Requirement, SettingVariable, Validity

FLIPPED = {"<=": False, "<": False, ">=": True, ">": True}
"""Whether a relation's sides change places when it is written as left <= right."""

MANY_MISSING = 5
"""Missing inputs of one entity that are told in one report."""


class Assembly(Lowering):
    """Lowers one profile on one machine. ``flawed`` tells whether anything was amiss, reported before or not."""

    def __init__(self, model: Model, profile: ProfileDecl, machine: str, faults: list[Diagnostic]) -> None:
        super().__init__(Graph())
        self.model = model
        self.profile = profile
        self.machine = machine
        self.faults = faults
        self.flawed = False
        self.values = values_of(model, profile, machine)
        self.inputs: dict[str, InputVariable] = {}
        self.settings: dict[str, SettingVariable] = {}
        self.derived: dict[str, int] = {}
        self.lets: dict[str, LetDecl] = {}
        self.consulted: dict[str, GivenValue] = {}
        self.lacking: dict[str, dict[str, Diagnostic]] = {}
        self._missing: set[str] = set()
        self._undecided: set[str] = set()

    def network(self) -> Network:
        """Lower everything that the profile asks for and the laws say."""
        for name in self.model.settings:
            self._setting(name)
        self.laws = [law for law in self.model.laws.values() if self._applies(law)]
        self.active = self._active_lets()
        requirements = [r for law in self.laws for r in self._requirements(law)]
        requirements += [r for want in self.profile.wants for r in self._want(want)]
        merits = [m for name in self.profile.prefer if (m := self._merit(name))]
        validities = [v for law in self.laws for v in self._validities(law)]
        notices = [n for law in self.laws for n in self._notices(law)]
        grades = {g.name: node for g in self.model.grades.values() if (node := self._grade(g)) is not None}
        return Network(
            self.profile,
            self.profile.material,
            self.machine,
            tuple(self.graph.nodes),
            tuple(self.settings.values()),
            tuple(self.inputs.values()),
            tuple(requirements),
            tuple(merits),
            tuple(notices),
            tuple(validities),
            self.derived,
            self.lets,
            self.consulted,
            grades,
        )

    # ---- names

    def resolve(self, reference: tree.Reference) -> int | None:
        """Give the node of a name: a setting, a given value, or what a law derives; None after reporting."""
        name = reference.name
        if name in self.settings:
            return self.settings[name].node
        if name in self.inputs:
            return self.inputs[name].node
        if name in self.values:
            return self._input(self.values[name])
        if name in self.derived:
            return self.derived[name]
        if name in self._missing:
            return None
        if name in self.active:
            return self._derive(self.active[name])
        self._report_missing(name, reference.span)
        return None

    def _input(self, given: GivenValue) -> int | None:
        amount = given.amount
        assert amount is not None
        # Machines that share a network give the value in other places: see InputVariable.
        node = self.graph.variable("input", given.name, amount.unit.dimension)
        self.inputs[given.name] = InputVariable(given, node, amount.stated, amount.low, amount.high)
        return node

    def _derive(self, let: LetDecl) -> int | None:
        """Lower a derived name, and before it all that it is derived from: a long chain needs no recursion."""
        path = [(let, self._needed(let))]
        while path:
            current, needed = path[-1]
            following = next(needed, None)
            if following is None:
                path.pop()
                self._derive_one(current)
                continue
            names = [one.name for one, _ in path]
            if following.name in names:
                # A circle through alternatives that exclude each other in the text but not here.
                chain = [one for one, _ in path[names.index(following.name) :]]
                self._fault(circle(chain))
                self._missing.add(following.name)
            else:
                path.append((following, self._needed(following)))
        return self.derived.get(let.name)

    def _needed(self, let: LetDecl) -> Iterator[LetDecl]:
        """List what must be lowered before a let, as long as it is not."""
        for reference in names_in(let.expression):
            name = reference.name
            if name in self.active and not (name in self.derived or name in self._missing):
                yield self.active[name]

    def _derive_one(self, let: LetDecl) -> None:
        if let.name in self.derived or let.name in self._missing:
            return
        law, self.graph.law = self.graph.law, let.law
        node = self.lower(let.expression)
        self.graph.law = law
        if node is None:
            self._missing.add(let.name)
            return
        self.derived[let.name] = node
        self.lets[let.name] = let

    def _fault(self, fault: Diagnostic) -> None:
        """Report a fault once, though it may show on several machines."""
        self.flawed = True
        code, span, related = fault.code, fault.span, fault.related
        if not any(f.code == code and f.span == span and f.related == related for f in self.faults):
            self.faults.append(fault)

    def _setting(self, name: str) -> None:
        decl = self.model.settings[name]
        pin = self.profile.pins.get(name)
        node = self.graph.variable("setting", name, decl.dimension, decl.span)
        if pin is None and decl.given:
            unit = decl.unit.symbol
            example = f"{decl.text(decl.last // 4)} {unit}".rstrip()
            facts: dict[str, Any] = {"name": name, "profile": self.profile.name, "example": example}
            related = [Related(decl.span, "declared as given here")]
            fixes = [self._added(self.profile.span, f"{name} {example}")]
            self._fault(diagnose("M404", self.profile.span, related=related, fixes=fixes, **facts))
        self.settings[name] = setting_variable(decl, node, self.profile)

    def _added(self, head: Span, line: str) -> Fix:
        """Add a line to a block, of which ``head`` is the name."""
        return laid_fix(put_in(head, f"\n  {line}", f"add: {line}"), self.model.sources)

    def _all_added(self, head: Span, faults: Sequence[Diagnostic]) -> list[Fix]:
        """Add the lines that are offered first for faults of one block, where there is one for each."""
        lines = [fault.fixes[0].title.removeprefix("add: ") for fault in faults if fault.fixes]
        if len(lines) < len(faults):
            return []
        whole = put_in(
            head, "".join(f"\n  {line}" for line in lines), f"add {len(lines)} lines, and change what is in them"
        )
        return [laid_fix(whole, self.model.sources)]

    def _report_missing(self, name: str, span: Span) -> None:
        self.flawed = True
        if name in self._missing:
            return
        self._missing.add(name)
        law = f"law {self.graph.law}" if self.graph.law else "the profile"
        related = [Related(span, f"{law} needs it")]
        quantity = self.model.quantities.get(name)
        if quantity is not None:
            fault = self._missing_input(quantity, law, related)
            if not self._inherited(fault, quantity):
                self._fault(fault)
                self.lacking.setdefault(quantity.owner, {})[name] = fault
            return
        laws = [let.law for let in self.model.lets.get(name, ())]
        if self._undecided & set(laws):
            # Whether the law applies hangs on a missing input, which is told already.
            return
        if laws:
            several = "laws" if len(laws) > 1 else "law"
            verb = "do" if len(laws) > 1 else "does"
            advice = f"{several} {listed(laws, 'and')} would derive it, but {verb} not apply here: see the when"
            related += [Related(self.model.laws[n].span, "does not apply here") for n in laws]
        else:
            advice = near(name, self.active, "derive it with let in a law that applies")
        facts: dict[str, Any] = {"name": name, "profile": self.profile.name, "machine": self.machine, "advice": advice}
        self._fault(diagnose("M408", self.profile.span, related=related, **facts))

    def _inherited(self, fault: Diagnostic, quantity: QuantityDecl) -> bool:
        """Tell whether what this machine inherits from was already found to lack the value."""
        line = self.model.machines[self.machine].line if quantity.owner == "machine" else ()
        facts: dict[str, Any] = {"name": quantity.name, "owner": quantity.owner, "advice": ""}
        messages = {diagnose("M403", fault.span, entity=base, **facts).message for base in line[1:]}
        return any(f.code == "M403" and f.message in messages for f in self.faults)

    def _missing_input(self, quantity: QuantityDecl, law: str, related: list[Related]) -> Diagnostic:
        owner, place = quantity.owner, self.profile.span
        entity = {"material": self.profile.material, "machine": self.machine}.get(owner, self.profile.name)
        line = f"{quantity.name} {example(quantity)}"
        advice = f"add to {owner} {entity} what is known of it, like: {line}"
        lines = [line]
        if quantity.words:
            advice = f"add to {owner} {entity}: {quantity.name} {listed(quantity.words)}"
            lines = [f"{quantity.name} {word}" for word in quantity.words]
        if owner != "profile":
            table = self.model.materials if owner == "material" else self.model.machines
            place = table[entity].span
            if place.file.startswith(LIBRARY):
                place, lines = self.profile.span, []
                part = "material" if owner == "material" else "machines"
                advice = f"write: {owner} my_{entity} from {entity} {{ {line} }}\nand name it here: {part} my_{entity}"
        related.append(Related(quantity.span, quantity.doc or "declared here"))
        facts: dict[str, Any] = {"name": quantity.name, "owner": owner, "entity": entity, "advice": advice}
        return diagnose("M403", place, related=related, fixes=[self._added(place, text) for text in lines], **facts)

    def gather_missing(self) -> None:
        """Put many missing inputs of one entity into one report, with what to start from."""
        for owner, lacking in self.lacking.items():
            if len(lacking) < MANY_MISSING:
                continue
            first = next(iter(lacking.values()))
            self.faults[:] = [f for f in self.faults if f not in lacking.values()]
            table = {"material": self.model.materials, "machine": self.model.machines}.get(owner, {})
            entity = {"material": self.profile.material, "machine": self.machine}.get(owner, self.profile.name)
            complete = [e.name for e in table.values() if lacking.keys() <= e.values.keys()]
            advice = f"give each in {owner} {entity}"
            if complete:
                advice += f", or start from one that has them: {owner} {entity} from {listed(sorted(complete)[:4])}"
            names = ", ".join(sorted(lacking))
            facts: dict[str, Any] = {"owner": owner, "entity": entity, "count": len(lacking), "names": names}
            fixes = self._all_added(first.span, list(lacking.values()))
            self._fault(diagnose("M415", first.span, advice=advice, fixes=fixes, **facts))

    # ---- laws

    def _applies(self, law: LawDecl) -> bool:
        if law.when is None:
            return True
        self.graph.law = law.name
        holds = True
        for test in law.when.tests:
            for name, span in _asked(test):
                given = self.values.get(name)
                if given is None:
                    self._undecided.add(law.name)
                    self._report_missing(name, span)
                else:
                    self.consulted[name] = given
            if applies(test, self.values) is False:
                # What the later tests look at need not even be given.
                holds = False
                break
        self.graph.law = ""
        return holds

    def _active_lets(self) -> dict[str, LetDecl]:
        active: dict[str, LetDecl] = {}
        for law in self.laws:
            for let in law.lets:
                if let.name in self.values:
                    continue
                if let.name in active:
                    other = active[let.name]
                    related = [Related(other.span, f"law {other.law}")]
                    self._fault(diagnose("M407", let.span, name=let.name, machine=self.machine, related=related))
                active.setdefault(let.name, let)
        return active

    def _sides(self, comparison: tree.Comparison) -> tuple[int, int] | None:
        left, right = self.lower(comparison.left), self.lower(comparison.right)
        if left is None or right is None:
            return None
        return (right, left) if FLIPPED[comparison.relation] else (left, right)

    def _requirements(self, law: LawDecl) -> list[Requirement]:
        self.graph.law = law.name
        found = []
        for require in law.requires:
            sides = self._sides(require.comparison)
            if sides is None:
                continue
            otherwise = require.otherwise.text if require.otherwise else ""
            dimension = self._dimension(require.comparison.left)
            found.append(
                self._requirement(
                    law.name,
                    "law",
                    sides,
                    dimension,
                    require.comparison,
                    otherwise,
                    require.remedies,
                    False,
                    require.span,
                )
            )
        self.graph.law = ""
        return found

    def _requirement(
        self,
        name: str,
        origin: str,
        sides: tuple[int, int],
        dimension: Dimension,
        comparison: tree.Comparison,
        otherwise: str,
        remedies: tuple[tree.Remedy, ...],
        soft: bool,
        span: Span,
    ) -> Requirement:
        left, right = sides
        slack = self.graph.add("sub", (right, left), span)
        return Requirement(name, origin, left, right, slack, dimension, comparison, otherwise, remedies, soft, span)

    def _dimension(self, e: tree.Expression) -> Dimension:
        from ..meaning.dimensions import Checker

        kinds = dict.fromkeys(self.model.dimensions, "let")
        return Checker(self.model.dimensions.get, kinds, []).infer(e) or NUMBER

    def _validities(self, law: LawDecl) -> list[Validity]:
        self.graph.law = law.name
        found = []
        for valid in law.valids:
            sides = self._sides(valid.comparison)
            if sides is not None:
                text = valid.otherwise.text if valid.otherwise else ""
                found.append(Validity(law.name, text, sides[0], sides[1], valid.comparison, valid.span))
        self.graph.law = ""
        return found

    def _notices(self, law: LawDecl) -> list[Notice]:
        self.graph.law = law.name
        found = []
        for notice in law.notices:
            tests = notice.where.tests if notice.where else ()
            if any(applies(t, self.values) is False for t in tests if not isinstance(t, tree.Comparison)):
                continue
            sides = [self._sides(t) for t in tests if isinstance(t, tree.Comparison)]
            sound = tuple(s for s in sides if s is not None)
            if len(sound) == len(sides):
                found.append(Notice(notice.kind, notice.text.text, law.name, sound, notice.span))
        self.graph.law = ""
        return found

    # ---- wants and merits

    def _merit(self, name: tree.Name) -> Merit | None:
        node = self.lower(self.model.merits[name.text].expression)
        return Merit(name.text, node) if node is not None else None

    def _grade(self, grade: GradeDecl) -> int | None:
        """Give the node a grade is read from, where it can be derived here; else the grade is left out."""
        wanted = any(w.name == grade.name for w in self.profile.wants)
        if grade.quantity not in self.derived and not wanted:
            return None
        return self.resolve(tree.Reference(grade.quantity, grade.span))

    def _want(self, want: WantDecl) -> list[Requirement]:
        wanted = comparison(self.model, want)
        sides = self._sides(wanted) if wanted else None
        if wanted is None or sides is None:
            return []
        dimension = self._dimension(wanted.left)
        said = f"the profile asks for {want.text}"
        return [self._requirement(want.text, "want", sides, dimension, wanted, said, (), want.soft, want.span)]


def setting_variable(decl: SettingDecl, node: int, profile: ProfileDecl) -> SettingVariable:
    """Make a setting's variable over its lattice, or over the one point at which the profile fixes it."""
    pin = profile.pins.get(decl.name)
    first, last = 0, decl.last
    if pin is not None:
        first = last = round(index_on_lattice(decl, pin.amount.stated))
    return SettingVariable(decl, node, first, last, pin)


def _asked(test: tree.Test) -> list[tuple[str, Span]]:
    if isinstance(test, tree.Comparison):
        return [(r.name, r.span) for r in names_in(test.left) + names_in(test.right)]
    return [(test.quantity.text, test.quantity.span)]


def example(quantity: QuantityDecl) -> str:
    """Give a value that is surely right: the whole believable range, where one is declared."""
    if quantity.words:
        return quantity.words[0]
    if quantity.ranges:
        low, high, unit = quantity.ranges[0]
        return f"{from_base(low, unit):.6g} .. {from_base(high, unit):.6g} {unit.symbol}".rstrip()
    return f"1 {example_unit(quantity.dimension or NUMBER)}".rstrip()
