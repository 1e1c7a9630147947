"""Elapsed time of commands as processes of their own."""

import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

RUNS = 7


def elapsed(*command: str, runs: int = RUNS) -> float:
    """Give the elapsed seconds of a Python command, the least of some runs."""
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([sys.executable, *command], capture_output=True, check=False)
        found.append(time.perf_counter() - start)
    return min(found)


def report(paths: list[Path], runs: int = RUNS) -> None:
    """Print the table of commands, with their ratio to a Python that does nothing."""
    print("\nprocesses                       ms   ratio to an empty Python")
    empty = elapsed("-c", "", runs=runs)
    with TemporaryDirectory() as folder:
        asked = [("--version",), *(("check", str(path)) for path in paths)]
        asked += [("compile", str(path), "--out", folder) for path in paths]
        for arguments in asked:
            taken = elapsed("-m", "meltwright", *arguments, runs=runs)
            label = " ".join(Path(a).name for a in arguments[:2])
            print(f"{label:<28} {1000 * taken:6.0f} {taken / empty:8.1f}")
