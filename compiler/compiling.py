"""From a file to solutions: the one way that ``check``, ``compile`` and ``why`` share."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .meaning.checking import check_file
from .meaning.model import Model, ProfileDecl
from .text.diagnostic import Diagnostic, diagnose, order
from .text.source import Source, Span

if TYPE_CHECKING:
    from .network.graph import Network
    from .solving.answering import Answer
    from .solving.problem import Problem
    from .telling.solution import Solution

Progress = Callable[[int, int], None]
"""Told how many machines are done, of how many."""


@dataclass(frozen=True, slots=True)
class Compiled:
    """What came of a file: solutions of every profile on every machine (none where there are errors)."""

    solutions: tuple["Solution", ...]
    diagnostics: tuple[Diagnostic, ...]
    sources: dict[str, Source]

    @property
    def failed(self) -> bool:
        """Whether there is any error."""
        return any(d.is_error for d in self.diagnostics)


def compile_file(
    path: Path, machine: str = "", effort: int = 0, progress: Progress | None = None, setting: str = ""
) -> Compiled:
    """Check a file and solve its profiles, on one machine or on all that they name.

    ``setting`` names one that will be asked for: an unknown one is reported before the work of solving.
    """
    model, diagnostics, sources = check_file(path)
    if model is None:
        return Compiled((), diagnostics, sources)
    faults = list(diagnostics)
    wanted = _wanted(model, path.name, machine, faults)
    if setting and wanted and setting not in model.settings:
        from .meaning.near import brief, near

        advice = near(setting, model.settings, "the settings are " + ", ".join(sorted(model.settings)))
        faults.append(diagnose("M413", wanted[0][0].span, name=brief(setting), near=advice))
    if any(f.is_error for f in faults):
        return Compiled((), order(faults), sources)
    # numpy and the solver are loaded only for a text without faults.
    from .network.lowering import lower

    networks = [lower(model, profile, name, faults) for profile, name in wanted]
    if any(f.is_error for f in faults):
        return Compiled((), order(faults), sources)
    solutions = []
    for done, network in enumerate(networks):
        if progress is not None:
            progress(done, len(networks))
        if network is not None:
            found = _solve(model, network, effort, faults)
            if found is not None:
                solutions.append(found)
    if progress is not None:
        progress(len(networks), len(networks))
    failed = any(f.is_error for f in faults)
    return Compiled(() if failed else tuple(solutions), order(faults), sources)


def _wanted(model: Model, file: str, machine: str, faults: list[Diagnostic]) -> list[tuple[ProfileDecl, str]]:
    own = [p for p in model.profiles.values() if p.span.file == file]
    if not own:
        faults.append(diagnose("M401", Span(file, 0, 0), path=file))
    pairs = [(p, m.text) for p in own for m in p.machines if machine in ("", m.text)]
    if own and not pairs:
        from .meaning.near import brief, listed, near

        known = list(dict.fromkeys(m.text for p in own for m in p.machines))
        advice = near(machine, known, f"it names {listed(known, 'and')}")
        faults.append(diagnose("M412", own[0].span, name=brief(machine), near=advice))
    return pairs


def _solve(model: Model, network: "Network", effort: int, faults: list[Diagnostic]) -> "Solution | None":
    from .solving.answering import DEFAULT_EFFORT, Refusal, solve
    from .solving.definedness import undefined
    from .solving.problem import Problem
    from .telling.refusing import explain_refusal, stated_only
    from .telling.solution import solution

    problem = Problem(network)
    undefined_faults = undefined(problem, lambda span: _excerpt(model, span))
    if undefined_faults:
        faults += undefined_faults
        return None
    problem, outcome = solve(network, effort or DEFAULT_EFFORT)
    if isinstance(outcome, Refusal):
        faults.append(explain_refusal(model, problem, outcome, effort or DEFAULT_EFFORT))
        return None
    why = _check(model, problem, outcome)
    if why:
        facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine, "why": why}
        faults.append(diagnose("M506", network.profile.span, **facts))
        return None
    for r in outcome.dropped:
        requirement = network.requirements[r]
        faults.append(diagnose("M508", requirement.span, want=requirement.name, machine=network.machine))
    if not outcome.robust:
        faults.append(stated_only(model, problem, outcome, effort or DEFAULT_EFFORT))
    return solution(model, problem, outcome)


def _check(model: Model, problem: "Problem", answer: "Answer") -> str:
    from .solving.checking import check

    network = problem.network
    values = problem.settings_at(answer.point[:, None])[:, 0]
    settings = {s.decl.name: float(v) for s, v in zip(network.settings, values, strict=True)}
    dropped = frozenset(network.requirements[r].name for r in answer.dropped)
    return check(model, network.profile, network.machine, settings, not answer.robust, dropped)


def _excerpt(model: Model, span: Span) -> str:
    source = model.sources.get(span.file)
    return " ".join(source.text[span.start : span.end].split()) if source else "this"
