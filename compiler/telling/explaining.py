"""What is to be said of one setting: what keeps it where it is, what a step beyond would break, and what would help.

All of it is plain data in display units; ``why`` and ``why_not`` make text of it, and programs get it as it is.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..meaning.display import with_unit
from ..meaning.model import SettingDecl
from ..network.graph import InputVariable, Network, Requirement
from ..solving.answering import Answer, Margin, margins, solve_all
from ..solving.needing import Need, Trial
from ..solving.problem import TOLERANCE, Indices, Problem
from .bundle import merit_shown
from .common import number
from .formulas import comparison_text, corner_lookup, derivation, identities, requirement_text, titles, with_numbers
from .sides import bound, change, spare, told, unit_of_sides
from .solution import Solution, at_corner
from .valued import Point, condition_span, quoted

Data = dict[str, Any]

ALIKE = 1e-9
"""Merits that differ by no more than this share count as the same."""


@dataclass(frozen=True, slots=True)
class Question:
    """A setting that is asked about, with what is needed to try other values of it.

    ``opened`` is the problem with the whole lattice of the setting, so that what is proved reaches a fixed one too.
    """

    solution: Solution
    setting: int
    opened: Problem
    trial: Trial
    titles: list[str]
    ids: dict[int, str]

    @property
    def decl(self) -> SettingDecl:
        """The declaration of the setting."""
        return self.solution.variable(self.setting).decl

    @property
    def at(self) -> int:
        """The lattice index that was chosen."""
        return int(self.solution.answer.point[self.setting])

    def moved(self, index: int) -> Indices:
        """Give the chosen settings with another value of this one."""
        point = self.solution.answer.point.copy()
        point[self.setting] = index
        return point

    def value(self, index: int) -> Data:
        """Give a value of the setting as number and text."""
        return {"value": float(self.decl.text(index)), "text": self.solution.setting_text(self.setting, index)}


def question_of(solution: Solution, name: str) -> Question:
    """Make a solution ready for questions about one of its settings."""
    i = solution.setting_index(name)
    network = counted(solution.network, solution.answer)
    opened = replace(solution.variable(i), first=0, last=solution.variable(i).decl.last)
    whole = replace(network, settings=(*network.settings[:i], opened, *network.settings[i + 1 :]))
    trial = Trial(solution.network, [_believable(solution, v) for v in solution.network.inputs])
    return Question(solution, i, Problem(whole), trial, titles(network), identities(solution))


def about(solution: Solution) -> Data:
    """Say what an explanation is of, and how the settings are known."""
    network = solution.network
    return {
        "profile": network.profile.name,
        "material": network.material,
        "machine": network.machine,
        "holds": solution.holds,
        "certified": solution.answer.certified,
    }


def counted(network: Network, answer: Answer) -> Network:
    """Give the network that an answer is an answer to: with the stated values alone where nothing more holds."""
    if answer.robust:
        return network
    return replace(network, inputs=tuple(replace(v, low=v.stated, high=v.stated) for v in network.inputs))


def _believable(solution: Solution, variable: InputVariable) -> tuple[float, float]:
    quantity, amount = solution.model.quantities.get(variable.given.name), variable.given.amount
    for low, high, unit in quantity.ranges if quantity and amount else ():
        # A hardness has a range for each scale.
        if amount is not None and (len(quantity.ranges if quantity else ()) == 1 or unit.symbol == amount.unit.symbol):
            return low, high
    return variable.low, variable.high


# ---- where a band ends


@dataclass(frozen=True, slots=True)
class Ends:
    """Lattice indices that hold with the other settings kept; requirements that end them, None for the lattice."""

    first: int
    last: int
    below: int | None
    above: int | None


def band_ends(question: Question) -> Ends:
    """Give the band of a setting; that of a fixed one as if it were free."""
    solution, i = question.solution, question.setting
    found, counts = solution.answer.bands[i], [m.requirement for m in solution.answer.margins]
    if solution.variable(i).pin is not None:
        point = solution.answer.point
        free = [
            replace(s, first=0 if k == i else int(point[k]), last=s.decl.last if k == i else int(point[k]), pin=None)
            for k, s in enumerate(solution.network.settings)
        ]
        alone = replace(
            counted(solution.network, solution.answer),
            settings=tuple(free),
            requirements=tuple(replace(solution.network.requirements[r], soft=False) for r in counts),
            merits=(),
        )
        outcome = solve_all([alone])[0][1]
        if not isinstance(outcome, Answer) or not outcome.bands[i].first <= question.at <= outcome.bands[i].last:
            return Ends(question.at, question.at, None, None)
        found = outcome.bands[i]
        below, above = (counts[r] if r >= 0 else None for r in (found.below, found.above))
        return Ends(found.first, found.last, below, above)
    below, above = (r if r >= 0 else None for r in (found.below, found.above))
    return Ends(found.first, found.last, below, above)


# ---- what a value would break


def broken_at(question: Question, index: int) -> list[Margin]:
    """Give the requirements that do not hold, or are not proved to, where the setting has another value."""
    solution = question.solution
    counts = [m.requirement for m in solution.answer.margins]
    # What does not depend on the setting holds as before.
    active = [r for r in counts if solution.touches(question.setting, solution.network.requirements[r])]
    return [m for m in margins(question.opened, question.moved(index), active) if not m.share >= -2 * TOLERANCE]


def breach(question: Question, margin: Margin, index: int) -> Data:
    """Say what a requirement is, by how much a value of the setting misses it, and what would help."""
    network = question.solution.network
    requirement = network.requirements[margin.requirement]
    unit = unit_of_sides(network, requirement)
    moved = replace(question.solution, answer=replace(question.solution.answer, point=question.moved(index)))
    relation = requirement.comparison.relation
    law = question.solution.model.laws.get(requirement.name)
    values = Point(question.solution.model, network, question.moved(index).tolist(), margin.inputs)
    return {
        "id": question.ids.get(margin.requirement, requirement.name),
        "title": question.titles[margin.requirement],
        "reason": reason(question.solution, requirement),
        "text": requirement_text(requirement),
        "numbers": comparison_text(requirement.comparison, corner_lookup(moved, margin)),
        "quoted": quoted(question.solution.model, condition_span(requirement), values.requirement(requirement)),
        "left": number(margin.left, unit),
        "right": number(margin.right, unit),
        "unit": unit.symbol,
        "sides": told(relation, margin.left, margin.right, unit, holds=False),
        "missed": spare(-margin.share, margin, requirement),
        "worst": worst(question, margin, question.moved(index)),
        "derivation": derived_at(moved, margin, requirement, question.setting, values),
        "status": law.status if law else "",
        "source": law.source if law else "",
        "place": question.solution.place(requirement.span),
        "help": help_for(question, margin, index),
    }


def reason(solution: Solution, requirement: Requirement) -> str:
    """Say a requirement in the trade's words: a law's own, or what the word of a want means."""
    if requirement.origin != "want":
        return requirement.otherwise or requirement_text(requirement)
    want = next((w for w in solution.network.profile.wants if w.text == requirement.name), None)
    grade = solution.model.grades.get(want.name) if want else None
    said = next((b.doc for b in grade.bands if want and b.name == want.word and b.doc), "") if grade else ""
    return "asked for by the profile" + (f'; {want.word} means "{said}"' if said and want else "")


def derived_at(solution: Solution, margin: Margin, requirement: Requirement, setting: int, point: Point) -> list[Data]:
    """List the derived quantities between a setting and a requirement, with their values where it is closest."""
    values, lookup = at_corner(solution, margin), corner_lookup(solution, margin)
    found = []
    for name in derivation(solution, requirement, setting):
        let, unit = solution.network.lets[name], solution.unit_of(name)
        found.append(
            {
                "name": name,
                "about": let.doc,
                "formula": with_numbers(let.expression, lambda _: None),
                "numbers": with_numbers(let.expression, lookup),
                "quoted": quoted(solution.model, let.span.to(let.expression.span), point.let(name)),
                "value": number(values[name], unit),
                "unit": unit.symbol,
                "text": with_unit(values[name], unit),
                "law": let.law,
                "place": solution.place(let.span),
            }
        )
    return found


def worst(question: Question, margin: Margin, point: Indices) -> list[Data]:
    """List the uncertain inputs of a requirement at the values where it is closest, the dearest first.

    What an input costs is the share of the larger side that its stated value would give back.
    """
    solution, r = question.solution, margin.requirement
    depends, count = solution.problem.tape.depends[solution.network.requirements[r].slack], len(point)
    inputs = counted(solution.network, solution.answer).inputs
    used = [k for k, v in enumerate(inputs) if v.low < v.high and depends >> (count + k) & 1]
    rows = np.repeat(margin.inputs[:, None], len(used) + 1, axis=1)
    for at, k in enumerate(used, start=1):
        rows[k, at] = inputs[k].stated
    share = question.trial.share(r, point[:, None], rows)
    found = []
    for at, k in enumerate(used, start=1):
        unit = solution.unit_of(inputs[k].given.name)
        cost = float(share[at] - share[0])
        found.append(
            {
                "name": inputs[k].given.name,
                "value": number(float(margin.inputs[k]), unit),
                "unit": unit.symbol,
                "text": with_unit(float(margin.inputs[k]), unit),
                "cost": round(100 * cost, 2) + 0.0 if np.isfinite(cost) else None,
            }
        )
    return sorted(found, key=lambda d: (-(d["cost"] or 0.0), d["name"]))


# ---- what would help


def help_for(question: Question, margin: Margin, index: int) -> Data:
    """Say what would let a value of the setting meet a requirement: another setting, an input, or asking for less."""
    solution = question.solution
    requirement = solution.network.requirements[margin.requirement]
    settings, inputs = question.trial.needs(margin.requirement, question.moved(index), margin.inputs)
    return {
        "settings": [_setting_need(question, n) for n in settings if n.variable != question.setting],
        "inputs": sorted((_input_need(solution, n) for n in inputs), key=_handiness),
        "want": _want_need(solution.network, requirement, margin),
        "advice": [
            {"direction": r.direction, "name": r.name.text, "text": r.text.text if r.text else ""}
            for r in requirement.remedies
            if r.name.text != question.decl.name
        ],
    }


def _setting_need(question: Question, need: Need) -> Data:
    """Say what value of another setting would do, and what that one's own band says to it."""
    solution, i, to = question.solution, need.variable, int(need.value)
    decl, band = solution.variable(i).decl, solution.answer.bands[need.variable]
    inside = band.first <= to <= band.last
    end = band.above if need.more else band.below
    return {
        "name": decl.name,
        "bound": "at least" if need.more else "at most",
        "value": float(decl.text(to)),
        "unit": decl.unit.symbol,
        "text": solution.setting_text(i, to),
        "now": solution.setting_text(i),
        "ended_by": "" if inside or end < 0 else question.titles[end],
        "ended_at": "" if inside else solution.setting_text(i, band.last if need.more else band.first),
    }


def _input_need(solution: Solution, need: Need) -> Data:
    """Say what an input would have to be; ``known`` where its stated value would do if it were known better."""
    variable = solution.network.inputs[need.variable]
    unit = solution.unit_of(variable.given.name)
    value = bound(need.value, unit, need.more)
    at = need.value
    known = variable.low < variable.high and (variable.stated >= at if need.more else variable.stated <= at)
    size = abs(at - variable.stated) / (abs(variable.stated) or 1.0)
    return {
        "name": variable.given.name,
        "owner": solution.model.quantities[variable.given.name].owner,
        "bound": "at least" if need.more else "at most",
        "value": value,
        "unit": unit.symbol,
        "text": f"{value:.10g} {unit.symbol}".rstrip(),
        "now": variable.given.text,
        "known": bool(known),
        "evidence": variable.given.evidence.kind,
        "change": round(100 * size, 2),
    }


def _handiness(need: Data) -> tuple[bool, float, str]:
    """Order needs: first what measuring might show, then by how far the input would have to move."""
    return not need["known"], need["change"], need["name"]


def _want_need(network: Network, requirement: Requirement, margin: Margin) -> Data | None:
    """Say what a want would have to ask for instead."""
    if requirement.origin != "want":
        return None
    unit = unit_of_sides(network, requirement)
    more = requirement.comparison.relation in (">", ">=")
    reached = margin.right if more else margin.left
    value = bound(reached, unit, not more)
    return {
        "name": with_numbers(requirement.comparison.left, lambda _: None),
        "bound": "at least" if more else "at most",
        "value": value,
        "unit": unit.symbol,
        "text": f"{value:.10g} {unit.symbol}".rstrip(),
    }


# ---- what a value would do to the merits


def merits_at(question: Question, index: int) -> list[Data]:
    """Compare the merits at the chosen settings with those at another value of the setting."""
    points = np.stack([question.moved(question.at), question.moved(index)], axis=1)
    return merits_compared(question.solution, *question.trial.merits(points).T)


def merits_compared(solution: Solution, here: Any, there: Any) -> list[Data]:
    """Compare two sets of merits in base units, in the order of the preferences."""
    found = []
    for m, merit in enumerate(solution.network.merits):
        before, after = (merit_shown(solution.model, merit.name, float(v[m])) for v in (here, there))
        gain = float(there[m] - here[m])
        same = abs(gain) <= ALIKE * max(abs(float(here[m])), abs(float(there[m])))
        found.append(
            {
                "name": merit.name,
                "here": before["value"],
                "there": after["value"],
                "unit": before["unit"],
                "here_text": before["text"],
                "there_text": after["text"],
                "change": "" if same else change(before["value"] or 0.0, after["value"] or 0.0),
                "effect": "same" if same else "better" if gain > 0 else "worse",
            }
        )
    return found
