"""How long commands take from start to end, as processes of their own, beside a Python that does nothing."""

import os
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

RUNS = 7

PYTHON, NUMPY = "python -c pass", 'python -c "import numpy"'
"""What the commands are measured by."""


@dataclass(slots=True)
class Command:
    """A command with the arguments of its process; a ``cold`` one finds an empty cache each time."""

    label: str
    arguments: tuple[str, ...]
    cold: bool = False
    processor: list[float] = field(default_factory=list)
    elapsed: list[float] = field(default_factory=list)


def run(arguments: Sequence[str], cache: Path, bytecode: Path) -> tuple[float, float]:
    """Run a Python process; gives its processor and its elapsed seconds.

    Bytecode is kept in a folder of its own, as an installed program has it, whatever the surroundings say.
    """
    own = {"MELTWRIGHT_CACHE": str(cache), "PYTHONPYCACHEPREFIX": str(bytecode)}
    environment = {**{k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}, **own}
    start = time.perf_counter()
    null = os.open(os.devnull, os.O_RDWR)
    streams = [(os.POSIX_SPAWN_DUP2, null, k) for k in (0, 1, 2)]
    child = os.posix_spawn(sys.executable, [sys.executable, *arguments], environment, file_actions=streams)
    os.close(null)
    _, _, used = os.wait4(child, 0)
    return used.ru_utime + used.ru_stime, time.perf_counter() - start


def measure(commands: Sequence[Command], folder: Path, runs: int) -> None:
    """Run all commands in turn, again and again, so that what else the computer does meets all of them alike."""
    warm, bytecode = folder / "warm", folder / "bytecode"
    for command in commands:
        run(command.arguments, warm, bytecode)
    for k in range(runs):
        for command in commands:
            cache = folder / f"cold-{k}-{commands.index(command)}" if command.cold else warm
            processor, elapsed = run(command.arguments, cache, bytecode)
            command.processor.append(processor)
            command.elapsed.append(elapsed)


def asked(files: Sequence[Path], out: Path) -> list[Command]:
    """List what is measured: what each is compared with, then commands that load little, then those that work."""
    here = ("-m", "meltwright")
    found = [
        Command(PYTHON, ("-c", "pass")),
        Command(NUMPY, ("-c", "import numpy")),
        Command("--version", (*here, "--version")),
        Command("explain M503", (*here, "explain", "M503")),
    ]
    for file in files:
        path, name = str(file), file.name
        for words, arguments in (
            (f"format --check {name}", ("format", "--check", path)),
            (f"check {name}", ("check", path)),
            (f"compile {name}", ("compile", path, "--out", str(out))),
        ):
            found.append(Command(words, (*here, *arguments)))
            found.append(Command(f"{words}, cold", (*here, *arguments), cold=True))
    return found


def table(commands: Sequence[Command]) -> list[str]:
    """Write medians and their ratios, by processor time."""
    by: Mapping[str, float] = {c.label: median(c.processor) for c in commands}
    lines = ["start-up: medians; ratios are of processor time", _row("", "ms", "elapsed", "/ python", "/ numpy")]
    for c in commands:
        ratios = f"{by[c.label] / by[PYTHON]:.1f}", f"{by[c.label] / by[NUMPY]:.1f}"
        lines.append(_row(c.label, f"{1000 * by[c.label]:.0f}", f"{1000 * median(c.elapsed):.0f}", *ratios))
    return lines


def _row(label: str, *columns: str) -> str:
    return f"{label:<38}" + "".join(f"{c:>10}" for c in columns)


def report(files: Sequence[Path], runs: int = RUNS) -> None:
    """Print the table of start-up times."""
    with TemporaryDirectory() as folder:
        commands = asked(files, Path(folder) / "out")
        measure(commands, Path(folder), runs)
    print("\n" + "\n".join(table(commands)))
