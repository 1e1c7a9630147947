"""What a law cannot do for some input values: divide by zero, or take the root or logarithm of what has none."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from ..meaning.dimensions import names_in
from ..meaning.display import shown, unit_for, with_unit
from ..meaning.units import Unit
from ..network.graph import Network, Node
from ..syntax import tree
from ..text.diagnostic import Diagnostic, Shown, diagnose
from ..text.joining import listed
from ..text.source import Span
from .batch import Batch
from .operators import Interval
from .problem import Problem
from .tape import row

Excerpt = Callable[[Span], str]
"""Gives the text at a place."""

_WATCHED = {"div": 1, "log": 0, "sqrt": 0}
"""Operators that are not defined for all numbers, with the argument that decides."""

MOST_TOGETHER = 256
"""Machines whose enclosures are held at once."""


def undefined(problem: Problem, excerpt: Excerpt) -> list[Diagnostic]:
    """Report operations on inputs alone that are not defined over the whole input ranges, once a place."""
    return undefined_all([problem], excerpt)[0]


def undefined_all(problems: Sequence[Problem], excerpt: Excerpt) -> list[list[Diagnostic]]:
    """Report for each problem what ``undefined`` does; problems that share a tape are looked at together."""
    found: list[list[Diagnostic]] = [[] for _ in problems]
    groups: dict[int, list[int]] = {}
    for k, problem in enumerate(problems):
        groups.setdefault(id(problem.tape), []).append(k)
    for members in groups.values():
        for at in range(0, len(members), MOST_TOGETHER):
            part = members[at : at + MOST_TOGETHER]
            _look(part, [problems[k] for k in part], excerpt, found)
    return found


def _look(members: Sequence[int], problems: Sequence[Problem], excerpt: Excerpt, found: list[list[Diagnostic]]) -> None:
    """Report what is undefined for problems that share a tape."""
    network, tape = problems[0].network, problems[0].tape
    settings_mask = (1 << tape.setting_count) - 1
    watched = [(n, n.arguments[_WATCHED[n.operator]]) for n in network.nodes if n.operator in _WATCHED]
    watched = [(node, argument) for node, argument in watched if not tape.depends[argument] & settings_mask]
    enclosures = _enclosed(Batch(problems), [argument for _, argument in watched])
    told: set[tuple[int, Span]] = set()
    for node, argument in watched:
        lo, hi = enclosures[argument]
        outside = (lo <= 0) & (hi >= 0) if node.operator == "div" else lo <= 0 if node.operator == "log" else lo < 0
        if not outside.any():
            continue
        for at in np.flatnonzero(np.broadcast_to(outside, (len(problems),))).tolist():
            if (at, node.span) not in told:
                told.add((at, node.span))
                ends = row(enclosures[argument], at)
                found[members[at]].append(_undefined(problems[at], node, argument, ends, excerpt))


def _enclosed(batch: Batch, nodes: Sequence[int]) -> list[Interval]:
    """Enclose some nodes over all settings and all input values, a column a machine."""
    low, high = batch.settings_at(batch.first), batch.settings_at(batch.last)
    return batch.tape.enclosures([*low, *batch.low], [*high, *batch.high], outputs=nodes)


def _undefined(problem: Problem, node: Node, argument: int, ends: tuple[float, float], excerpt: Excerpt) -> Diagnostic:
    """Say what an operation cannot do with the values between two ends."""
    network, tape, divides = problem.network, problem.tape, node.operator == "div"
    inner = network.nodes[argument]
    place = inner.span if divides and inner.span.end else node.span
    bounds = _range(ends, unit_for(inner.dimension))
    facts: dict[str, Any] = {"what": inner.name or excerpt(place), "range": bounds, "machine": network.machine}
    facts["advice"] = _advice(network, tape.depends[argument] >> tape.setting_count)
    values = _values(problem, node, Shown(inner.span, bounds))
    return diagnose("M501" if divides else "M502", node.span, values=values, **facts)


def _values(problem: Problem, node: Node, decisive: Shown) -> list[Shown]:
    """Give what stands beneath an operation: the ranges of the argument that decides and of the names in it."""
    network = problem.network
    nodes = {v.given.name: (v.node, v.given.amount.unit if v.given.amount else None) for v in network.inputs}
    nodes |= {s.decl.name: (s.node, s.decl.unit) for s in network.settings}
    nodes |= {name: (at, None) for name, at in network.derived.items()}
    names = [r for e in _written_at(network, node.span) for r in names_in(e) if r.name in nodes]
    names = [r for r in names if r.span != decisive.span]
    enclosures = _enclosed(Batch([problem]), [nodes[r.name][0] for r in names])
    found = []
    for r in names:
        at, hint = nodes[r.name]
        found.append(Shown(r.span, _range(row(enclosures[at], 0), unit_for(network.nodes[at].dimension, hint))))
    inside = decisive.span.file == node.span.file and (
        node.span.start <= decisive.span.start and decisive.span.end <= node.span.end
    )
    return [*found, decisive] if inside else found


def _written_at(network: Network, span: Span) -> list[tree.Expression]:
    """Find the expression that is written at a place."""
    waiting = [let.expression for let in network.lets.values()]
    waiting += [side for r in network.requirements for side in (r.comparison.left, r.comparison.right)]
    while waiting:
        e = waiting.pop()
        if e.span == span:
            return [e]
        match e:
            case tree.Negation():
                waiting.append(e.operand)
            case tree.Binary():
                waiting += (e.left, e.right)
            case tree.Call():
                waiting += e.arguments
            case tree.Integral():
                waiting += (e.body, e.start, e.stop)
    return []


def _range(ends: tuple[float, float], unit: Unit) -> str:
    low, high = shown(ends[0], unit), shown(ends[1], unit)
    return with_unit(ends[1], unit) if low == high else f"{low} .. {with_unit(ends[1], unit)}"


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
