"""Settings and merits over varied inputs: the data that the table, the picture and the JSON text are made of."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from .. import __version__
from ..meaning.asking import Asked, Choice
from ..meaning.display import shown, unit_for
from ..meaning.model import GivenValue, Model
from ..meaning.units import from_base
from ..network.graph import Network, Requirement
from ..solving.answering import Answer, Refusal
from ..solving.problem import Problem
from ..syntax import tree
from .formulas import named_apart, requirement_text
from .solution import EVERYWHERE, STATED

FORMAT = 1
NOTE = (
    "These numbers are derived, not tested: try them with care. "
    "What the makers of machine and material say comes first."
)
NOWHERE_HOLDS = "nothing holds"
UNDECIDED = "not decided"

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Point:
    """One combination of the values that are set and varied, and what came of it."""

    choices: tuple[Choice, ...]
    problem: Problem
    outcome: Answer | Refusal


def varied(file: str, asked: Sequence[Asked], tables: Sequence[Data]) -> Data:
    """Gather the tables of all profiles and machines."""
    return {
        "format": FORMAT,
        "program": {"name": "meltwright", "version": __version__},
        "note": NOTE,
        "file": file,
        "set": [_set(a) for a in asked],
        "tables": list(tables),
    }


def table(model: Model, asked: Sequence[Asked], points: Sequence[Point]) -> Data:
    """Describe the points of one profile on one machine, in display units.

    A merit to have little of is given as what there is to be little of, and its ``better`` is ``less``.
    """
    network = points[0].problem.network
    names = [a.name for a in asked if a.varied]
    rows = [_point(model, names, p) for p in points]
    return {
        "profile": network.profile.name,
        "material": network.material,
        "machine": network.machine,
        "merits": [_merit(model, m.name) for m in network.merits],
        "settings": _settings(points, names),
        "points": rows,
        "reasons": _reasons(points, rows),
        "without_effect": [a.name for a in asked if not any(_used(p.problem, a.name) for p in points)],
    }


def _set(asked: Asked) -> Data:
    numbers = [_number(c) for c in asked.choices]
    return {
        "name": asked.name,
        "text": asked.text,
        "varied": asked.varied,
        "unit": _unit(asked.choices[0]),
        "values": numbers,
    }


def _unit(choice: Choice) -> str:
    return choice.amount.unit.symbol if choice.amount is not None else ""


def _number(choice: Choice) -> float | str:
    if choice.amount is None:
        return choice.word if isinstance(choice, GivenValue) else ""
    return float(f"{from_base(choice.amount.stated, choice.amount.unit):.12g}")


def _merit(model: Model, name: str) -> Data:
    decl = model.merits[name]
    unit = unit_for(model.dimensions[name])
    better = "less" if isinstance(decl.expression, tree.Negation) else "more"
    return {"name": name, "about": decl.doc, "unit": unit.symbol, "better": better}


# ---- points


def _point(model: Model, names: Sequence[str], point: Point) -> Data:
    values = {c.name: _number(c) for c in point.choices if c.name in names}
    outcome = point.outcome
    data: Data = {"values": values, "holds": NOWHERE_HOLDS, "merits": {}, "limited_by": {}, "settings": {}}
    data |= {"set_aside": [], "conflict": [], "boxes": outcome.boxes, "certified": False}
    if isinstance(outcome, Refusal):
        return data | {"holds": UNDECIDED if outcome.out_of_effort else NOWHERE_HOLDS, "conflict": _conflict(point)}
    network = point.problem.network
    identities = _identities(network)
    for m, merit in enumerate(network.merits):
        decl = _merit(model, merit.name)
        sign = -1 if decl["better"] == "less" else 1
        text = shown(sign * outcome.merits[m], unit_for(model.dimensions[merit.name]))
        data["merits"][merit.name] = None if text == "unbounded" else float(text)
        data["limited_by"][merit.name] = [identities[r] for r in outcome.limits[m]]
    for i, variable in enumerate(network.settings):
        data["settings"][variable.decl.name] = _plain(variable.decl.text(int(outcome.point[i])))
    return data | {
        "holds": EVERYWHERE if outcome.robust else STATED,
        "certified": outcome.certified,
        "set_aside": [network.requirements[r].name for r in outcome.dropped],
    }


def _plain(text: str) -> float | int:
    return float(text) if "." in text else int(text)


def _identities(network: Network) -> dict[int, str]:
    return named_apart(network, range(len(network.requirements)))


def _conflict(point: Point) -> list[str]:
    """Name the requirements that cannot hold together, and the pins that they break on."""
    network, outcome = point.problem.network, point.outcome
    assert isinstance(outcome, Refusal)
    identities = _identities(network)
    found = [identities[r] for r in outcome.conflict]
    pins = [pin for i in outcome.pins if (pin := network.settings[i].pin) is not None]
    return found + [f"{pin.name} = {pin.amount.text}" for pin in pins]


# ---- what is said once for all points


def _settings(points: Sequence[Point], names: Sequence[str]) -> list[Data]:
    """List the settings: the value of those that are the same wherever something holds, none for those that change."""
    found = []
    for i, variable in enumerate(points[0].problem.network.settings):
        decl = variable.decl
        texts = {decl.text(int(p.outcome.point[i])): None for p in points if isinstance(p.outcome, Answer)}
        found.append(
            {
                "name": decl.name,
                "about": decl.doc,
                "unit": decl.unit.symbol,
                "decimals": decl.decimals,
                "changes": len(texts) > 1,
                "varied": decl.name in names,
                "value": _plain(next(iter(texts))) if len(texts) == 1 else None,
            }
        )
    return found


def _reasons(points: Sequence[Point], rows: Sequence[Data]) -> dict[str, str]:
    """Give the words for every requirement that limits or conflicts somewhere."""
    wanted = {n for row in rows for names in [*row["limited_by"].values(), row["conflict"]] for n in names}
    found: dict[str, str] = {}
    for point in points:
        network = point.problem.network
        for r, identity in _identities(network).items():
            if identity in wanted:
                found.setdefault(identity, _words(network.requirements[r]))
    return dict(sorted(found.items()))


def _words(requirement: Requirement) -> str:
    return requirement.otherwise or requirement_text(requirement)


def _used(problem: Problem, name: str) -> bool:
    """Tell whether a name matters here: it decides whether a law applies, or a requirement or merit hangs on it."""
    network, tape = problem.network, problem.tape
    if name in network.consulted:
        return True
    places = [i for i, s in enumerate(network.settings) if s.decl.name == name]
    places += [tape.setting_count + i for i, v in enumerate(network.inputs) if v.given.name == name]
    nodes = [*(r.slack for r in network.requirements), *(m.node for m in network.merits)]
    return any(tape.depends[n] >> place & 1 for n in nodes for place in places)
