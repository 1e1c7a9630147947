"""Where nothing holds: the lines that cannot be true together, each with its place, and by how much."""

from typing import Any

from ..meaning.display import unit_for
from ..solving.answering import Margin, Refusal, feasible
from ..solving.conflict import TRIAL_EFFORT
from ..solving.problem import TOLERANCE, Problem
from ..solving.search import OutOfEffort
from ..text.diagnostic import Diagnostic, Related, diagnose
from .formulas import requirement_text
from .sides import sides, spare


def explain_refusal(problem: Problem, refusal: Refusal, effort: int) -> Diagnostic:
    """Make the diagnostic of a refusal."""
    network = problem.network
    facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine}
    place = next((m.span for m in network.profile.machines if m.text == network.machine), network.profile.span)
    if refusal.out_of_effort:
        return diagnose("M505", place, limit=f"{effort:,}", **facts)
    related = [Related(network.requirements[m.requirement].span, _role(problem, m)) for m in refusal.margins]
    pins = [pin for i in refusal.pins if (pin := network.settings[i].pin) is not None]
    related += [Related(pin.span, f"{pin.name} is fixed here") for pin in pins]
    count = len(related)
    together = "this line cannot hold" if count == 1 else f"these {count} lines cannot hold together"
    advice = "\n".join([together, *(f"try: {r}" for r in _ways_out(problem, refusal))])
    return diagnose("M503", place, related=related, advice=advice, **facts)


def _ways_out(problem: Problem, refusal: Refusal) -> list[str]:
    """List what could be changed. Settings that the search was free to choose are no way out: it has tried them."""
    network = problem.network
    free = {s.decl.name for s in network.settings if s.pin is None}
    pins = [pin for i in refusal.pins if (pin := network.settings[i].pin) is not None]
    found = [f"another value than {pin.amount.text} for {pin.name}" for pin in pins]
    for m in refusal.margins:
        requirement = network.requirements[m.requirement]
        if requirement.origin == "want":
            found.append(f"ask for less than: {requirement.name}")
        for r in requirement.remedies:
            if r.name.text not in free and not any(pin.name == r.name.text for pin in pins):
                found.append(f"{r.direction} {r.name.text}" + (f": {r.text.text}" if r.text else ""))
    return list(dict.fromkeys(found))


def _role(problem: Problem, margin: Margin) -> str:
    """Say a requirement with its two sides, and by how much it is missed where the others are held."""
    requirement = problem.network.requirements[margin.requirement]
    unit = unit_for(requirement.dimension)
    said = requirement.otherwise or requirement_text(requirement)
    left, right = sides(margin.left, margin.right, unit)
    if margin.share < -2 * TOLERANCE:
        return f"{said}: {left} is not <= {right}, missed by {spare(-margin.share, margin, requirement)}"
    return f"{said}: {left} <= {right} holds"


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
        try:
            if feasible(whole, hard, min(effort, TRIAL_EFFORT)):
                cures.append(network.inputs[i].given)
        except OutOfEffort:
            pass
        whole.low[i], whole.high[i] = low, high
    if cures:
        names = ", ".join(f"{g.name} ({g.text})" for g in cures)
        advice = f"knowing one of these exactly would do: {names}"
    else:
        assumed = [v.given.name for v in network.inputs if v.low < v.high and v.given.evidence.kind == "assumed"]
        first = f"; measure the assumed ones first: {', '.join(sorted(assumed))}" if assumed else ""
        advice = f"several inputs would have to be known better{first}"
    return diagnose("M504", network.profile.span, machine=network.machine, advice=advice)
