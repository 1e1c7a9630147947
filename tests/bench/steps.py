"""A file through the whole pipeline, step by step on a clock: the steps that ``compile`` takes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import process_time
from typing import TypeVar

from meltwright.meaning.checking import check as check_text
from meltwright.meaning.loading import load
from meltwright.meaning.model import Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower_all
from meltwright.output.producing import produce
from meltwright.output.writing import write_files
from meltwright.solving.answering import Answer, Refusal, solve_all
from meltwright.solving.checking import check
from meltwright.solving.definedness import undefined
from meltwright.solving.problem import Problem
from meltwright.telling.solution import solutions
from meltwright.text.diagnostic import Diagnostic

STEPS = ("parsing", "checking", "lowering", "solving", "check", "telling", "rendering")

T = TypeVar("T")


class Clock:
    """Adds up the time of named steps; processor time of this process, so that waiting is not counted."""

    def __init__(self) -> None:
        self.taken: dict[str, float] = dict.fromkeys(STEPS, 0.0)

    def time(self, step: str, work: Callable[[], T]) -> T:
        start = process_time()
        result = work()
        self.taken[step] += process_time() - start
        return result


@dataclass(slots=True)
class Walk:
    """What came of a file: the times, its networks, and their outcomes in the same order."""

    clock: Clock
    networks: list[Network] = field(default_factory=list)
    outcomes: list[tuple[Problem, Answer | Refusal]] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)

    @property
    def boxes(self) -> int:
        """Boxes that all searches looked at."""
        return sum(answer.boxes for _, answer in self.outcomes)

    @property
    def refused(self) -> int:
        """How many networks have no answer."""
        return sum(isinstance(answer, Refusal) for _, answer in self.outcomes)


def walk(path: Path, out: Path | None = None) -> Walk:
    """Go through a file; the files are rendered, and written where ``out`` is a folder.

    A profile that is refused on a machine takes no part in what follows. A faulty text ends the run.
    """
    clock, faults = Clock(), list[Diagnostic]()
    done = Walk(clock)
    loaded = clock.time("parsing", lambda: load(path))
    model, found = clock.time("checking", lambda: check_text(loaded))
    errors = [f for f in [*loaded.faults, *found] if f.is_error]
    if model is None or errors:
        raise SystemExit(f"{path.name}: {errors[0].message if errors else 'it cannot be read'}")
    asked = [(p, m.text) for p in model.profiles.values() if p.span.file == path.name for m in p.machines]
    lowered = clock.time("lowering", lambda: lower_all(model, asked, faults))
    done.networks = [n for n in lowered if n is not None]
    done.outcomes = clock.time("solving", lambda: _solved(done.networks))
    answers = [(problem, answer) for problem, answer in done.outcomes if isinstance(answer, Answer)]
    whys = clock.time("check", lambda: [_checked(model, problem, answer) for problem, answer in answers])
    done.broken = [why for why in whys if why]
    told = clock.time("telling", lambda: solutions(model, answers))
    texts = clock.time("rendering", lambda: produce(told, faults)) if told else {}
    if out is not None:
        done.written = clock.time("rendering", lambda: write_files(out, texts, faults))
    return done


def _solved(networks: Sequence[Network]) -> list[tuple[Problem, Answer | Refusal]]:
    solved = solve_all(networks)
    # A compile looks for undefined operations first; here the problems that are made already serve.
    for problem, _ in solved:
        undefined(problem, lambda _: "")
    return solved


def _checked(model: Model, problem: Problem, answer: Answer) -> str:
    network = problem.network
    values = problem.settings_at(answer.point[:, None])[:, 0]
    settings = {s.decl.name: float(v) for s, v in zip(network.settings, values, strict=True)}
    dropped = frozenset(network.requirements[r].name for r in answer.dropped)
    return check(model, network.profile, network.machine, settings, not answer.robust, dropped)
