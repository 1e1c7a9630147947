"""Fleets of 1 to 10,000 machines through the whole pipeline, each size in a process of its own."""

import json
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter
from typing import Any

from meltwright.meaning.loading import library_folder

from .fleets import write
from .steps import walk

SIZES = (1, 10, 100, 1000, 10_000)
BUDGET = 600.0
"""Seconds that one size may take."""

ROOT = Path(__file__).parents[2]

Row = dict[str, Any]


def measure(count: int, demo: str = "watch_strap") -> Row:
    """Take one fleet through the pipeline in this process, after another demonstration has loaded all that is needed.

    The trees of the library's files are kept beforehand; the fleet's own text is new. Gives processor seconds by
    step, seconds in all, the peak of memory in MB, boxes, refusals and written files.
    """
    with tempfile.TemporaryDirectory() as folder:
        walk(library_folder() / "demos" / ("stiff_bracket.melt" if demo != "stiff_bracket" else "watch_strap.melt"))
        path, begun = write(Path(folder), count, demo), perf_counter()
        done = walk(path, Path(folder) / "out")
        taken = perf_counter() - begun
        size = sum(p.stat().st_size for p in done.written)
    return {
        "machines": count,
        "solved": done.solved,
        "refused": done.refused,
        "broken": len(done.broken),
        "boxes": done.boxes,
        "seconds": taken,
        "steps": done.clock.taken,
        "files": len(done.written),
        "bytes": size,
        "peak": peak(),
    }


def peak() -> float:
    """Give the most memory that this process has had, in MB."""
    status = Path("/proc/self/status")
    if status.is_file():
        # Linux hands the usage of the starting process on to the started one; this counts from the start of its own.
        kilobytes = next(w for line in status.read_text().splitlines() if (w := line.split())[0] == "VmHWM:")[1]
        return int(kilobytes) / 1e3
    # macOS counts bytes, others kB.
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def apart(count: int, budget: float = BUDGET, demo: str = "watch_strap") -> Row | str:
    """Measure one size in a process of its own; gives a sentence where it did not come to an end."""
    with tempfile.TemporaryDirectory() as cache:
        # A cache of its own, so that the fleet's text is new each time.
        surroundings = {**os.environ, "MELTWRIGHT_CACHE": cache}
        command = [sys.executable, "-m", "tests.bench", "fleet-one", str(count), demo]
        try:
            ran = subprocess.run(
                command, capture_output=True, text=True, timeout=budget, cwd=ROOT, env=surroundings, check=False
            )
        except subprocess.TimeoutExpired:
            return f"stopped after {budget:.0f} s"
    if ran.returncode:
        return f"failed: {(ran.stderr.strip().splitlines() or ['without a word'])[-1]}"
    row: Row = json.loads(ran.stdout)
    return row


HEAD = ("parse+check", "lower", "solve", "check", "tell+write", "all")
GROUPS = (("parsing", "checking"), ("lowering",), ("solving",), ("check",), ("telling", "rendering"))


def line(row: Row) -> str:
    """Write a row of the table: ms a machine by step, then the whole."""
    count = row["machines"]
    parts = [sum(row["steps"][s] for s in group) for group in GROUPS]
    times = "".join(f" {1000 * t / count:11.2f}" for t in [*parts, sum(parts)])
    remarks = [f"{row['refused']} refused"] * bool(row["refused"])
    remarks += [f"{row['broken']} failed the independent check"] * bool(row["broken"])
    return (
        f"  {count:>8,d}{times} {row['seconds']:9.1f} {row['peak']:9.0f} {row['boxes'] / count:7.1f}"
        f"  {', '.join(remarks)}"
    ).rstrip()


def report(most: int = 1000, budget: float = BUDGET, demo: str = "watch_strap") -> None:
    """Print the table up to ``most`` machines; what would take longer than the budget is left out, and it says so."""
    print(f"\nfleet: {demo} on invented machines with the same laws and other numbers; ms a machine by step")
    print("  machines" + "".join(f" {h:>11}" for h in HEAD) + f" {'s in all':>9} {'peak MB':>9} {'boxes':>7}")
    expected, failed = 0.0, False
    for count in [s for s in SIZES if s <= most]:
        if failed or expected * count > budget:
            why = "a smaller one did not end" if failed else f"about {expected * count:.0f} s expected"
            print(f"  {count:>8,d} left out: {why}, {budget:.0f} s allowed")
            continue
        row = apart(count, budget, demo)
        if isinstance(row, str):
            print(f"  {count:>8,d} {row}")
            failed = True
            continue
        expected = row["seconds"] / count
        print(line(row), flush=True)
    left = [s for s in SIZES if s > most]
    if left:
        print(f"  not asked for: {', '.join(f'{s:,d}' for s in left)} (--most {left[-1]})")
