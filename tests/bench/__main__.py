"""``python -m tests.bench [FILE ...]``: where the time goes, as shares and ratios. See README.md; never a test."""

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from meltwright.compiling import _check, compile_file
from meltwright.meaning.checking import check
from meltwright.meaning.loading import library_folder, load
from meltwright.network.lowering import lower
from meltwright.output.producing import produce
from meltwright.solving.answering import Answer, solve
from meltwright.solving.definedness import undefined
from meltwright.solving.problem import Problem
from meltwright.telling.solution import solution

RUNS = 7
STEPS = ("parsing", "checking", "lowering", "solving", "check", "telling", "rendering")

T = TypeVar("T")


class Clock:
    """Adds up the time of named steps; processor time of this process, so that waiting is not counted."""

    def __init__(self) -> None:
        self.taken: dict[str, float] = dict.fromkeys(STEPS, 0.0)

    def time(self, step: str, work: Callable[[], T]) -> T:
        start = time.process_time()
        result = work()
        self.taken[step] += time.process_time() - start
        return result


def once(path: Path) -> tuple[Clock, dict[str, tuple[float, int]]]:
    """Go through a file step by step; gives times, and by machine the time of its solving and the boxes looked at."""
    clock, machines = Clock(), {}
    loaded = clock.time("parsing", lambda: load(path))
    model, faults = clock.time("checking", lambda: check(loaded))
    for profile in [p for p in model.profiles.values() if p.span.file == path.name]:
        for machine in profile.machines:
            network = clock.time("lowering", lambda p=profile, m=machine: lower(model, p, m.text, faults))
            if network is None:
                continue
            before = clock.taken["solving"]
            clock.time("solving", lambda n=network: undefined(Problem(n), lambda _: ""))
            problem, answer = clock.time("solving", lambda n=network: solve(n))
            boxes = answer.boxes
            machines[f"{profile.name} on {machine.text}"] = (clock.taken["solving"] - before, boxes)
            if isinstance(answer, Answer):
                clock.time("check", lambda q=problem, a=answer: _check(model, q, a))
                clock.time("telling", lambda q=problem, a=answer: solution(model, q, a))
    compiled = compile_file(path)
    clock.time("rendering", lambda: produce(compiled.solutions, []))
    return clock, machines


def process(*arguments: str) -> float:
    """Give the elapsed time of a command as its own process, the least of some runs."""
    found = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "meltwright", *arguments], capture_output=True, check=False)
        found.append(time.perf_counter() - start)
    return min(found)


def report(path: Path) -> None:
    """Print the tables of one file."""
    once(path)
    runs = [once(path) for _ in range(RUNS)]
    steps = {s: statistics.median(clock.taken[s] for clock, _ in runs) for s in STEPS}
    total = sum(steps.values())
    print(f"\n{path.stem}")
    print("  step        share")
    for step, taken in steps.items():
        print(f"  {step:<10} {100 * taken / total:5.1f} %")
    print("  solving of                      ms   boxes   ratio to parsing")
    for name, (_, boxes) in runs[0][1].items():
        taken = statistics.median(machines[name][0] for _, machines in runs)
        print(f"  {name:<28} {1000 * taken:6.0f} {boxes:7d} {taken / steps['parsing']:12.2f}")


def main() -> None:
    """Measure the files named, or the demonstrations."""
    demos = sorted((library_folder() / "demos").glob("*.melt"))
    files = [Path(a) for a in sys.argv[1:]] or [d for d in demos if "\nprofile " in d.read_text(encoding="utf-8")]
    for path in files:
        report(path)
    print("\nprocesses                       ms   ratio to an empty Python")
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", ""], check=False)
    empty = time.perf_counter() - start
    for arguments in (("--version",), *(("check", str(path)) for path in files)):
        taken = process(*arguments)
        label = " ".join(Path(a).name for a in arguments)
        print(f"{label:<28} {1000 * taken:6.0f} {taken / empty:8.1f}")


if __name__ == "__main__":
    main()
