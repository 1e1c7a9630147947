"""What is told alike of all machines whose networks have the same structure; made once for all of them."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from .. import __version__
from ..meaning.display import rounded, shown, with_unit
from ..meaning.model import Amount, GivenValue, GradeDecl, Model
from ..meaning.units import Unit
from ..network.graph import Network, Requirement, SettingVariable
from ..solving.problem import Indices, Problem
from ..syntax import tree
from ..text.source import Span
from .formulas import Formula, named_apart, requirement_text, titles
from .shared import Shared, SharedList
from .sides import unit_of_name, unit_of_sides

Data = dict[str, Any]

DIGITS = 5


MOST_KEPT = 500
"""Forms of one thing that are kept, as many machines share them."""

MOST_INPUTS = 5_000


def keep(kept: dict[object, Shared], key: object, told: Shared) -> Shared:
    """Keep what was told; a full store is begun anew, so that a large fleet does not fill the memory."""
    if len(kept) >= MOST_KEPT:
        kept.clear()
    kept[key] = told
    return told


def number(value: float, unit: Unit) -> float | None:
    """Turn a base value into a number of display size with few digits, the same on every machine."""
    text = shown(value, unit, DIGITS)
    return None if text == "unbounded" else float(text)


def chosen(network: Network, problem: Problem, i: int) -> str:
    """Say how a setting came to its value: given, pinned, preference, low, high or middle."""
    variable, depends = network.settings[i], problem.tape.depends
    if variable.pin is not None:
        return "given" if variable.decl.given else "pinned"
    if any(depends[m.node] >> i & 1 for m in network.merits):
        return "preference"
    return variable.decl.rather or "middle"


@dataclass(frozen=True, slots=True)
class RequirementTold:
    """What is told of a requirement whatever its numbers. ``inputs`` are (name, index) of those it depends on.

    ``used`` are the inputs, ``named`` the settings on whose values its text with numbers hangs; ``uses`` lists the
    names that stand in it and have a value. ``follows`` names the setting that is taken up to this limit, as it rather
    is as low or as high as holds: the limit holds nothing back.

    ``kept`` holds, here and below, what was told of it with numbers, for other machines that have the same.
    """

    requirement: Requirement
    title: str
    text: str
    unit: Unit
    left: Formula
    right: Formula
    derived: tuple[tuple[str, int], ...]
    inputs: tuple[tuple[str, int], ...]
    used: Indices
    named: tuple[int, ...]
    uses: SharedList
    settings: int
    law: str
    status: str
    source: str
    follows: str
    remedies: SharedList
    place: str
    kept: dict[object, Shared]


@dataclass(frozen=True, slots=True)
class LetTold:
    """What is told of a derived quantity whatever its numbers."""

    node: int
    unit: Unit
    about: str
    formula: Formula
    uses: SharedList
    law: str
    status: str
    source: str
    place: str
    kept: dict[object, Shared]


@dataclass(frozen=True, slots=True)
class SettingTold:
    """What is told of a setting whatever is chosen; ``group`` and ``name`` are the parts of its full name."""

    variable: SettingVariable
    group: str
    name: str
    chosen: str
    place: str
    step: float
    texts: dict[int, str]
    kept: dict[object, Shared]

    def text(self, index: int) -> str:
        """Give the text of a lattice index."""
        text = self.texts.get(index)
        if text is None:
            text = self.texts[index] = self.variable.decl.text(index)
        return text

    def with_unit(self, index: int) -> str:
        """Give the text of a lattice index with the unit."""
        return f"{self.text(index)} {self.variable.decl.unit.symbol}".rstrip()

    def value(self, index: int) -> float | int:
        """Give the number of a lattice index."""
        text = self.text(index)
        return float(text) if "." in text else int(text)


@dataclass(frozen=True, slots=True)
class Counted:
    """What is told of the requirements that count on a machine: their ids, and for each setting those it touches."""

    ids: dict[int, str]
    touching: tuple[SharedList, ...]


class Common:
    """What is told alike of the solutions of one structure: a model, and a network as far as no machine shows in it."""

    def __init__(self, model: Model, problem: Problem) -> None:
        self.model = model
        self.problem = problem
        self.network = problem.network
        self.program = Shared(name="meltwright", version=__version__)
        self._places: dict[tuple[str, int], str] = {}
        self._counted: dict[tuple[int, ...], Counted] = {}
        self._inputs: dict[int, tuple[GivenValue, Shared]] = {}
        self._forms: dict[tuple[object, ...], int] = {}
        self._costly: dict[tuple[int, float, str], Shared] = {}
        self._stated: dict[int, tuple[GivenValue, str]] = {}
        self._lists: dict[tuple[int, ...], tuple[Sequence[object], SharedList]] = {}

    def place(self, span: Span) -> str:
        """Write a place as ``file:line``."""
        key = (span.file, span.start)
        place = self._places.get(key)
        if place is None:
            source = self.model.sources.get(span.file)
            place = f"{span.file}:{source.line_column(span.start)[0]}" if source else span.file
            self._places[key] = place
        return place

    def form(self, network: Network) -> int:
        """Number the ways in which inputs are written: their units, and which have a range."""
        key = tuple([(v.given.amount.unit.symbol if v.given.amount else "", v.low < v.high) for v in network.inputs])
        return self._forms.setdefault(key, len(self._forms))

    def uses(self, names: Iterable[str]) -> SharedList:
        """List those of the names in a formula that have a value here: no constants of the language."""
        network = self.network
        known = {*network.derived, *self.setting_named, *(v.given.name for v in network.inputs)}
        return SharedList(n for n in names if n in known)

    # ---- settings

    @cached_property
    def settings(self) -> list[SettingTold]:
        """Tell the settings, in the order of the network."""
        found = []
        for i, variable in enumerate(self.network.settings):
            decl = variable.decl
            group, _, name = decl.name.partition(".")
            place = self.place(variable.pin.span if variable.pin else decl.span)
            how = chosen(self.network, self.problem, i)
            found.append(SettingTold(variable, group, name or group, how, place, float(decl.step), {}, {}))
        return found

    @cached_property
    def setting_named(self) -> dict[str, int]:
        """Find a setting by its full name."""
        return {v.decl.name: i for i, v in enumerate(self.network.settings)}

    @cached_property
    def groups(self) -> list[tuple[str, list[int]]]:
        """List the settings by their groups, those in the order of their names."""
        groups: dict[str, list[int]] = {}
        for i, told in enumerate(self.settings):
            groups.setdefault(told.group, []).append(i)
        return sorted(groups.items())

    # ---- requirements

    @cached_property
    def requirements(self) -> list[RequirementTold]:
        """Tell the requirements, in the order of the network."""
        names = titles(self.network)
        return [self._requirement(r, names[at]) for at, r in enumerate(self.network.requirements)]

    def _requirement(self, r: Requirement, title: str) -> RequirementTold:
        network, tape = self.network, self.problem.tape
        law = self.model.laws.get(r.name)
        left, right = Formula(r.comparison.left), Formula(r.comparison.right)
        depends = tape.depends[r.slack]
        inputs = sorted(
            (v.given.name, i) for i, v in enumerate(network.inputs) if depends >> (tape.setting_count + i) & 1
        )
        remedies = [
            Shared(direction=m.direction, name=m.name.text, text=m.text.text if m.text else "") for m in r.remedies
        ]
        named = dict.fromkeys((*left.names, *right.names))
        used = {i for _, i in inputs} | {i for i, v in enumerate(network.inputs) if v.given.name in named}
        return RequirementTold(
            requirement=r,
            title=title,
            text=requirement_text(r),
            unit=unit_of_sides(network, r),
            left=left,
            right=right,
            derived=tuple((n, network.derived[n]) for n in named if n in network.derived),
            inputs=tuple(inputs),
            used=np.array(sorted(used), dtype=np.int64),
            named=tuple(i for i, v in enumerate(network.settings) if v.decl.name in named),
            uses=self.uses(named),
            settings=depends & ((1 << tape.setting_count) - 1),
            law=r.name if r.origin == "law" else "",
            status=law.status if law else "",
            source=law.source if law else "",
            follows=_follower(network, r),
            remedies=SharedList(remedies),
            place=self.place(r.span),
            kept={},
        )

    def counted(self, requirements: tuple[int, ...]) -> Counted:
        """Tell what hangs on which requirements count."""
        found = self._counted.get(requirements)
        if found is None:
            ids = named_apart(self.network, requirements)
            touching = [
                SharedList(ids[r] for r in requirements if self.requirements[r].settings >> i & 1)
                for i in range(len(self.network.settings))
            ]
            found = self._counted[requirements] = Counted(ids, tuple(touching))
        return found

    @cached_property
    def wants(self) -> list[int]:
        """List the requirements that the profile asks for."""
        return [r for r, q in enumerate(self.network.requirements) if q.origin == "want"]

    @cached_property
    def grades(self) -> list[tuple[GradeDecl, dict[int, bool], str]]:
        """List the grades; for each, the wants that bound its quantity on its bad side, and its place.

        A want tells whether its right side is the quantity's worst.
        """
        found = []
        for name in sorted(self.network.grades):
            grade = self.model.grades[name]
            bounds = {}
            for r in self.wants:
                comparison = self.network.requirements[r].comparison
                right = grade.more_is_better
                if comparison.left == tree.Reference(grade.quantity) and comparison.relation == (
                    ">=" if right else "<="
                ):
                    bounds[r] = right
            found.append((grade, bounds, self.place(grade.span)))
        return found

    # ---- derived quantities, inputs, laws

    @cached_property
    def lets(self) -> dict[str, LetTold]:
        """Tell the derived quantities, in the order of their names."""
        found = {}
        for name in sorted(self.network.derived):
            let = self.network.lets[name]
            law = self.model.laws[let.law]
            formula = Formula(let.expression)
            found[name] = LetTold(
                node=self.network.derived[name],
                unit=unit_of_name(self.model, name, None),
                about=let.doc,
                formula=formula,
                uses=self.uses(formula.names),
                law=let.law,
                status=law.status,
                source=law.source,
                place=self.place(let.span),
                kept={},
            )
        return found

    def input(self, given: GivenValue, cost: float, requirement: str) -> Shared:
        """Tell an input's value, and what its range costs which requirement, as a percentage."""
        found = self._inputs.get(id(given))
        if found is None:
            if len(self._inputs) >= MOST_INPUTS or len(self._costly) >= MOST_INPUTS:
                self._inputs.clear()
                self._costly.clear()
            # The value is kept as well, so that no other can come by the same identity.
            found = self._inputs[id(given)] = (given, self._input(given))
        if not cost:
            return found[1]
        key = (id(given), cost, requirement)
        costly = self._costly.get(key)
        if costly is None:
            costly = self._costly[key] = Shared(found[1], cost=cost, cost_on=requirement)
        return costly

    def stated(self, given: GivenValue) -> str:
        """Write the stated value of an input that has an amount."""
        found = self._stated.get(id(given))
        if found is None:
            if len(self._stated) >= MOST_INPUTS:
                self._stated.clear()
            amount = given.amount
            text = with_unit(amount.stated, amount.unit) if amount else ""
            found = self._stated[id(given)] = (given, text)
        return found[1]

    def _input(self, given: GivenValue) -> Shared:
        quantity = self.model.quantities[given.name]
        amount = given.amount
        replaced: list[Data] = []
        data = Shared(
            name=given.name,
            about=quantity.doc,
            owner=quantity.owner,
            entity=given.entity,
            text=given.text,
            range_text="",
            evidence=given.evidence.kind,
            evidence_text=given.evidence.text,
            evidence_given=given.evidence.stated,
            cost=float(rounded(0.0)),
            cost_on="",
            replaced=replaced,
            place=self.place(given.span),
        )
        if amount is not None:
            data |= {
                "value": number(amount.stated, amount.unit),
                "low": number(amount.low, amount.unit),
                "high": number(amount.high, amount.unit),
                "unit": amount.unit.symbol,
                "range_text": _range_text(amount),
            }
        older = given.replaced
        while older is not None:
            replaced.append({"entity": older.entity, "text": older.text, "place": self.place(older.span)})
            older = older.replaced
        return data

    @cached_property
    def laws(self) -> SharedList:
        """Tell the laws that were used, in the order of their names."""
        used = {r.name for r in self.network.requirements if r.origin == "law"}
        used |= {let.law for let in self.network.lets.values()}
        return SharedList(
            Shared(name=n, about=law.about, status=law.status, source=law.source, place=self.place(law.span))
            for n, law in sorted(self.model.laws.items())
            if n in used
        )

    @cached_property
    def sources(self) -> SharedList:
        """Tell the files that were read, with the digests of their texts."""
        return SharedList(
            {"file": name, "sha256": hashlib.sha256(source.text.encode()).hexdigest()}
            for name, source in sorted(self.model.sources.items())
        )

    # ---- warnings and notices

    @cached_property
    def warnings(self) -> list[Shared]:
        """Tell what each law's range is, should it be left."""
        return [
            Shared(
                law=v.law,
                text=f"{Formula(v.comparison.left).text} {v.comparison.relation} {Formula(v.comparison.right).text}",
                otherwise=v.text,
                place=self.place(v.span),
            )
            for v in self.network.validities
        ]

    @cached_property
    def notices(self) -> list[Shared]:
        """Tell each notice, should it apply."""
        return [Shared(text=n.text, law=n.law, place=self.place(n.span)) for n in self.network.notices]

    def together(self, members: list[Shared]) -> SharedList:
        """Give the one list of these members."""
        key = tuple([id(m) for m in members])
        found = self._lists.get(key)
        if found is None:
            found = self._lists[key] = (members, SharedList(members))
        return found[1]


def _range_text(amount: Amount) -> str:
    if amount.exact:
        return with_unit(amount.stated, amount.unit)
    return f"{shown(amount.low, amount.unit)} .. {with_unit(amount.high, amount.unit)}"


def _follower(network: Network, requirement: Requirement) -> str:
    """Name the setting that is one side of a requirement and rather lies at that side's end."""
    for side, end in ((requirement.left, "high"), (requirement.right, "low")):
        for variable in network.settings:
            if variable.node == side and variable.decl.rather == end:
                return variable.decl.name
    return ""
