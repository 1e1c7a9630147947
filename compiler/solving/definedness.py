"""What a law cannot do for some input values: divide by zero, or take the root or logarithm of what has none."""

from collections.abc import Callable
from typing import Any

from ..meaning.display import shown, unit_for, with_unit
from ..meaning.near import listed
from ..network.graph import Network
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Span
from .batch import Batch
from .problem import Problem
from .tape import row

Excerpt = Callable[[Span], str]
"""Gives the text at a place."""


def undefined(problem: Problem, excerpt: Excerpt) -> list[Diagnostic]:
    """Report operations on inputs alone that are not defined over the whole input ranges, once a place."""
    network, tape = problem.network, problem.tape
    settings_mask = (1 << tape.setting_count) - 1
    enclosures = Batch([problem]).whole
    found: dict[Span, Diagnostic] = {}
    for node in network.nodes:
        watched = {"div": 1, "log": 0, "sqrt": 0}.get(node.operator)
        if watched is None or tape.depends[node.arguments[watched]] & settings_mask:
            continue
        argument = node.arguments[watched]
        lo, hi = row(enclosures[argument], 0)
        divides = node.operator == "div"
        if not (lo <= 0 <= hi if divides else lo < 0 or (node.operator == "log" and lo <= 0)):
            continue
        inner = network.nodes[argument]
        place = inner.span if divides and inner.span.end else node.span
        unit = unit_for(inner.dimension)
        ends = shown(lo, unit), with_unit(hi, unit)
        bounds = ends[1] if ends[0] == shown(hi, unit) else " .. ".join(ends)
        facts: dict[str, Any] = {"what": inner.name or excerpt(place), "range": bounds, "machine": network.machine}
        facts["advice"] = _advice(network, tape.depends[argument] >> tape.setting_count)
        found.setdefault(node.span, diagnose("M501" if divides else "M502", node.span, **facts))
    return list(found.values())


def unbound(problem: Problem) -> list[Diagnostic]:
    """Warn of settings to choose that no requirement here depends on: any value would do."""
    network, reached = problem.network, 0
    for requirement in network.requirements:
        reached |= problem.tape.depends[requirement.slack]
    return [
        diagnose("M409", network.profile.span, name=s.decl.name, machine=network.machine)
        for i, s in enumerate(network.settings)
        if s.pin is None and not reached >> i & 1
    ]


def _advice(network: Network, mask: int) -> str:
    """Say what to change: a range that could be narrower, or where the law applies."""
    inputs = [v for i, v in enumerate(network.inputs) if mask >> i & 1]
    wide = [v.given.name for v in inputs if v.low < v.high]
    if wide:
        return f"narrow the range of {listed(wide)}, or let the law apply only where it is defined (when)"
    if inputs:
        names = listed(v.given.name for v in inputs)
        return f"give {names} another value, or let the law apply only where it is defined (when)"
    return "the value is fixed by the text of the law itself: mend the formula"
