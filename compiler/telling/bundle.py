"""The bundle of a machine: everything the outputs say, as plain data in display units.

This is the one source of all output formats: the JSON file is the bundle itself, and the templates of the other
targets see nothing else. ``targets/README.md`` documents its fields. Bundles are told together: what is the same on
all machines of one structure is made once and marked as shared, and the numbers are evaluated in one pass.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from ..meaning.display import rounded, shown, unit_for, with_unit
from ..meaning.model import GradeDecl, Model
from ..solving.answering import Margin
from ..solving.bands import MERIT_END, Band
from ..solving.batch import Batch
from ..solving.ranging import Closest, Corner, closest
from ..syntax import tree
from .common import Common, LetTold, keep, number
from .sentences import effort_told
from .shared import Shared, SharedList
from .sides import spare, told, unit_of_name
from .solution import Derived, Solution

FORMAT = 2
"""Rises whenever a field comes, goes or changes its meaning; ``targets/README.md`` lists what each brought."""
TIGHT = 0.05
"""A requirement with no larger share to spare is tight: what its inputs' ranges cost is told."""

Data = dict[str, Any]


def bundle(solution: Solution) -> Data:
    """Describe a solved profile on a machine."""
    return bundles([solution])[0]


def bundles(solutions: Sequence[Solution]) -> list[Data]:
    """Describe solutions; each bundle is as if it were told alone."""
    return Teller().bundles(solutions)


class Teller:
    """Describes solutions part by part, and keeps what is told alike from one part to the next."""

    def __init__(self) -> None:
        self._commons: dict[tuple[int, ...], Common] = {}

    def bundles(self, solutions: Sequence[Solution]) -> list[Data]:
        """Describe solutions; each bundle is as if it were told alone."""
        found: list[Data] = [{}] * len(solutions)
        groups: dict[tuple[int, ...], list[int]] = {}
        for at, solution in enumerate(solutions):
            groups.setdefault(_structure(solution), []).append(at)
        for key, members in groups.items():
            alike = [solutions[at] for at in members]
            common = self._commons.get(key)
            if common is None:
                # It holds all that the key names, so that no other can come by the same identities.
                common = self._commons[key] = Common(alike[0].model, alike[0].problem)
            for at, solution, corners in zip(members, alike, _corners(common, alike), strict=True):
                found[at] = _Telling(common, solution, corners).bundle()
        return found


def _structure(solution: Solution) -> tuple[int, ...]:
    """Tell apart solutions of which the same is told but for numbers, inputs and the machine's name."""
    n = solution.network
    shared = (n.profile, n.settings, n.requirements, n.merits, n.notices, n.validities)
    held = (solution.model, solution.problem.tape, *shared, n.derived, n.lets, n.grades)
    return tuple([id(o) for o in held])


def _corners(common: Common, solutions: Sequence[Solution]) -> list[list[Closest]]:
    """Evaluate all margins of machines, in the order of their answers."""
    batch = Batch([s.problem for s in solutions])
    points = np.stack([s.answer.point for s in solutions], axis=1)
    asked = []
    for machine, solution in enumerate(solutions):
        limiting = {r for limits in solution.answer.limits for r in limits}
        for m in solution.answer.margins:
            tight = m.requirement in limiting or m.share < TIGHT
            asked.append(Corner(machine, m.requirement, m.inputs, tight))
    nodes = {r: [node for _, node in told.derived] for r, told in enumerate(common.requirements)}
    found = iter(closest(batch, points, asked, nodes))
    return [[next(found) for _ in s.answer.margins] for s in solutions]


class _Telling:
    """One machine, while it is told."""

    def __init__(self, common: Common, solution: Solution, corners: list[Closest]) -> None:
        self.common = common
        self.solution = solution
        self.corners = corners
        self.form = common.form(solution.network)
        self.point: list[int] = solution.answer.point.tolist()
        self.margins = {m.requirement: m for m in solution.answer.margins}
        self.counted = common.counted(tuple(self.margins))
        self.inputs = {v.given.name: (i, v) for i, v in enumerate(solution.network.inputs)}

    def stated(self, name: str) -> str | None:
        """Write what a name is at the chosen settings and the stated inputs; None where it has no value."""
        derived = self.solution.derived.get(name)
        if derived is not None:
            return with_unit(derived.stated, self.common.lets[name].unit)
        setting = self.common.setting_named.get(name)
        if setting is not None:
            return self.common.settings[setting].with_unit(self.point[setting])
        found = self.inputs.get(name)
        return self.common.stated(found[1].given) if found else None

    def bundle(self) -> Data:
        """Tell it all."""
        common, solution, network = self.common, self.solution, self.solution.network
        requirements = self.requirements()
        return {
            "format": FORMAT,
            "program": common.program,
            "profile": network.profile.name,
            "file": network.profile.span.file,
            "material": network.material,
            "machine": network.machine,
            "lineage": {
                "material": list(solution.model.materials[network.material].line),
                "machine": list(solution.model.machines[network.machine].line),
            },
            "holds": solution.holds,
            "work": _work(solution),
            "settings": self.settings(requirements),
            "wants": self.wants(),
            "merits": self.merits(requirements),
            "grades": self.grades(),
            "requirements": sorted(requirements.values(), key=lambda r: (r["margin"], r["place"], r["law"])),
            "derived": self.derived(),
            "inputs": self.told_inputs(),
            "laws": common.laws,
            "warnings": self.warnings(),
            "cautions": self.notices("caution"),
            "prepare": self.notices("prepare"),
            "sources": common.sources,
        }

    # ---- settings

    def settings(self, requirements: dict[int, Data]) -> Data:
        point, bands = self.point, self.solution.answer.bands
        return {
            group: {self.common.settings[i].name: self.setting(i, point[i], bands[i], requirements) for i in members}
            for group, members in self.common.groups
        }

    def setting(self, i: int, at: int, band: Band, requirements: dict[int, Data]) -> Shared:
        said, touching = self.common.settings[i], self.counted.touching[i]
        # What counts decides the ids of the requirements that end the band.
        key = (at, band.first, band.last, band.below, band.above, id(touching))
        found = said.kept.get(key)
        if found is not None:
            return found
        decl, pin = said.variable.decl, said.variable.pin
        first, last = (at, at) if pin else (band.first, band.last)
        below, above = (None, None) if pin else (band.below, band.above)
        found = Shared(
            value=said.value(at),
            text=said.text(at),
            unit=decl.unit.symbol,
            about=decl.doc,
            chosen=said.chosen,
            because=pin.reason if pin else "",
            band=[said.value(first), said.value(last)],
            band_text=_band_text(said.text(first), said.text(last)),
            limited_below=_end(below, requirements, "id"),
            limited_above=_end(above, requirements, "id"),
            ends_below=_end(below, requirements, "title"),
            ends_above=_end(above, requirements, "title"),
            step=said.step,
            requirements=touching,
            place=said.place,
        )
        return keep(said.kept, key, found)

    # ---- requirements

    def requirements(self) -> dict[int, Data]:
        """Tell the requirements that count, in the order of the network."""
        return {
            margin.requirement: self.requirement(margin, corner)
            for margin, corner in zip(self.solution.answer.margins, self.corners, strict=True)
        }

    def requirement(self, margin: Margin, corner: Closest) -> Shared:
        said, identity = self.common.requirements[margin.requirement], self.counted.ids[margin.requirement]
        inputs, settings = margin.inputs[said.used].tobytes(), [self.point[i] for i in said.named]
        key = (self.form, identity, margin.left, margin.right, corner.values, inputs, *settings)
        found = said.kept.get(key)
        if found is not None:
            return found
        requirement, unit = said.requirement, said.unit
        relation = requirement.comparison.relation
        lookup = self.worst(margin, corner)
        share = max(margin.share, 0.0)
        found = Shared(
            id=identity,
            title=said.title,
            law=said.law,
            origin=requirement.origin,
            text=said.text,
            numbers=f"{said.left.filled(lookup)} {relation} {said.right.filled(lookup)}",
            uses=said.uses,
            otherwise=requirement.otherwise,
            left=number(margin.left, unit),
            right=number(margin.right, unit),
            unit=unit.symbol,
            sides=told(relation, margin.left, margin.right, unit),
            spare=spare(share, margin, requirement),
            margin=float(rounded(100 * share, 3)),
            at=self.at_worst(margin),
            follows=said.follows,
            status=said.status,
            source=said.source,
            remedies=said.remedies,
            place=said.place,
        )
        return keep(said.kept, key, found)

    def worst(self, margin: Margin, corner: Closest) -> Callable[[str], str | None]:
        """Give the lookup of values at the corner where a requirement is closest."""
        derived = self.common.requirements[margin.requirement].derived
        values = {name: value for (name, _), value in zip(derived, corner.values, strict=True)}

        def lookup(name: str) -> str | None:
            if name in values:
                return with_unit(values[name], self.common.lets[name].unit)
            found = self.inputs.get(name)
            if found is not None:
                return with_unit(float(margin.inputs[found[0]]), unit_of_name(self.common.model, name, found[1].given))
            return self.stated(name)

        return lookup

    def at_worst(self, margin: Margin) -> Data:
        """List the uncertain inputs that a requirement depends on, at their worst."""
        inputs, values, found = self.solution.network.inputs, margin.inputs.tolist(), {}
        for name, i in self.common.requirements[margin.requirement].inputs:
            variable = inputs[i]
            amount = variable.given.amount
            if variable.low < variable.high and amount:
                found[name] = with_unit(values[i], amount.unit)
        return found

    # ---- wants, merits, grades

    def wants(self) -> list[Data]:
        found = []
        for r in self.common.wants:
            said, margin = self.common.requirements[r], self.margins.get(r)
            relation = said.requirement.comparison.relation
            found.append(
                {
                    "text": said.requirement.name,
                    "met": margin is not None,
                    "worst": told(relation, margin.left, margin.right, said.unit) if margin else "",
                    "place": said.place,
                }
            )
        return found

    def merits(self, requirements: dict[int, Data]) -> list[Data]:
        answer, model = self.solution.answer, self.solution.model
        found = []
        for merit, value, limits in zip(self.solution.network.merits, answer.merits, answer.limits, strict=True):
            decl = model.merits[merit.name]
            found.append(
                {
                    "name": merit.name,
                    "about": decl.doc,
                    **merit_shown(model, merit.name, value),
                    "limited_by": [requirements[r]["id"] for r in limits if r in requirements],
                    "place": self.common.place(decl.span),
                }
            )
        return found

    def grades(self) -> Data:
        """Name the band that a graded quantity reaches for all input values."""
        found = {}
        for grade, bounds, place in self.common.grades:
            derived = self.solution.derived.get(grade.quantity)
            if derived is None:
                continue
            # Where the profile bounds the quantity, its proved worst is known.
            proved = [m.right if bounds[r] else m.left for r, m in self.margins.items() if r in bounds]
            worst = proved[0] if proved else derived.low if grade.more_is_better else derived.high
            unit = next((b.unit for b in grade.bands if b.unit), None) or unit_for(derived.dimension)
            found[grade.name] = {
                "band": _band_reached(grade, worst),
                "quantity": grade.quantity,
                "worst": with_unit(worst, unit),
                "place": place,
            }
        return found

    # ---- derived quantities, inputs

    def derived(self) -> Data:
        derived = self.solution.derived
        plain: dict[str, object] = {name: d.stated for name, d in derived.items()}
        plain |= zip(self.common.setting_named, self.point, strict=True)
        plain |= {name: variable.stated for name, (_, variable) in self.inputs.items()}
        return {name: self.one_derived(derived[name], said, plain) for name, said in self.common.lets.items()}

    def one_derived(self, derived: Derived, said: LetTold, plain: dict[str, object]) -> Shared:
        """Tell a derived quantity; ``plain`` holds the values behind the texts of names."""
        numbers = [plain.get(n) for n in said.formula.names]
        key = (self.form, derived.stated, derived.low, derived.high, *numbers)
        found = said.kept.get(key)
        if found is not None:
            return found
        unit = said.unit
        found = Shared(
            value=number(derived.stated, unit),
            low=number(derived.low, unit),
            high=number(derived.high, unit),
            unit=unit.symbol,
            text=with_unit(derived.stated, unit),
            range_text=f"{shown(derived.low, unit)} .. {with_unit(derived.high, unit)}",
            about=said.about,
            formula=said.formula.text,
            uses=said.uses,
            numbers=said.formula.filled(self.stated),
            law=said.law,
            status=said.status,
            source=said.source,
            place=said.place,
        )
        return keep(said.kept, key, found)

    def told_inputs(self) -> list[Data]:
        """List all inputs, the assumed ones first, then by how much their range costs the tightest requirement."""
        costs = self.costs()
        values = {name: variable.given for name, (_, variable) in self.inputs.items()}
        values |= self.solution.network.consulted
        data = [self.common.input(given, *costs.get(name, (0.0, ""))) for name, given in values.items()]
        return sorted(data, key=lambda d: (_RANK[d["evidence"]], -d["cost"], d["name"]))

    def costs(self) -> dict[str, tuple[float, str]]:
        """For each input, the largest percentage of slack that its range takes of a requirement, and of which."""
        found: dict[int, tuple[float, int]] = {}
        for requirement, corner in zip(self.margins, self.corners, strict=True):
            for i, cost in corner.costs:
                if i not in found or cost > found[i][0]:
                    found[i] = (cost, requirement)
        inputs, requirements = self.solution.network.inputs, self.common.requirements
        return {
            inputs[i].given.name: (float(rounded(100 * cost, 3)), requirements[r].title)
            for i, (cost, r) in found.items()
        }

    # ---- warnings and notices

    def warnings(self) -> SharedList:
        found, ranges = [], self.solution.ranges
        for validity, said in zip(self.solution.network.validities, self.common.warnings, strict=True):
            highest, lowest = ranges[validity.left][2], ranges[validity.right][1]
            if highest > lowest + 1e-9 * max(abs(highest), abs(lowest)):
                found.append(said)
        return self.common.together(found)

    def notices(self, kind: str) -> SharedList:
        """Give the notices whose condition may be true somewhere in the input ranges, once each."""
        found: dict[str, Any] = {}
        ranges = self.solution.ranges
        for notice, said in zip(self.solution.network.notices, self.common.notices, strict=True):
            if notice.kind == kind and all(ranges[left][1] <= ranges[right][2] for left, right in notice.tests):
                found.setdefault(notice.text, said)
        return self.common.together(list(found.values()))


_RANK = {"assumed": 0, "typical": 1, "published": 2, "measured": 3}


def _work(solution: Solution) -> Data:
    """Say how the answer is known: how much was looked at, and whether nothing better can be there."""
    answer = solution.answer
    limit = answer.effort
    says = effort_told(answer.certified, bool(solution.network.merits), limit)
    return {"boxes": answer.boxes, "limit": limit, "certified": answer.certified, "says": says}


def _band_text(first: str, last: str) -> str:
    return first if first == last else f"{first} .. {last}"


def _end(end: int | None, requirements: dict[int, Data], key: str) -> str:
    """Say what ends a band, if there is one: by the id of a requirement, or by its title for people."""
    if end is None:
        return ""
    if end in requirements:
        return str(requirements[end][key])
    words = {"id": ("preference", "range"), "title": ("the preferences", "the end of its own range")}
    return words[key][0 if end == MERIT_END else 1]


def merit_shown(model: Model, name: str, value: float) -> Data:
    """Show a merit's value; one that is the negative of something is shown as that, to have little of."""
    unit = unit_for(model.dimensions[name])
    little = isinstance(model.merits[name].expression, tree.Negation)
    shown_value = -value if little else value
    return {
        "value": number(shown_value, unit),
        "unit": unit.symbol,
        "text": with_unit(shown_value, unit),
        "better": "less" if little else "more",
    }


def _band_reached(grade: GradeDecl, worst: float) -> str:
    """Name the first band whose limit is kept."""
    for band in grade.bands[:-1]:
        if band.limit is None:
            continue
        margin = 1e-9 * abs(band.limit)
        if worst >= band.limit - margin if grade.more_is_better else worst <= band.limit + margin:
            return band.name
    return grade.bands[-1].name
