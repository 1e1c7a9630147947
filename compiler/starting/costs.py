"""What it costs not to know: a job is solved with the new material or machine, and again with each unknown known."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..compiling import Prepared, confirmed, undefined
from ..meaning.checking import check_library
from ..meaning.loading import LIBRARY
from ..meaning.model import Model, ProfileDecl
from ..network.filling import jobs, placed
from ..network.graph import Network
from ..network.lowering import lower_all
from ..solving.answering import DEFAULT_EFFORT, Answer, Refusal, solve_all
from ..solving.problem import Problem
from ..telling.formulas import requirement_text
from ..telling.solution import EVERYWHERE, Solution, solutions
from ..telling.worth import ROBUST, explain_worth
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source, Span
from .guide import Entry

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Unknowns:
    """A new material or machine in its file, what is not known of it, and the file of a profile to try it in."""

    path: Path
    kind: str
    name: str
    unknown: Collection[str]
    profile: Path | None = None


@dataclass(slots=True)
class Costs:
    """What came of it: ``worth`` as ``explain_worth`` gives it, or the words for why nothing could be told."""

    job: str = ""
    worth: Data | None = None
    why: list[str] = field(default_factory=list)
    exact: list[str] = field(default_factory=list)
    faults: list[Diagnostic] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)


def costs(asked: Unknowns, effort: int = 0) -> Costs:
    """Solve a job with the new one: the first of the file's profiles, else the first of the library's that holds."""
    extra = [asked.path, *([asked.profile] if asked.profile else [])]
    model, found, sources = check_library(extra)
    costs = Costs(faults=list(found), sources=sources)
    if model is None:
        return costs
    entity = (model.materials if asked.kind == "material" else model.machines)[asked.name]
    costs.exact = [n for n in asked.unknown if (a := entity.values[n].amount) is not None and a.exact]
    prepared = Prepared(model, [], costs.faults, sources)
    tried: list[tuple[Network, Refusal]] = []
    best: tuple[Problem, Answer] | None = None
    for profile, machine in _jobs(model, asked, costs):
        network = lower_all(model, [(profile, machine)], costs.faults)[0]
        if network is None or undefined(prepared, [network])[0]:
            return costs
        problem, outcome = solve_all([network], effort or DEFAULT_EFFORT)[0]
        if isinstance(outcome, Refusal):
            tried.append((network, outcome))
            continue
        best = best or (problem, outcome)
        if outcome.robust:
            best = problem, outcome
            break
    if best is None:
        costs.why = _refused(tried)
    elif confirmed(model, [best], costs.faults)[0]:
        solution = solutions(model, [best])[0]
        costs.job = _job(solution)
        costs.worth = explain_worth([solution], effort, asked.unknown)[0]
    return costs


def _jobs(model: Model, asked: Unknowns, costs: Costs) -> Iterator[tuple[ProfileDecl, str]]:
    if asked.profile is None:
        yield from jobs(model, asked.kind, asked.name)
        return
    resolved = asked.profile.resolve()
    file = next(name for name, source in model.sources.items() if source.path == resolved)
    own = [p for p in model.profiles.values() if p.span.file == file]
    if own:
        yield placed(min(own, key=lambda p: p.span.start), asked.kind, asked.name)
    else:
        costs.faults.append(diagnose("M401", Span(file, 0, 0), path=file))


def _job(solution: Solution) -> str:
    network = solution.network
    profile = network.profile
    whose = "the library's job" if profile.span.file.startswith(LIBRARY) else "profile"
    return f"{whose} {profile.name}: {network.material} on {network.machine}"


def _refused(tried: Sequence[tuple[Network, Refusal]]) -> list[str]:
    """Say shortly why nothing holds, of the first job that was tried."""
    if not tried:
        return []
    network, outcome = tried[0]
    names = ", ".join(n.profile.name for n, _ in tried)
    if outcome.out_of_effort:
        return [f"whether anything holds was not decided within the effort: {names}"]
    reasons = [network.requirements[r].otherwise or requirement_text(network.requirements[r]) for r in outcome.conflict]
    pins = [f"{p.name} is fixed at {p.amount.text}" for i in outcome.pins if (p := network.settings[i].pin) is not None]
    head = f"nothing holds even so, so no cost can be told ({names}). In {network.profile.name} these conflict:"
    return [head, *(f"  - {reason}" for reason in dict.fromkeys([*reasons, *pins]))]


# ---- text


def told(costs: Costs, entries: dict[str, Entry]) -> str:
    """Tell what each unknown costs, the dearest first, and what to measure first."""
    if costs.worth is None:
        return "".join(f"{line}\n" for line in costs.why)
    worth = costs.worth
    base = worth["holds"] == EVERYWHERE
    lines = [f"what it costs not to know   ({costs.job})", ""]
    if not worth["merits"]:
        return "\n".join([lines[0], "", "  the profile prefers nothing, so there is nothing to gain", ""])
    first = worth["merits"][0]
    lines.append(f"  as it is: {first['name']} {first['text']}")
    if not base:
        lines.append("  over the whole ranges nothing holds; that is so at the stated values only")
    ranked = sorted(worth["inputs"], key=lambda i: _rank(i, list(entries)))
    gains = [i for i in ranked if _gain(i) > 0]
    if gains:
        lines += [
            "",
            f"  gain in {first['name']} if one alone were known exactly, and were as it is taken to be",
            *_rows(gains),
        ]
    losses = [i for i in ranked if i not in gains and _best(i) > 0]
    if losses:
        lines += [
            "",
            "  the same, where it only gains if the value turns out better than it is taken to be",
            *_rows(losses),
        ]
    idle = [i["name"] for i in ranked if i not in gains and i not in losses]
    if idle:
        lines += ["", *_list("to know one of these exactly gains nothing", idle)]
    if costs.exact:
        lines += ["", *_list("these are taken as exact, so what they cost cannot be told; check them", costs.exact)]
    best = next((i for i in [*gains, *losses] if (e := entries.get(i["name"])) is not None and e.measurable), None)
    if best is not None:
        entry = entries[best["name"]]
        care = f" Care: {entry.care}" if entry.care else ""
        lines += ["", *_wrapped(f"measure first: {entry.name}. Tool: {entry.tool}. {entry.how}{care}")]
    return "\n".join(lines) + "\n"


def _stated(i: Data) -> Data:
    return next(e for e in i["exact"] if e["at"] == "stated")


def _share(outcome: Data) -> float:
    """Give the gain in the first preference as a share of what there is; infinite where all values come to hold."""
    if not outcome["merits"]:
        return float("-inf")
    m = outcome["merits"][0]
    here, there = float(m["here"] or 0.0), float(m["there"] or 0.0)
    size = abs(there - here) / (abs(here) or 1.0)
    return {"better": size, "worse": -size}.get(m["effect"], 0.0)


def _gain(i: Data) -> float:
    return _share(_stated(i))


def _best(i: Data) -> float:
    return max(_share(e) for e in i["exact"])


def _rank(i: Data, order: list[str]) -> tuple[float, float, int]:
    place = order.index(i["name"]) if i["name"] in order else len(order)
    return -_gain(i), -_best(i), place


def _rows(inputs: Sequence[Data]) -> list[str]:
    """Write a row an input: its gain where it is as stated, and where it turns out lower or higher."""
    names = max(len(i["name"]) for i in inputs)
    ranges = max(len(i["text"]) for i in inputs)
    rows = []
    for i in inputs:
        ends = [f"{_change(e)} at {e['text']}" for e in i["exact"] if e["at"] != "stated"]
        rows.append(f"    {i['name']:<{names}}  {i['text']:<{ranges}}  {_change(_stated(i))}  ({', '.join(ends)})")
    return rows


def _change(outcome: Data) -> str:
    if not outcome["merits"]:
        return str(outcome["outcome"])
    m = outcome["merits"][0]
    said = str(m["change"] or "+0 %")
    return said if outcome["outcome"] == ROBUST else f"{said} at the stated values only"


def _list(head: str, names: Sequence[str]) -> list[str]:
    return _wrapped(f"{head}: {', '.join(names)}")


def _wrapped(text: str) -> list[str]:
    from textwrap import wrap

    return wrap(
        text, 100, initial_indent="  ", subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
