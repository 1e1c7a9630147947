"""Where nothing holds: the lines that cannot be true together, each with its place, and by how much."""

from typing import Any

from ..meaning.display import rounded, unit_for, with_unit
from ..solving.answering import Margin, Refusal, feasible
from ..solving.problem import Problem
from ..text.diagnostic import Diagnostic, Related, diagnose
from .formulas import requirement_text


def explain_refusal(problem: Problem, refusal: Refusal, effort: int) -> Diagnostic:
    """Make the diagnostic of a refusal."""
    network = problem.network
    facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine}
    place = next((m.span for m in network.profile.machines if m.text == network.machine), network.profile.span)
    if refusal.out_of_effort:
        return diagnose("M505", place, limit=f"{effort:,}", **facts)
    related = [Related(network.requirements[m.requirement].span, _role(problem, m)) for m in refusal.margins]
    for i in refusal.pins:
        pin = network.settings[i].pin
        if pin is not None:
            related.append(Related(pin.span, f"{pin.name} is fixed here"))
    remedies = [
        f"{r.direction} {r.name.text}" + (f": {r.text.text}" if r.text else "")
        for m in refusal.margins
        for r in network.requirements[m.requirement].remedies
    ]
    count = len(related)
    first = "this line cannot hold" if count == 1 else f"these {count} lines cannot hold together"
    advice = "\n".join([first, *(f"try: {r}" for r in dict.fromkeys(remedies))])
    return diagnose("M503", place, related=related, advice=advice, **facts)


def _role(problem: Problem, margin: Margin) -> str:
    """Say a requirement with its two sides, and by how much it is broken at the closest settings."""
    requirement = problem.network.requirements[margin.requirement]
    unit = unit_for(requirement.dimension)
    said = requirement.otherwise or requirement_text(requirement)
    left, right = with_unit(margin.left, unit), with_unit(margin.right, unit)
    if margin.share < 0:
        broken = rounded(-100 * margin.share, 3)
        return f"{said}: {left} is not <= {right}, off by {broken} % at the closest settings"
    return f"{said}: {left} <= {right} at the closest settings"


def stated_only(problem: Problem, effort: int) -> Diagnostic:
    """Name the input whose range, made exact, would let something hold for all values."""
    network = problem.network
    whole = Problem(network)
    hard = [r for r, q in enumerate(network.requirements) if not q.soft]
    cures = []
    for i in range(len(whole.stated)):
        if whole.low[i] == whole.high[i]:
            continue
        low, high = whole.low[i], whole.high[i]
        whole.low[i] = whole.high[i] = whole.stated[i]
        if feasible(whole, hard, effort):
            cures.append(network.inputs[i].given)
        whole.low[i], whole.high[i] = low, high
    if cures:
        names = ", ".join(f"{g.name} ({g.text})" for g in cures)
        advice = f"knowing one of these exactly would do: {names}"
    else:
        advice = "several inputs would have to be known better; measure the assumed ones first"
    return diagnose("M504", network.profile.span, machine=network.machine, advice=advice)
