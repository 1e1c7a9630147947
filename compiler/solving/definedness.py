"""What a law cannot do for some input values: divide by zero, or take the root or logarithm of what has none."""

from collections.abc import Callable
from typing import Any

import numpy as np

from ..meaning.display import shown
from ..meaning.units import NUMBER, Unit
from ..network.graph import Network
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Span
from .problem import Problem

Excerpt = Callable[[Span], str]
"""Gives the text at a place."""


def undefined(problem: Problem, excerpt: Excerpt) -> list[Diagnostic]:
    """Report operations on inputs alone that are not defined over the whole input ranges, once a place."""
    network, tape = problem.network, problem.tape
    settings_mask = (1 << tape.setting_count) - 1
    low = problem.variables(problem.settings_at(problem.first[:, None]), problem.low[:, None])
    high = problem.variables(problem.settings_at(problem.last[:, None]), problem.high[:, None])
    enclosures = tape.enclosures(low, high)
    found: dict[Span, Diagnostic] = {}
    for node in network.nodes:
        watched = {"div": 1, "log": 0, "sqrt": 0}.get(node.operator)
        if watched is None:
            continue
        argument = node.arguments[watched]
        if tape.depends[argument] & settings_mask:
            continue
        lo, hi = float(np.ravel(enclosures[argument].lo)[0]), float(np.ravel(enclosures[argument].hi)[0])
        bad = lo <= 0 <= hi if node.operator == "div" else lo < 0 or (node.operator == "log" and lo <= 0)
        if not bad:
            continue
        place = network.nodes[argument].span if network.nodes[argument].span.end else node.span
        unit = Unit("", NUMBER, 1.0)
        interval = f"{shown(lo, unit)} .. {shown(hi, unit)} in base units"
        what = excerpt(node.span)
        names = _inputs_of(network, tape.depends[argument] >> tape.setting_count)
        advice = (
            f"narrow the range of {names}" if names else "the value is fixed by the law itself"
        ) + ", or let the law apply only where it is defined (when)"
        facts: dict[str, Any] = {
            "what": excerpt(place),
            "range": interval,
            "machine": network.machine,
            "advice": advice,
        }
        if node.operator == "div":
            found.setdefault(node.span, diagnose("M501", node.span, **facts))
        else:
            facts["what"] = what
            found.setdefault(node.span, diagnose("M502", node.span, **facts))
    return list(found.values())


def _inputs_of(network: Network, mask: int) -> str:
    names = [v.given.name for i, v in enumerate(network.inputs) if mask >> i & 1]
    return " or ".join(names)
