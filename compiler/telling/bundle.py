"""The bundle of one machine: everything the outputs say, as plain data in display units.

This is the one source of all output formats: the JSON file is the bundle itself, and the templates of the other
targets see nothing else. ``targets/README.md`` documents its fields.
"""

import hashlib
from typing import Any

from .. import __version__
from ..meaning.display import rounded, shown, unit_for, with_unit
from ..meaning.model import Amount, GivenValue, GradeDecl, Model
from ..meaning.units import Unit
from ..solving.answering import Margin
from ..solving.bands import MERIT_END
from ..solving.batch import Batch
from ..solving.ranging import cost_of_ranges
from ..syntax import tree
from .formulas import comparison_text, corner_lookup, identities, requirement_text, titles, with_numbers
from .sentences import effort_told
from .sides import spare, told
from .solution import Solution

FORMAT = 1
DIGITS = 5

Data = dict[str, Any]


def bundle(solution: Solution) -> Data:
    """Describe a solved profile on a machine."""
    network = solution.network
    requirements = _requirements(solution)
    return {
        "format": FORMAT,
        "program": {"name": "meltwright", "version": __version__},
        "profile": network.profile.name,
        "file": network.profile.span.file,
        "material": network.material,
        "machine": network.machine,
        "lineage": {
            "material": list(solution.model.materials[network.material].line),
            "machine": list(solution.model.machines[network.machine].line),
        },
        "holds": "all input values" if solution.answer.robust else "stated values only",
        "work": _work(solution),
        "settings": _settings(solution, requirements),
        "wants": _wants(solution),
        "merits": _merits(solution, requirements),
        "grades": _grades(solution),
        "requirements": sorted(requirements.values(), key=lambda r: (r["margin"], r["place"], r["law"])),
        "derived": {n: _derived(solution, n) for n in sorted(network.derived)},
        "inputs": _inputs(solution),
        "laws": _laws(solution),
        "warnings": _warnings(solution),
        "cautions": _notices(solution, "caution"),
        "prepare": _notices(solution, "prepare"),
        "sources": [
            {"file": name, "sha256": hashlib.sha256(source.text.encode()).hexdigest()}
            for name, source in sorted(solution.model.sources.items())
        ],
    }


def _work(solution: Solution) -> Data:
    """Say how the answer is known: how much was looked at, and whether nothing better can be there."""
    answer = solution.answer
    limit = answer.effort
    says = effort_told(answer.certified, bool(solution.network.merits), answer.boxes, limit)
    return {"boxes": answer.boxes, "limit": limit, "certified": answer.certified, "says": says}


def number(value: float, unit: Unit) -> float | None:
    """Turn a base value into a number of display size with few digits, the same on every machine."""
    text = shown(value, unit, DIGITS)
    return None if text == "unbounded" else float(text)


# ---- settings


def _settings(solution: Solution, requirements: dict[int, Data]) -> Data:
    groups: Data = {}
    for i, variable in enumerate(solution.network.settings):
        group, _, name = variable.decl.name.partition(".")
        groups.setdefault(group, {})[name or group] = _setting(solution, i, requirements)
    return {g: groups[g] for g in sorted(groups)}


def _setting(solution: Solution, i: int, requirements: dict[int, Data]) -> Data:
    variable, band = solution.variable(i), solution.answer.bands[i]
    decl = variable.decl

    def value(index: int) -> float | int:
        text = decl.text(index)
        return float(text) if "." in text else int(text)

    at = int(solution.answer.point[i])
    pin = variable.pin
    fixed = pin is not None
    return {
        "value": value(at),
        "text": decl.text(at),
        "unit": decl.unit.symbol,
        "about": decl.doc,
        "chosen": _chosen(solution, i),
        "because": pin.reason if pin else "",
        "band": [value(at if fixed else band.first), value(at if fixed else band.last)],
        "band_text": decl.text(at) if fixed else _band_text(decl.text(band.first), decl.text(band.last)),
        "limited_below": _end(solution, band.below, requirements, "id") if not fixed else "",
        "limited_above": _end(solution, band.above, requirements, "id") if not fixed else "",
        "ends_below": _end(solution, band.below, requirements, "title") if not fixed else "",
        "ends_above": _end(solution, band.above, requirements, "title") if not fixed else "",
        "step": float(decl.step),
        "requirements": [
            data["id"] for r, data in requirements.items() if solution.touches(i, solution.network.requirements[r])
        ],
        "place": solution.place(pin.span if pin else decl.span),
    }


def _band_text(first: str, last: str) -> str:
    return first if first == last else f"{first} .. {last}"


def _chosen(solution: Solution, i: int) -> str:
    """Say how a setting came to its value: given, pinned, preference, low, high or middle."""
    variable = solution.variable(i)
    if variable.pin is not None:
        return "given" if variable.decl.given else "pinned"
    tape = solution.problem.tape
    if any(tape.depends[m.node] >> i & 1 for m in solution.network.merits):
        return "preference"
    return variable.decl.rather or "middle"


def _end(solution: Solution, end: int, requirements: dict[int, Data], key: str) -> str:
    """Say what ends a band: by the id of a requirement, or by its title for people."""
    if end in requirements:
        return str(requirements[end][key])
    words = {"id": ("preference", "range"), "title": ("the preferences", "the end of its own range")}
    return words[key][0 if end == MERIT_END else 1]


# ---- requirements


def _requirements(solution: Solution) -> dict[int, Data]:
    ids, names = identities(solution), titles(solution.network)
    return {
        m.requirement: _requirement(solution, m, ids[m.requirement], names[m.requirement])
        for m in solution.answer.margins
    }


def _requirement(solution: Solution, margin: Margin, identity: str, title: str) -> Data:
    requirement = solution.network.requirements[margin.requirement]
    unit = unit_for(requirement.dimension)
    lookup = corner_lookup(solution, margin)
    numbers = comparison_text(requirement.comparison, lookup)
    law = solution.model.laws.get(requirement.name)
    return {
        "id": identity,
        "title": title,
        "law": requirement.name if requirement.origin == "law" else "",
        "origin": requirement.origin,
        "text": requirement_text(requirement),
        "numbers": numbers,
        "otherwise": requirement.otherwise,
        "left": number(margin.left, unit),
        "right": number(margin.right, unit),
        "unit": unit.symbol,
        "sides": told(requirement.comparison.relation, margin.left, margin.right, unit),
        "spare": spare(max(margin.share, 0.0), margin, requirement),
        "margin": float(rounded(100 * max(margin.share, 0.0), 3)),
        "at": _corner(solution, margin),
        "status": law.status if law else "",
        "source": law.source if law else "",
        "remedies": [
            {"direction": r.direction, "name": r.name.text, "text": r.text.text if r.text else ""}
            for r in requirement.remedies
        ],
        "place": solution.place(requirement.span),
    }


def _corner(solution: Solution, margin: Margin) -> Data:
    """List the uncertain inputs that a requirement depends on, at their worst."""
    tape, network = solution.problem.tape, solution.network
    slack = network.requirements[margin.requirement].slack
    found = {}
    for i, variable in enumerate(network.inputs):
        used = tape.depends[slack] >> (tape.setting_count + i) & 1
        if used and variable.low < variable.high and variable.given.amount:
            found[variable.given.name] = with_unit(float(margin.inputs[i]), variable.given.amount.unit)
    return dict(sorted(found.items()))


# ---- wants, merits, grades


def _wants(solution: Solution) -> list[Data]:
    found = []
    margins = {m.requirement: m for m in solution.answer.margins}
    for r, requirement in enumerate(solution.network.requirements):
        if requirement.origin != "want":
            continue
        unit = unit_for(requirement.dimension)
        margin = margins.get(r)
        relation = requirement.comparison.relation
        worst = told(relation, margin.left, margin.right, unit) if margin else ""
        found.append(
            {
                "text": requirement.name,
                "met": margin is not None,
                "worst": worst,
                "place": solution.place(requirement.span),
            }
        )
    return found


def _merits(solution: Solution, requirements: dict[int, Data]) -> list[Data]:
    found = []
    for m, merit in enumerate(solution.network.merits):
        decl = solution.model.merits[merit.name]
        found.append(
            {
                "name": merit.name,
                "about": decl.doc,
                **merit_shown(solution.model, merit.name, solution.answer.merits[m]),
                "limited_by": [requirements[r]["id"] for r in solution.answer.limits[m] if r in requirements],
                "place": solution.place(decl.span),
            }
        )
    return found


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


def _wanted_worst(solution: Solution, grade: GradeDecl) -> float | None:
    """Give the proved worst of a graded quantity where the profile bounds it on that side; None elsewhere."""
    for margin in solution.answer.margins:
        requirement = solution.network.requirements[margin.requirement]
        subject, relation = requirement.comparison.left, requirement.comparison.relation
        if requirement.origin == "want" and subject == tree.Reference(grade.quantity):
            if relation == "<=" and not grade.more_is_better:
                return margin.left
            if relation == ">=" and grade.more_is_better:
                return margin.right
    return None


def _grades(solution: Solution) -> Data:
    """Name the band that a graded quantity reaches for all input values."""
    found = {}
    for name in sorted(solution.network.grades):
        grade = solution.model.grades[name]
        derived = solution.derived.get(grade.quantity)
        if derived is None:
            continue
        worst = _wanted_worst(solution, grade)
        if worst is None:
            worst = derived.low if grade.more_is_better else derived.high
        unit = next((b.unit for b in grade.bands if b.unit), unit_for(derived.dimension))
        bands = [b for b in grade.bands[:-1] if b.limit is not None]
        reached = next(
            (
                b.name
                for b in bands
                if b.limit is not None
                and (
                    worst >= b.limit - 1e-9 * abs(b.limit)
                    if grade.more_is_better
                    else worst <= b.limit + 1e-9 * abs(b.limit)
                )
            ),
            grade.bands[-1].name,
        )
        found[name] = {
            "band": reached,
            "quantity": grade.quantity,
            "worst": with_unit(worst, unit),
            "place": solution.place(grade.span),
        }
    return found


# ---- derived quantities, inputs, laws


def _derived(solution: Solution, name: str) -> Data:
    derived = solution.derived[name]
    let = solution.network.lets[name]
    unit = solution.unit_of(name)
    law = solution.model.laws[let.law]
    return {
        "value": number(derived.stated, unit),
        "low": number(derived.low, unit),
        "high": number(derived.high, unit),
        "unit": unit.symbol,
        "text": with_unit(derived.stated, unit),
        "range_text": f"{shown(derived.low, unit)} .. {with_unit(derived.high, unit)}",
        "about": let.doc,
        "formula": with_numbers(let.expression, lambda _: None),
        "numbers": with_numbers(let.expression, solution.stated_text),
        "law": let.law,
        "status": law.status,
        "source": law.source,
        "place": solution.place(let.span),
    }


def _inputs(solution: Solution) -> list[Data]:
    """List all inputs, the assumed ones first, then by how much their range costs the tightest requirement."""
    costs = _costs(solution)
    values = {v.given.name: v.given for v in solution.network.inputs}
    values |= solution.network.consulted
    data = [_input(solution, given, costs) for given in values.values()]
    rank = {"assumed": 0, "typical": 1, "published": 2, "measured": 3}
    return sorted(data, key=lambda d: (rank[d["evidence"]], -d["cost"], d["name"]))


def _input(solution: Solution, given: GivenValue, costs: dict[str, tuple[float, str]]) -> Data:
    cost, requirement = costs.get(given.name, (0.0, ""))
    quantity = solution.model.quantities[given.name]
    amount = given.amount
    data: Data = {
        "name": given.name,
        "about": quantity.doc,
        "owner": quantity.owner,
        "entity": given.entity,
        "text": given.text,
        "range_text": "",
        "evidence": given.evidence.kind,
        "evidence_text": given.evidence.text,
        "evidence_given": given.evidence.stated,
        "cost": float(rounded(100 * cost, 3)),
        "cost_on": requirement,
        "replaced": [],
        "place": solution.place(given.span),
    }
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
        data["replaced"].append({"entity": older.entity, "text": older.text, "place": solution.place(older.span)})
        older = older.replaced
    return data


def _range_text(amount: Amount) -> str:
    if amount.exact:
        return with_unit(amount.stated, amount.unit)
    return f"{shown(amount.low, amount.unit)} .. {with_unit(amount.high, amount.unit)}"


def _costs(solution: Solution) -> dict[str, tuple[float, str]]:
    """For each input, the largest share of slack that its range takes from a tight requirement."""
    limiting = {r for limits in solution.answer.limits for r in limits}
    tight = [m for m in solution.answer.margins if m.requirement in limiting or m.share < 0.05]
    names = titles(solution.network)
    batch = Batch([solution.problem])
    found: dict[str, tuple[float, str]] = {}
    for margin in tight:
        name = names[margin.requirement]
        for i, cost in cost_of_ranges(batch, solution.answer.point, margin.requirement, margin.inputs):
            key = solution.network.inputs[i].given.name
            if cost > found.get(key, (0.0, ""))[0]:
                found[key] = (cost, name)
    return found


def _laws(solution: Solution) -> list[Data]:
    used = {r.name for r in solution.network.requirements if r.origin == "law"}
    used |= {let.law for let in solution.network.lets.values()}
    return [
        {
            "name": n,
            "about": law.about,
            "status": law.status,
            "source": law.source,
            "place": solution.place(law.span),
        }
        for n, law in sorted(solution.model.laws.items())
        if n in used
    ]


# ---- warnings and notices


def _warnings(solution: Solution) -> list[Data]:
    found = []
    for validity in solution.network.validities:
        highest, lowest = solution.ranges[validity.left][2], solution.ranges[validity.right][1]
        if highest > lowest + 1e-9 * max(abs(highest), abs(lowest)):
            found.append(
                {
                    "law": validity.law,
                    "text": comparison_text(validity.comparison),
                    "otherwise": validity.text,
                    "place": solution.place(validity.span),
                }
            )
    return found


def _notices(solution: Solution, kind: str) -> list[Data]:
    """Give the notices whose condition may be true somewhere in the input ranges, once each."""
    found: dict[str, Data] = {}
    for notice in solution.network.notices:
        if notice.kind != kind:
            continue
        if all(solution.ranges[left][1] <= solution.ranges[right][2] for left, right in notice.tests):
            found.setdefault(
                notice.text, {"text": notice.text, "law": notice.law, "place": solution.place(notice.span)}
            )
    return list(found.values())
