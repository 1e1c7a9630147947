"""Budgets: what a setting is spent on, where a requirement asks it to be at least a sum.

Nothing here knows a setting. A budget is read off the library's own text: a requirement compares a setting alone with
something that is, perhaps under names and inside ``min`` or ``max``, a sum; the terms of that sum are the parts. What
the setting may be at most comes from the requirements that compare it alone the other way.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..meaning.display import with_unit
from ..meaning.model import LetDecl
from ..meaning.units import Unit
from ..network.graph import Network, Requirement
from ..solving.tape import Floats
from ..syntax import tree
from ..syntax.printing import print_expression
from .common import number
from .formulas import titles
from .solution import Solution

Data = dict[str, Any]

LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class _Sum:
    """A requirement that asks a setting to be at least a sum; ``node`` is where the sum stands, ``name`` its own."""

    setting: int
    requirement: int
    name: str
    node: int
    terms: tuple[tree.Expression, ...]


def budgets(solutions: Sequence[Solution]) -> list[list[Data]]:
    """Tell the budgets of solutions of one structure, those of each in the order of its settings."""
    first = solutions[0]
    found: list[list[Data]] = [[] for _ in solutions]
    for one in _sums(first):
        for told, data in zip(found, _told(solutions, one), strict=True):
            if data:
                told.append(data)
    return found


# ---- sums in the text


def _sums(solution: Solution) -> Iterator[_Sum]:
    """Find the first sum that each setting must cover."""
    network = solution.network
    for i, variable in enumerate(network.settings):
        for r, requirement in enumerate(network.requirements):
            least = _other_side(requirement, variable.decl.name, True)
            found = _sum(least, network.lets) if least is not None else None
            if found is not None:
                name, terms = found
                node = network.derived.get(name, requirement.left if not name else -1)
                if node >= 0:
                    yield _Sum(i, r, name, node, tuple(terms))
                    break


def _other_side(requirement: Requirement, setting: str, least: bool) -> tree.Expression | None:
    """Give what a setting that stands alone is compared with: the least it may be, or the most."""
    comparison = requirement.comparison
    small, large = comparison.left, comparison.right
    if comparison.relation in (">", ">="):
        small, large = large, small
    alone, other = (large, small) if least else (small, large)
    return other if isinstance(alone, tree.Reference) and alone.name == setting else None


def _sum(e: tree.Expression, lets: Mapping[str, LetDecl], name: str = "") -> tuple[str, list[tree.Expression]] | None:
    """Look through names, ``min`` and ``max`` for a sum with two names at least."""
    match e:
        case tree.Reference() if e.name in lets:
            return _sum(lets[e.name].expression, lets, e.name)
        case tree.Binary(operator="+"):
            terms = list(_terms(e))
            return (name, terms) if sum(isinstance(t, tree.Reference) for t in terms) > 1 else None
        case tree.Call() if e.function.text in ("min", "max"):
            # Under a name of its own a sum has a node; a part of a larger formula has none.
            references = [a for a in e.arguments if isinstance(a, tree.Reference)]
            return next((s for a in references if (s := _sum(a, lets)) is not None), None)
    return None


def _terms(e: tree.Expression) -> Iterator[tree.Expression]:
    if isinstance(e, tree.Binary) and e.operator == "+":
        yield from _terms(e.left)
        yield from _terms(e.right)
    else:
        yield e


# ---- with numbers


def _told(solutions: Sequence[Solution], one: _Sum) -> list[Data]:
    """Tell one budget of each solution; empty where its requirement does not count."""
    first = solutions[0]
    network = first.network
    named = {t.name: n for t in one.terms if isinstance(t, tree.Reference) if (n := _node(network, t.name)) >= 0}
    nodes = sorted({one.node, *named.values()})
    margins = [s.margin(one.requirement) for s in solutions]
    settings = np.stack([s.problem.settings_at(s.answer.point) for s in solutions], axis=1)
    inputs = np.stack([s.problem.stated if m is None else m.inputs for s, m in zip(solutions, margins, strict=True)], 1)
    values = first.problem.tape.values([*settings, *inputs], outputs=nodes)
    at = {n: np.broadcast_to(values[n], (len(solutions),)) for n in nodes}
    title = titles(network)[one.requirement]
    return [
        {} if margin is None else _one(solution, one, title, m, at, named)
        for m, (solution, margin) in enumerate(zip(solutions, margins, strict=True))
    ]


def _one(solution: Solution, one: _Sum, title: str, m: int, at: Mapping[int, Floats], named: Mapping[str, int]) -> Data:
    decl = solution.network.settings[one.setting].decl
    unit, chosen = decl.unit, float(solution.problem.settings_at(solution.answer.point)[one.setting])
    total = float(at[one.node][m])
    known = [t for t in one.terms if isinstance(t, tree.Reference) and t.name in named]
    parts = [_part(solution, t.name, float(at[named[t.name]][m]), unit) for t in known]
    others = [t for t in one.terms if t not in known]
    left = total - sum(float(at[named[t.name]][m]) for t in known)
    if others and abs(left) > LEAST:
        text = " + ".join(print_expression(t) for t in others)
        parts.append({"name": text, "about": "", "value": number(left, unit), "text": with_unit(left, unit, 3)})
    return {
        "setting": decl.name,
        "about": decl.doc,
        "unit": unit.symbol,
        "value": number(chosen, unit),
        "text": solution.setting_text(one.setting),
        "law": title,
        "place": solution.place(solution.network.requirements[one.requirement].span),
        "sum": {"name": one.name, "value": number(total, unit), "text": with_unit(total, unit, 3)},
        "parts": parts,
        "most": _most(solution, one.setting),
    }


def _node(network: Network, name: str) -> int:
    """Find the node of a name; -1 where it has none."""
    if name in network.derived:
        return network.derived[name]
    for s in network.settings:
        if s.decl.name == name:
            return s.node
    return next((v.node for v in network.inputs if v.given.name == name), -1)


def _part(solution: Solution, name: str, value: float, unit: Unit) -> Data:
    let, quantity = solution.network.lets.get(name), solution.model.quantities.get(name)
    about = let.doc if let else quantity.doc if quantity else ""
    return {"name": name, "about": about, "value": number(value, unit), "text": with_unit(value, unit, 3)}


def _most(solution: Solution, setting: int) -> Data:
    """Say how much there may be of a setting: the least of the requirements that bound it alone, else its lattice."""
    network, decl = solution.network, solution.network.settings[setting].decl
    unit, found = decl.unit, []
    for margin in solution.answer.margins:
        requirement = network.requirements[margin.requirement]
        other = _other_side(requirement, decl.name, False)
        if other is not None:
            name = print_expression(other)
            about = network.lets[name].doc if name in network.lets else requirement.otherwise
            found.append((margin.right, name, about, solution.place(requirement.span)))
    if not found:
        end = f"{decl.text(decl.last)} {unit.symbol}".rstrip()
        value = float(decl.number(decl.last))
        return {"name": "the end of its own range", "about": "", "value": value, "text": end, "place": ""}
    value, name, about, place = min(found)
    return {
        "name": name,
        "about": about,
        "value": number(value, unit),
        "text": with_unit(value, unit, 3),
        "place": place,
    }
