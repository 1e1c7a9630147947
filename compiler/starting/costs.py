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
from ..telling.solution import Solution, solutions
from ..telling.worth import explain_worth
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source, Span

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
