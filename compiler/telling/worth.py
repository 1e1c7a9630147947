"""What it is worth to know an input better, told for people and programs."""

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from ..meaning.display import rounded, shown, with_unit
from ..meaning.units import Unit, difference_unit, from_base
from ..network.graph import InputVariable
from ..solving.answering import DEFAULT_EFFORT, Answer, Refusal
from ..solving.worth import ENDS, Worth, exactly, halved, worths
from .bundle import merit_shown
from .common import number
from .explaining import about, merits_compared
from .saying import heading
from .solution import EVERYWHERE, Solution

Data = dict[str, Any]

ROBUST = "holds for all input values"
STATED = "holds at the stated input values only"


def explain_worth(solutions: Sequence[Solution], effort: int = 0, names: Collection[str] | None = None) -> list[Data]:
    """Say for every machine what each uncertain input does to merits and settings, the dearest to know first.

    ``names`` are the only inputs to look at, where it is given.
    """
    found = worths([s.network for s in solutions], effort or DEFAULT_EFFORT, names)
    return [_machine(s, w) for s, w in zip(solutions, found, strict=True)]


def _machine(solution: Solution, found: list[Worth]) -> Data:
    ranked = sorted(found, key=lambda w: _rank(solution, w))
    return {
        **about(solution),
        "merits": [
            {"name": m.name, **merit_shown(solution.model, m.name, value)}
            for m, value in zip(solution.network.merits, solution.answer.merits, strict=True)
        ],
        "inputs": [_input(solution, w) for w in ranked],
    }


def _rank(solution: Solution, worth: Worth) -> tuple[bool, bool, list[float], list[float], str]:
    """Order by what a halved range gains: first whether all values hold at all, then the merits in their order.

    Where halving gains the same, what the best of the exact values gains decides.
    """
    base = solution.answer.merits if solution.answer.robust else (0.0,) * len(solution.answer.merits)

    def gains(outcome: Answer | Refusal) -> list[float]:
        if not isinstance(outcome, Answer):
            return [np.inf for _ in base]
        return [-(there - here) / (abs(here) or 1.0) for here, there in zip(base, outcome.merits, strict=True)]

    def holds(outcome: Answer | Refusal) -> bool:
        return isinstance(outcome, Answer) and outcome.robust

    never = not any(holds(outcome) for outcome in worth.exact)
    best = min(gains(outcome) for outcome in worth.exact)
    return not holds(worth.half), never, gains(worth.half), best, solution.network.inputs[worth.input].given.name


def _input(solution: Solution, worth: Worth) -> Data:
    variable = solution.network.inputs[worth.input]
    unit, half = solution.unit_of(variable.given.name), halved(variable)
    exact = [
        {
            "at": end,
            "value": number(exactly(variable, end).stated, unit),
            "text": with_unit(exactly(variable, end).stated, unit),
            **_outcome(solution, outcome),
        }
        for end, outcome in zip(ENDS, worth.exact, strict=True)
    ]
    return {
        "name": variable.given.name,
        "text": variable.given.text,
        "entity": variable.given.entity,
        "evidence": variable.given.evidence.kind,
        "unit": unit.symbol,
        "range": [number(variable.low, unit), number(variable.high, unit)],
        "range_text": _range(variable, unit),
        "half": {
            "range": [number(half.low, unit), number(half.high, unit)],
            "range_text": _range(half, unit),
            **_outcome(solution, worth.half),
        },
        "exact": exact,
        "place": solution.place(variable.given.span),
    }


def _range(variable: InputVariable, unit: Unit) -> str:
    """Write how well an input is known: by its ends where it was written so or its sides differ, else as ±."""
    low, stated, high = (from_base(v, unit) for v in (variable.low, variable.stated, variable.high))
    if ".." not in variable.given.text and abs((high - stated) - (stated - low)) <= 1e-6 * (high - low):
        return f"± {rounded((high - low) / 2)} {difference_unit(unit).symbol}".rstrip()
    return f"{shown(variable.low, unit)} .. {with_unit(variable.high, unit)}"


def _outcome(solution: Solution, outcome: Answer | Refusal) -> Data:
    """Say what became of merits and settings, in comparison with what is known now."""
    if isinstance(outcome, Refusal):
        said = "not decided" if outcome.out_of_effort else "cannot hold"
        return {"outcome": said, "certified": False, "merits": [], "settings": []}
    here, there = np.array(solution.answer.merits), np.array(outcome.merits)
    return {
        "outcome": ROBUST if outcome.robust else STATED,
        "certified": outcome.certified,
        "merits": merits_compared(solution, here, there),
        "settings": [
            {
                "name": s.decl.name,
                "from": float(s.decl.text(int(solution.answer.point[k]))),
                "to": float(s.decl.text(int(outcome.point[k]))),
                "unit": s.decl.unit.symbol,
                "from_text": s.decl.text(int(solution.answer.point[k])),
                "to_text": s.decl.text(int(outcome.point[k])),
            }
            for k, s in enumerate(solution.network.settings)
            if outcome.point[k] != solution.answer.point[k]
        ],
    }


# ---- text


def worth(found: list[Data]) -> str:
    """Tell for every machine what knowing each input better would be worth."""
    return "\n".join(_told(m) for m in found)


def _told(m: Data) -> str:
    reached = ", ".join(f"{x['name']} {x['text']}" for x in m["merits"]) or "nothing is preferred"
    lines = [f"what knowing better is worth   ({heading(m)})", "", f"  now: {reached}"]
    base = m["holds"] == EVERYWHERE
    if not base:
        lines.append("  over the whole ranges nothing holds; this is what knowing one input better would change")
    kinds = [_kind(i, base) for i in m["inputs"]]
    for i, kind in zip(m["inputs"], kinds, strict=True):
        if kind != "idle":
            lines += ["", *_input_lines(i, base, whole=kind == "gains")]
    idle = [i["name"] for i, kind in zip(m["inputs"], kinds, strict=True) if kind == "idle"]
    if idle:
        lines += ["", f"  knowing one of these better changes nothing: {', '.join(idle)}"]
    if not m["inputs"]:
        lines += ["", "  every input is known exactly"]
    return "\n".join(lines) + "\n"


def _kind(i: Data, base: bool) -> str:
    """Tell whether a halved range changes what is had, or better knowledge moves settings only, or nothing at all."""
    usual = ROBUST if base else STATED
    if i["half"]["outcome"] != usual or any(x["effect"] != "same" for x in i["half"]["merits"]):
        return "gains"
    return "moves" if any(_differs(o, usual) for o in (i["half"], *i["exact"])) else "idle"


def _differs(o: Data, usual: str) -> bool:
    return o["outcome"] != usual or bool(o["settings"]) or any(x["effect"] != "same" for x in o["merits"])


def _input_lines(i: Data, base: bool, whole: bool) -> list[str]:
    """Tell one input; where halving gains no merit, only those exact values that change something."""
    better = f"{i['half']['range_text']} instead of {i['range_text']}"
    lines = [f"  knowing {i['name']} to {better}: {_change(i['half'], base)}"]
    if whole:
        lines.append(f"    now {i['text']} of {i['entity']}, {i['evidence']}  {i['place']}")
    usual = ROBUST if base else STATED
    for e in i["exact"]:
        if whole or _differs(e, usual):
            lines.append(f"    if it is exactly {e['text']}: {_change(e, base)}")
    return lines


def _change(o: Data, base: bool) -> str:
    """Say in one line what an outcome changes."""
    if o["outcome"] in ("not decided", "cannot hold"):
        return "not decided within the effort" if o["outcome"] == "not decided" else "no settings hold"
    if not base and o["outcome"] == ROBUST:
        merits = [f"{x['name']} {x['there_text']}" for x in o["merits"]]
        parts = [", ".join(["settings hold for all input values", *merits])]
    else:
        parts = [_merit(x) for x in o["merits"] if x["effect"] != "same"] or ["no merit changes"]
    if base and o["outcome"] != ROBUST:
        parts.insert(0, "only the stated values hold")
    parts += [f"{s['name']} {s['from_text']} -> {s['to_text']} {s['unit']}".rstrip() for s in o["settings"]]
    if parts == ["no merit changes"]:
        parts = ["nothing changes"]
    return "; ".join(parts if o["certified"] else [*parts, "not certified to be the best within the effort"])


def _merit(x: Data) -> str:
    here = x["here_text"].removesuffix(x["unit"]).rstrip() if x["unit"] else x["here_text"]
    by = ", ".join(t for t in (x["change"], "worse" if x["effect"] == "worse" else "") if t)
    return f"{x['name']} {here} -> {x['there_text']}" + (f" ({by})" if by else "")
