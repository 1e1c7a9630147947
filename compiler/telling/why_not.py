"""Why a setting is not another value: what breaks there, by how much, and what would come of moving the others."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..meaning.model import PinDecl
from ..meaning.pinning import index_on_lattice
from ..network.graph import Network
from ..solving.answering import DEFAULT_EFFORT, Answer, Refusal, hold_all, solve_all
from .explaining import Question, about, breach, broken_at, counted, merits_at, merits_compared, question_of, reason
from .formulas import titles
from .saying import breach_lines, heading, merit_change
from .solution import Solution

Data = dict[str, Any]


def explain_not(solutions: Sequence[Solution], pin: PinDecl, effort: int = 0) -> list[Data]:
    """Say for every machine what a value would break with the other settings kept, and what it would cost if not."""
    questions = [question_of(s, pin.name) for s in solutions]
    wanted = [round(index_on_lattice(q.decl, pin.amount.stated)) for q in questions]
    fixed = [_fixed(q, index) for q, index in zip(questions, wanted, strict=True)]
    outcomes = solve_all(fixed, effort or DEFAULT_EFFORT)
    held = hold_all([_pointed(q, index) for q, index in zip(questions, wanted, strict=True)], effort or DEFAULT_EFFORT)
    return [
        _one(q, i, outcome, holds) for q, i, (_, outcome), holds in zip(questions, wanted, outcomes, held, strict=True)
    ]


def _pointed(question: Question, index: int) -> Network:
    """Make the network with all settings fixed, this one at another value, and the requirements that count."""
    solution, point = question.solution, question.moved(index)
    network = counted(solution.network, solution.answer)
    settings = tuple(replace(s, first=int(k), last=int(k)) for s, k in zip(network.settings, point, strict=True))
    counts = [network.requirements[m.requirement] for m in solution.answer.margins]
    return replace(network, settings=settings, requirements=tuple(replace(r, soft=False) for r in counts))


def _fixed(question: Question, index: int) -> Network:
    """Make the network with the setting fixed at a value and all others as free as they were."""
    network, i = question.solution.network, question.setting
    held = replace(network.settings[i], first=index, last=index)
    return replace(network, settings=(*network.settings[:i], held, *network.settings[i + 1 :]))


def _one(question: Question, index: int, outcome: Answer | Refusal, holds: bool | None) -> Data:
    solution = question.solution
    broken = broken_at(question, index) if holds is not True else []
    pin = solution.variable(question.setting).pin
    return {
        "setting": question.decl.name,
        **about(solution),
        **question.value(index),
        "unit": question.decl.unit.symbol,
        "chosen": question.value(question.at),
        "is_chosen": index == question.at,
        "fixed_by_profile": pin is not None,
        "rather": question.decl.rather,
        "with_others_kept": "holds" if holds else "breaks" if broken else "not decided",
        "broken": [breach(question, m, index) for m in broken],
        "merits": merits_at(question, index) if not broken else [],
        "others_moved": _moved(question, outcome),
    }


def _moved(question: Question, outcome: Answer | Refusal) -> Data:
    """Say what comes of the value where all other settings may move to make room for it."""
    solution = question.solution
    if isinstance(outcome, Refusal):
        names = titles(solution.network)
        requirements = solution.network.requirements
        conflict = [
            {
                "title": names[r],
                "reason": reason(solution, requirements[r]),
                "place": solution.place(requirements[r].span),
            }
            for r in outcome.conflict
        ]
        return {
            "outcome": "not decided" if outcome.out_of_effort else "cannot hold",
            "certified": False,
            "conflict": conflict,
            "merits": [],
            "settings": [],
        }
    changed = [
        {
            "name": s.decl.name,
            "from": solution.setting_text(k),
            "to": solution.setting_text(k, int(outcome.point[k])),
        }
        for k, s in enumerate(solution.network.settings)
        if k != question.setting and outcome.point[k] != solution.answer.point[k]
    ]
    merits = merits_compared(solution, np.array(solution.answer.merits), np.array(outcome.merits))
    words = "holds for all input values" if outcome.robust else "holds at the stated input values only"
    return {"outcome": words, "certified": outcome.certified, "conflict": [], "merits": merits, "settings": changed}


# ---- text


def why_not(found: list[Data]) -> str:
    """Tell for every machine what a value would break."""
    return "\n".join(_told(e) for e in found)


def _told(e: Data) -> str:
    if e["is_chosen"]:
        return f"{e['setting']} = {e['text']} is what was chosen   ({heading(e)})\n"
    lines = [f"{e['setting']} = {e['text']} instead of {e['chosen']['text']}   ({heading(e)})", ""]
    word = "lower" if e["value"] < e["chosen"]["value"] else "higher"
    for b in e["broken"]:
        lines.append(f"  breaks {b['title']}: {b['reason']}")
        lines += breach_lines(b, e["text"], word)
    if e["broken"]:
        lines += ["", f"  with the other settings moved as well: {_moved_told(e['others_moved'])}"]
    elif e["with_others_kept"] == "not decided":
        lines.append("  whether it holds for all input values, with the other settings kept, was not decided")
        lines.append(f"  with the other settings moved as well: {_moved_told(e['others_moved'])}")
    else:
        lines.append(f"  holds too, with the other settings kept; {_otherwise(e)}")
        changed = [m for m in e["others_moved"]["merits"] if m["effect"] != "same"]
        if e["others_moved"]["settings"] and changed:
            lines.append(f"  with the other settings moved as well: {_moved_told(e['others_moved'])}")
    return "\n".join(lines) + "\n"


def _otherwise(e: Data) -> str:
    changed = "; ".join(merit_change(m) for m in e["merits"] if m["effect"] != "same")
    if e["fixed_by_profile"]:
        return "the profile fixes another value" + (f"; {changed}" if changed else "")
    if changed:
        return changed
    return f"it would rather be {e['rather']}" if e["rather"] else "nothing prefers either"


def _moved_told(moved: Data) -> str:
    if moved["outcome"] == "not decided":
        return "not decided within the effort"
    if moved["outcome"] == "cannot hold":
        lines = ["it cannot hold; these cannot be true together with it"]
        lines += [f"    {c['title']}: {c['reason']}  {c['place']}" for c in moved["conflict"]]
        return "\n".join(lines)
    merits = "; ".join(
        f"{m['name']} {m['there_text']}"
        + ("" if m["effect"] == "same" else f", was {m['here_text']}")
        + (f" ({m['change']})" if m["change"] else "")
        for m in moved["merits"]
    )
    sure = "" if moved["certified"] else " (the best found within the effort, not certified)"
    lines = [f"it {moved['outcome']}{sure}" + (f", {merits}" if merits else "")]
    changes = ", ".join(f"{s['name']} {s['from']} -> {s['to']}" for s in moved["settings"])
    lines.append(f"    {changes}" if changes else "    no other setting changes")
    return "\n".join(lines)
