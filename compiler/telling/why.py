"""Why a setting is what it is: what keeps it from a step lower and higher, as data and as text."""

from typing import Any

from ..meaning.display import rounded
from ..solving.answering import Margin
from .bundle import merit_shown
from .common import chosen
from .explaining import (
    Ends,
    Question,
    about,
    band_ends,
    breach,
    broken_at,
    merits_at,
    question_of,
    reason,
)
from .formulas import requirement_text
from .saying import breach_lines, heading, holds_lines
from .sides import spare, told, unit_of_sides
from .solution import Solution

Data = dict[str, Any]

CLOSE = 0.5
"""What has more to spare than this share is only named."""


def explain(solution: Solution, name: str) -> Data:
    """Say all that keeps one setting where it is, as data."""
    question = question_of(solution, name)
    ends, decl, pin = band_ends(question), question.decl, solution.variable(question.setting).pin
    lower, higher = _side(question, ends, -1), _side(question, ends, 1)
    named = {s["limit"]["id"] for s in (lower, higher) if s["limit"]}
    return {
        "setting": name,
        **about(solution),
        **question.value(question.at),
        "unit": decl.unit.symbol,
        "about": decl.doc,
        "chosen": chosen(solution.network, solution.problem, question.setting),
        "because": pin.reason if pin else "",
        "rather": decl.rather,
        "gives_back": float(rounded(100 * solution.network.profile.share, 3)),
        "place": solution.place(pin.span if pin else decl.span),
        "band": [question.value(ends.first), question.value(ends.last)],
        "merits": _merits(question),
        "lower": lower,
        "higher": higher,
        "bears_on": [b for m in solution.answer.margins if (b := _bearing(question, m)) and b["id"] not in named],
    }


def _side(question: Question, ends: Ends, way: int) -> Data:
    """Say what stands one step lower or higher, and what ends the band on that side."""
    last = ends.first if way < 0 else ends.last
    reason = ends.below if way < 0 else ends.above
    step, beyond = question.at + way, last + way
    inside, exists = question.at != last, 0 <= beyond <= question.decl.last
    limit = None
    if exists:
        broken = broken_at(question, beyond)
        first = next((m for m in broken if m.requirement == reason), broken[0] if broken else None)
        limit = _limit(question, first, beyond, broken) if first else None
    kind = "holds" if inside else "limit" if exists else "range"
    return {
        "kind": kind,
        "step": question.value(step) if inside or exists else None,
        "merits": merits_at(question, step) if inside else [],
        "reason": _inside(question, way) if inside else "",
        "band_end": question.value(last),
        "beyond": question.value(beyond) if exists else None,
        "limit": limit,
    }


def _limit(question: Question, margin: Margin, beyond: int, broken: list[Margin]) -> Data:
    """Say what ends a band, with both sides at the chosen value too, and what else would break there."""
    solution = question.solution
    requirement = solution.network.requirements[margin.requirement]
    here, unit = solution.margin(margin.requirement), unit_of_sides(solution.network, requirement)
    return {
        **breach(question, margin, beyond),
        "here": told(requirement.comparison.relation, here.left, here.right, unit) if here else "",
        "spare": spare(max(here.share, 0.0), here, requirement) if here else "",
        "also": [question.titles[m.requirement] for m in broken if m.requirement != margin.requirement],
    }


def _inside(question: Question, way: int) -> str:
    """Say what chose a value though a step this way holds: fixed, merit, returned, lean or middle."""
    decl = question.decl
    if question.solution.variable(question.setting).pin is not None:
        return "fixed"
    changed = [m for m in merits_at(question, question.at + way) if m["effect"] != "same"]
    if changed:
        return "merit" if changed[0]["effect"] == "worse" else "returned"
    return "lean" if decl.rather == ("low" if way > 0 else "high") else "middle"


def _merits(question: Question) -> list[Data]:
    """List the merits that the setting moves, with what keeps each from more."""
    solution, found = question.solution, []
    for m, merit in enumerate(solution.network.merits):
        if not solution.problem.tape.depends[merit.node] >> question.setting & 1:
            continue
        limits = [
            {
                "id": question.ids[r],
                "title": question.titles[r],
                "reason": reason(solution, solution.network.requirements[r]),
            }
            for r in solution.answer.limits[m]
            if r in question.ids
        ]
        shown = merit_shown(solution.model, merit.name, solution.answer.merits[m])
        found.append({"name": merit.name, **shown, "limits": limits})
    return found


def _bearing(question: Question, margin: Margin) -> Data | None:
    """Say how a requirement stands to the setting: what is to spare, and which way of the setting eats it."""
    solution = question.solution
    requirement = solution.network.requirements[margin.requirement]
    if not solution.touches(question.setting, requirement):
        return None
    eats = []
    for way, word in ((-1, "lower"), (1, "higher")):
        if 0 <= question.at + way <= question.decl.last:
            share = question.trial.share(
                margin.requirement, question.moved(question.at + way)[:, None], margin.inputs[:, None]
            )
            if not float(share[0]) >= margin.share:
                eats.append(word)
    unit = unit_of_sides(solution.network, requirement)
    return {
        "id": question.ids[margin.requirement],
        "title": question.titles[margin.requirement],
        "text": requirement_text(requirement),
        "sides": told(requirement.comparison.relation, margin.left, margin.right, unit),
        "spare": spare(max(margin.share, 0.0), margin, requirement),
        "share": round(100 * max(margin.share, 0.0), 2),
        "eaten_by": eats,
        "place": solution.place(requirement.span),
    }


# ---- text


def why(explanations: list[Data]) -> str:
    """Tell one setting on every machine, and where there are several, what differs between them."""
    parts = [_one(e) for e in explanations]
    if len(explanations) > 1:
        parts.append(_compared(explanations))
    return "\n".join(parts)


def _one(e: Data) -> str:
    lines = [f"{e['setting']} = {e['text']}   ({heading(e)})", "", f"  {e['about']} {_story(e)}".rstrip()]
    lines.append(f"  {'fixed' if e['chosen'] in ('given', 'pinned') else 'declared'} at {e['place']}")
    for merit in e["merits"]:
        kept = "; ".join(f"{r['title']} ({r['reason']})" for r in merit["limits"]) or "the settings' own ranges"
        less = "less" if merit["better"] == "less" else "more"
        lines.append(f"  {merit['name']} reaches {merit['text']}; kept from {less} by {kept}")
    for word in ("lower", "higher"):
        lines += ["", *_side_lines(e, word)]
    lines += _bears(e["bears_on"])
    return "\n".join(lines) + "\n"


def _story(e: Data) -> str:
    first, last = e["band"]
    if first["value"] == last["value"]:
        held = "with the other settings kept, no other value holds"
    else:
        held = f"{first['text']} to {last['text']} hold with the other settings kept"
    how = {
        "given": "The profile gives it",
        "pinned": f"Pinned, because {e['because']}",
        "preference": "The preferences choose it",
        "low": "It is as low as holds",
        "high": "It is as high as holds",
        "middle": "Nothing prefers it, so it lies in the middle of what was open when it was chosen",
    }[e["chosen"]]
    if e["chosen"] in ("given", "pinned"):
        held = f"if it were free, {held}" if first["value"] != last["value"] else held
        return f"{how}. {held[0].upper()}{held[1:]}."
    return f"{how}; {held}."


def _side_lines(e: Data, word: str) -> list[str]:
    side, limit = e[word], e[word]["limit"]
    if side["kind"] == "range":
        return [f"  not {word}: {e['text']} is the end of the setting's own range"]
    step = side["step"]["text"]
    if side["kind"] == "limit":
        if limit is None:
            return [f"  not {word}: that {step} holds for all input values could be neither proved nor refuted"]
        lines = [f"  not {word}: {step} breaks {limit['title']}, {limit['reason']}"]
        lines += breach_lines(limit, step, word)
        if limit["here"]:
            lines.insert(2, f"    at {e['text']}: {limit['here']} ({limit['spare']} to spare)")
        return lines
    lines = [f"  not {word}: {step} holds too, {holds_lines(side, e)}"]
    if limit is None and side["beyond"] is None:
        lines.append(f"    the band goes on to {side['band_end']['text']}, the end of the setting's own range")
    elif limit is None:
        lines.append(f"    the band goes on to {side['band_end']['text']}; beyond that nothing was proved or refuted")
    else:
        lines.append(f"    the band goes on to {side['band_end']['text']}; {side['beyond']['text']} breaks")
        lines[-1] += f" {limit['title']}, {limit['reason']}"
        lines += ["  " + line for line in breach_lines(limit, side["beyond"]["text"], word)]
    return lines


def _bears(found: list[Data]) -> list[str]:
    if not found:
        return []
    found = sorted(found, key=lambda b: b["share"])
    close = [b for b in found if b["share"] <= 100 * CLOSE]
    lines = ["", "  also bears on:"]
    for b in close:
        ways = " or ".join(b["eaten_by"])
        less = f", less when it is {ways}" if ways else ""
        lines.append(f"    {b['title']}: {b['sides']} ({b['spare']} to spare{less})  {b['place']}")
    far = [b["title"] for b in found if b["share"] > 100 * CLOSE]
    if far:
        lines.append(f"    with more than half to spare: {'; '.join(far)}")
    return lines


def _compared(explanations: list[Data]) -> str:
    lines = ["side by side"]
    width = max(len(e["machine"]) for e in explanations)
    for e in explanations:
        first, last = (end["text"] for end in e["band"])
        held = first if first == last else f"{first} to {last}"
        ends = [
            f"not {w}: {s['limit']['title']}"
            for w in ("lower", "higher")
            if (s := e[w])["kind"] == "limit" and s["limit"]
        ]
        tail = "   " + "; ".join(ends) if ends else ""
        lines.append(f"  {e['machine']:<{width}}  {e['text']}  (holds {held}){tail}")
    return "\n".join(lines) + "\n"
