"""From a file to solutions: the one way that ``check``, ``compile`` and ``why`` share."""

from collections.abc import Callable, Mapping
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


@dataclass(slots=True)
class _Prepared:
    """A checked file and its networks; none of them where there are errors."""

    model: Model | None
    networks: list["Network"]
    faults: list[Diagnostic]
    sources: dict[str, Source]

    @property
    def failed(self) -> bool:
        return any(f.is_error for f in self.faults)

    def compiled(self, solutions: tuple["Solution", ...] = ()) -> Compiled:
        # A faulty text's report comes in order and cut to length already.
        found = tuple(self.faults) if self.model is None else order(self.faults)
        return Compiled(() if self.failed else solutions, found, self.sources)


def compile_file(
    path: Path, machine: str = "", effort: int = 0, progress: Progress | None = None, setting: str = ""
) -> Compiled:
    """Check a file and solve its profiles, on one machine or on all that they name.

    ``setting`` names one that will be asked for: an unknown one is reported before the work of solving.
    """
    prepared = _prepare(path, machine, setting)
    solutions = []
    for done, network in enumerate(prepared.networks):
        if progress is not None:
            progress(done, len(prepared.networks))
        found = _solve(prepared, network, effort)
        if found is not None:
            solutions.append(found)
    if progress is not None:
        progress(len(prepared.networks), len(prepared.networks))
    return prepared.compiled(tuple(solutions))


def look_over(path: Path, effort: int = 0) -> tuple[Compiled, list[str]]:
    """Check a file and that no machine is refused at the first look; gives the machines that may be solved.

    A quick answer: a conflict that only the whole search can show is left to ``compile_file``.
    """
    prepared = _prepare(path)
    for network in prepared.networks:
        from .solving.answering import plainly_refused
        from .solving.problem import Problem

        problem = Problem(network)
        if not _undefined(prepared, problem) and plainly_refused(problem):
            _solve(prepared, network, effort)
    names = [f"{n.profile.name} on {n.machine}" for n in prepared.networks]
    return prepared.compiled(), names


def _prepare(path: Path, machine: str = "", setting: str = "") -> _Prepared:
    """Read and check a file and lower all that it asks for."""
    model, diagnostics, sources = check_file(path)
    prepared = _Prepared(model, [], list(diagnostics), sources)
    if model is None:
        return prepared
    wanted = _wanted(model, path.name, machine, prepared.faults)
    if setting and wanted and setting not in model.settings:
        from .meaning.near import brief, near

        advice = near(setting, model.settings, "the settings are " + ", ".join(sorted(model.settings)))
        prepared.faults.append(diagnose("M413", wanted[0][0].span, name=brief(setting), near=advice))
    if prepared.failed:
        return prepared
    # numpy and the solver are loaded only for a text without faults.
    from .network.lowering import lower

    networks = [lower(model, profile, name, prepared.faults) for profile, name in wanted]
    if not prepared.failed:
        prepared.networks = [n for n in networks if n is not None]
    return prepared


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


def _undefined(prepared: _Prepared, problem: "Problem") -> bool:
    """Report operations that are not defined for all input values; tell whether there are any."""
    from .solving.definedness import undefined

    found = undefined(problem, lambda span: _excerpt(prepared.sources, span))
    known = {(f.code, f.span) for f in prepared.faults}
    # A formula is at fault once, however many machines it is tried on.
    prepared.faults += [f for f in found if (f.code, f.span) not in known]
    return bool(found)


def _solve(prepared: _Prepared, network: "Network", effort: int) -> "Solution | None":
    from .solving.answering import DEFAULT_EFFORT, Refusal, solve
    from .solving.definedness import unbound
    from .solving.problem import Problem
    from .telling.refusing import explain_refusal, stated_only
    from .telling.solution import solution

    model, faults, effort = prepared.model, prepared.faults, effort or DEFAULT_EFFORT
    if model is None or _undefined(prepared, Problem(network)):
        return None
    problem, outcome = solve(network, effort)
    if isinstance(outcome, Refusal):
        faults.append(explain_refusal(problem, outcome, effort))
        return None
    why = _check(model, problem, outcome)
    if why:
        facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine, "why": why}
        faults.append(diagnose("M506", network.profile.span, **facts))
        return None
    faults += unbound(problem)
    for r in outcome.dropped:
        requirement = network.requirements[r]
        faults.append(diagnose("M508", requirement.span, want=requirement.name, machine=network.machine))
    if not outcome.certified:
        facts = {"profile": network.profile.name, "machine": network.machine}
        faults.append(diagnose("M507", network.profile.span, limit=f"{effort:,}", more=10 * effort, **facts))
    if not outcome.robust:
        faults.append(stated_only(problem, effort))
    return solution(model, problem, outcome)


def _check(model: Model, problem: "Problem", answer: "Answer") -> str:
    from .solving.checking import check

    network = problem.network
    values = problem.settings_at(answer.point[:, None])[:, 0]
    settings = {s.decl.name: float(v) for s, v in zip(network.settings, values, strict=True)}
    dropped = frozenset(network.requirements[r].name for r in answer.dropped)
    return check(model, network.profile, network.machine, settings, not answer.robust, dropped)


def _excerpt(sources: Mapping[str, Source], span: Span) -> str:
    source = sources.get(span.file)
    return " ".join(source.text[span.start : span.end].split()) if source else "this"
