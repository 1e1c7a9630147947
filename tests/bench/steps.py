"""A file through the whole pipeline, step by step on a clock: the steps that ``compile`` takes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import process_time
from typing import TypeVar

from meltwright.compiling import AT_A_TIME, question
from meltwright.meaning.checking import check as check_text
from meltwright.meaning.loading import load
from meltwright.network.graph import Network
from meltwright.network.lowering import lower_all
from meltwright.output.producing import Producer
from meltwright.output.writing import Staging
from meltwright.solving.answering import Answer, Refusal, solve_all
from meltwright.solving.checking import check_all
from meltwright.solving.definedness import undefined_all
from meltwright.solving.problem import Problem
from meltwright.telling.solution import solutions
from meltwright.text.diagnostic import Diagnostic

STEPS = ("parsing", "checking", "lowering", "solving", "check", "telling", "rendering")

KEPT = 100
"""Networks that are kept to be looked at; those of a fleet are let go."""

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
    """What came of a file: the times, the first of its networks, and how many were solved, and how."""

    clock: Clock
    networks: list[Network] = field(default_factory=list)
    solved: int = 0
    refused: int = 0
    boxes: int = 0
    broken: list[str] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)


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
    networks = [n for n in lowered if n is not None]
    done.networks = networks[:KEPT]
    producer = Producer(faults)
    with Staging(out or Path()) as staging:
        # Part by part, as a compile does: a fleet's answers are not held in memory.
        for at in range(0, len(networks), AT_A_TIME):
            part = networks[at : at + AT_A_TIME]
            outcomes = clock.time("solving", lambda part=part: _solved(part))
            done.boxes += sum(outcome.boxes for _, outcome in outcomes)
            answers = [(problem, answer) for problem, answer in outcomes if isinstance(answer, Answer)]
            done.refused += len(outcomes) - len(answers)
            done.solved += len(answers)
            whys = clock.time("check", lambda a=answers: check_all(model, [question(*one) for one in a]))
            done.broken += [why for why in whys if why]
            told = clock.time("telling", lambda a=answers: solutions(model, a))
            made = clock.time("rendering", lambda t=told: producer.machine_files(t))
            if out is not None:
                texts = {path: text for files in made.values() for path, text in files.items()}
                clock.time("rendering", lambda t=texts: staging.stage(t, faults))
        texts = clock.time("rendering", producer.profile_files)
        if out is not None:
            clock.time("rendering", lambda: staging.stage(texts, faults))
            done.written = clock.time("rendering", lambda: staging.put(faults))
    return done


def _solved(networks: Sequence[Network]) -> list[tuple[Problem, Answer | Refusal]]:
    solved = solve_all(networks)
    undefined_all([problem for problem, _ in solved], lambda _: "")
    return solved
