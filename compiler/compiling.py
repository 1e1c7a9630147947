"""From a file to solutions: the one way that ``check``, ``compile`` and ``why`` share."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .meaning.loading import Loaded, load
from .syntax.collecting import without_collecting
from .text import store
from .text.diagnostic import Diagnostic, diagnose, order
from .text.source import Source, Span

if TYPE_CHECKING:
    from .meaning.model import Model, ProfileDecl
    from .network.graph import Network
    from .solving.answering import Answer, Refusal
    from .solving.checking import Question
    from .solving.problem import Problem
    from .telling.solution import Solution

AT_A_TIME = 64
"""Machines that are solved together before what is known of them is told."""

MOST_KEPT = 64
"""Machines of a file up to which networks and answers are kept: those of a fleet would fill the store."""

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
class Prepared:
    """A checked file and its networks; none of them where there are errors. ``faults`` grows on the way.

    ``refused`` and ``stated_only`` wait to be explained together; ``held`` are profiles and machines where all holds.
    Where ``loaded`` is given, the networks are those of its texts, and what is found for them may be kept.
    """

    model: "Model | None"
    networks: list["Network"]
    faults: list[Diagnostic]
    sources: dict[str, Source]
    loaded: Loaded | None = None
    refused: list[tuple["Network", "Refusal"]] = field(default_factory=list)
    stated_only: list["Network"] = field(default_factory=list)
    held: list[tuple[str, str]] = field(default_factory=list)

    @property
    def failed(self) -> bool:
        """Whether there is any error."""
        return any(f.is_error for f in self.faults)

    def compiled(self, solutions: tuple["Solution", ...] = ()) -> Compiled:
        """Give what came of the file."""
        # A faulty text's report comes in order and cut to length already.
        found = tuple(self.faults) if self.model is None else order(self.faults)
        return Compiled(() if self.failed else solutions, found, self.sources)


def compile_file(
    path: Path, machine: str = "", effort: int = 0, progress: Progress | None = None, setting: str = ""
) -> Compiled:
    """Check a file and solve its profiles, on one machine or on all that they name.

    ``setting`` names one that will be asked for: an unknown one is reported before the work of solving.
    """
    prepared = prepare(path, machine, setting)
    found = [s for part in solve_in_turn(prepared, prepared.networks, effort, progress) for s in part]
    return prepared.compiled(tuple(found))


def solve_in_turn(
    prepared: Prepared, networks: Sequence["Network"], effort: int = 0, progress: Progress | None = None
) -> Iterator[list["Solution"]]:
    """Solve networks some at a time, so that a fleet need not be held in memory; what is found on the way is reported.

    A machine that is refused has no solution.
    """
    for done in range(0, len(networks), AT_A_TIME):
        if progress is not None:
            progress(done, len(networks))
        yield _solve(prepared, networks[done : done + AT_A_TIME], effort)
    _explain(prepared, effort)
    if progress is not None:
        progress(len(networks), len(networks))


def look_over(path: Path, effort: int = 0) -> tuple[Compiled, list[str]]:
    """Check a file and that no machine is refused at the first look; gives the machines that may be solved.

    A quick answer: a conflict that only the whole search can show is left to ``compile_file``.
    """
    return look_over_loaded(load(path), effort)


def look_over_loaded(loaded: Loaded, effort: int = 0) -> tuple[Compiled, list[str]]:
    """Do as ``look_over`` does, with files that were read; what is found is kept."""
    key = loaded.key("looked", str(effort))
    kept = store.recall(key)
    if kept is not None:
        diagnostics, names = kept
        return Compiled((), diagnostics, loaded.sources), names
    # While a text is being written, to keep its networks at each check would cost more than it saves.
    prepared = prepare_loaded(loaded, keep=False)
    if any(f.code == "M401" for f in prepared.faults):
        # What is told of a file that asks for nothing hangs on more than the texts that it uses, so it is not kept.
        parts = _parts(prepared, loaded)
        return prepared.compiled(), parts
    compiled, names = first_look(prepared, effort)
    if not _tells_of_other_files(compiled):
        store.keep(key, (compiled.diagnostics, names))
    return compiled, names


def _tells_of_other_files(compiled: Compiled) -> bool:
    """Tell whether a report may hang on files that the texts do not use: those that define an unknown name."""
    from .meaning.causes import UNKNOWN_NAMES

    return any(d.code in UNKNOWN_NAMES for d in compiled.diagnostics)


def first_look(prepared: Prepared, effort: int = 0) -> tuple[Compiled, list[str]]:
    """Look for machines that are refused at the first look; gives the machines that may be solved."""
    if prepared.networks:
        from .solving.answering import plainly_refused

        flawed = undefined(prepared, prepared.networks)
        sound = [n for n, bad in zip(prepared.networks, flawed, strict=True) if not bad]
        refused = [n for n, bad in zip(sound, plainly_refused(sound), strict=True) if bad]
        if refused:
            _solve(prepared, refused, effort)
    _explain(prepared, effort)
    names = [f"{n.profile.name} on {n.machine}" for n in prepared.networks]
    return prepared.compiled(), names


def _parts(prepared: Prepared, loaded: Loaded) -> list[str]:
    """Look over a file that has no profile: name its materials and machines, and say what they do not give yet."""
    model = prepared.model
    if model is None or sum(f.is_error for f in prepared.faults) > 1:
        return []
    own = [e for e in (*model.materials.values(), *model.machines.values()) if e.span.file == loaded.main]
    if own:
        from .meaning.checking import check_library
        from .network.filling import report_lacking

        prepared.faults[:] = [f for f in prepared.faults if f.code != "M401"]
        # The jobs that show what is needed are the library's.
        whole, _, _ = check_library([loaded.sources[loaded.main].path])
        if whole is not None:
            for entity in own:
                report_lacking(whole, entity, prepared.faults)
    return [f"{e.kind} {e.name}" for e in own]


def prepare(path: Path, machine: str = "", setting: str = "") -> Prepared:
    """Read and check a file and lower all that it asks for."""
    return prepare_loaded(load(path), machine, setting)


@without_collecting()
def prepare_loaded(loaded: Loaded, machine: str = "", setting: str = "", keep: bool = True) -> Prepared:
    """Check files that were read and lower all that they ask for; where that is without fault, it may be kept."""
    key = loaded.key("lowered", machine)
    kept = store.recall(key)
    if kept is not None and (not setting or setting in kept[0].settings):
        model, networks, faults = kept
        return Prepared(replace(model, sources=dict(loaded.sources)), networks, faults, loaded.sources, loaded)
    from .meaning.checking import check_loaded

    model, diagnostics, sources = check_loaded(loaded)
    prepared = lowered(Prepared(model, [], list(diagnostics), sources, loaded), loaded.main, machine, setting)
    if keep and model is not None and 0 < len(prepared.networks) <= MOST_KEPT:
        # Together, as they share nodes and values by identity.
        store.keep(key, (replace(model, sources={}), prepared.networks, prepared.faults))
    return prepared


def lowered(prepared: Prepared, file: str, machine: str = "", setting: str = "") -> Prepared:
    """Lower all that the profiles of a checked file ask for."""
    model = prepared.model
    if model is None:
        return prepared
    asked = wanted(model, file, machine, prepared.faults)
    if setting and asked and setting not in model.settings:
        from .meaning.near import brief, near

        advice = near(setting, model.settings, "the settings are " + ", ".join(sorted(model.settings)))
        if setting in model.quantities:
            advice = f"it is an input; what it bears on is told by: meltwright why FILE SETTING --from {setting}"
        prepared.faults.append(diagnose("M413", asked[0][0].span, name=brief(setting), near=advice))
    if prepared.failed:
        return prepared
    # numpy and the solver are loaded only for a text without faults.
    from .network.lowering import lower_all

    networks = lower_all(model, asked, prepared.faults)
    if not prepared.failed:
        prepared.networks = [n for n in networks if n is not None]
    return prepared


def wanted(model: "Model", file: str, machine: str, faults: list[Diagnostic]) -> list[tuple["ProfileDecl", str]]:
    """List the profiles of a file with the machines they are wanted on: one, or all where ``machine`` is empty."""
    own = [p for p in model.profiles.values() if p.span.file == file]
    if not own:
        faults.append(diagnose("M401", Span(file, 0, 0), path=file))
    pairs = [(p, m.text) for p in own for m in p.machines if machine in ("", m.text)]
    if own and not pairs:
        from .meaning.near import brief, near
        from .text.joining import listed

        known = list(dict.fromkeys(m.text for p in own for m in p.machines))
        advice = near(machine, known, f"it names {listed(known, 'and')}")
        faults.append(diagnose("M412", own[0].span, name=brief(machine), near=advice))
    return pairs


def undefined(prepared: Prepared, networks: Sequence["Network"]) -> list[bool]:
    """Report operations that are not defined for all input values; tell for each network whether there are any."""
    from .solving.answering import problems
    from .solving.definedness import undefined_all

    found = undefined_all(problems(networks), lambda span: _excerpt(prepared.sources, span))
    known = {(f.code, f.span) for f in prepared.faults}
    for fault in (f for faults in found for f in faults):
        # A formula is at fault once, however many machines it is tried on.
        if (fault.code, fault.span) not in known:
            known.add((fault.code, fault.span))
            prepared.faults.append(fault)
    return [bool(faults) for faults in found]


def confirmed(model: "Model", solved: Sequence[tuple["Problem", "Answer"]], faults: list[Diagnostic]) -> list[bool]:
    """Look at answers with the independent check; report and tell which it does not confirm."""
    from .solving.checking import check_all

    whys = check_all(model, [question(problem, answer) for problem, answer in solved])
    for (problem, _), why in zip(solved, whys, strict=True):
        if why:
            network = problem.network
            facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine, "why": why}
            faults.append(diagnose("M506", network.profile.span, **facts))
    return [not why for why in whys]


def _solve(prepared: Prepared, networks: Sequence["Network"], effort: int) -> list["Solution"]:
    from .solving.answering import Refusal
    from .telling.solution import solutions

    if prepared.model is None:
        return []
    sound = [n for n, bad in zip(networks, undefined(prepared, networks), strict=True) if not bad]
    answered: list[tuple[Problem, Answer]] = []
    for problem, outcome in _outcomes(prepared, sound, effort):
        if isinstance(outcome, Refusal):
            prepared.refused.append((problem.network, outcome))
        else:
            answered.append((problem, outcome))
    kept = confirmed(prepared.model, answered, prepared.faults)
    answered = [a for a, stands in zip(answered, kept, strict=True) if stands]
    for problem, answer in answered:
        prepared.faults += _remarks(problem, answer)
        network = problem.network
        if answer.robust:
            prepared.held.append((network.profile.name, network.machine))
        else:
            prepared.stated_only.append(network)
    return solutions(prepared.model, answered)


def _outcomes(
    prepared: Prepared, networks: Sequence["Network"], effort: int
) -> list[tuple["Problem", "Answer | Refusal"]]:
    """Solve networks, or give what came of that before: it hangs on the texts, the machine and the effort alone."""
    from .solving.answering import DEFAULT_EFFORT, problems, solve_all

    effort = effort or DEFAULT_EFFORT
    key = ""
    if prepared.loaded is not None and len(prepared.networks) <= MOST_KEPT:
        pairs = (part for n in networks for part in (n.profile.name, n.machine))
        key = prepared.loaded.key("answers", str(effort), *pairs)
    kept = store.recall(key)
    if kept is not None:
        return list(zip(problems(networks), kept, strict=True))
    found = solve_all(networks, effort)
    store.keep(key, [outcome for _, outcome in found])
    return found


def _remarks(problem: "Problem", answer: "Answer") -> list[Diagnostic]:
    """List what an author should know of an answer."""
    from .solving.definedness import unbound

    network = problem.network
    found = unbound(problem)
    for r in answer.dropped:
        requirement = network.requirements[r]
        found.append(diagnose("M508", requirement.span, want=requirement.name, machine=network.machine))
    if not answer.certified:
        facts: dict[str, Any] = {"profile": network.profile.name, "machine": network.machine}
        more = 10 * answer.effort
        found.append(diagnose("M507", network.profile.span, limit=f"{answer.effort:,}", more=more, **facts))
    return found


def _explain(prepared: Prepared, effort: int) -> None:
    """Explain what was refused, once all machines have been tried: some are refused for one reason."""
    if prepared.model is None or not (prepared.refused or prepared.stated_only):
        return
    from .solving.answering import DEFAULT_EFFORT
    from .telling.refusing import explain_refusals, explain_stated_only

    effort = effort or DEFAULT_EFFORT
    prepared.faults += explain_refusals(prepared.model, prepared.refused, prepared.held, effort)
    prepared.faults += explain_stated_only(prepared.model, prepared.stated_only, effort)
    prepared.refused, prepared.stated_only = [], []


def question(problem: "Problem", answer: "Answer") -> "Question":
    """Ask the independent check about an answer."""
    network = problem.network
    values = problem.settings_at(answer.point[:, None])[:, 0]
    settings = {s.decl.name: float(v) for s, v in zip(network.settings, values, strict=True)}
    dropped = frozenset(network.requirements[r].name for r in answer.dropped)
    return network.profile, network.machine, settings, not answer.robust, dropped


def _excerpt(sources: Mapping[str, Source], span: Span) -> str:
    source = sources.get(span.file)
    return " ".join(source.text[span.start : span.end].split()) if source else "this"
