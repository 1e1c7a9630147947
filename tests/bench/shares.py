"""Where the time of a compile goes, and what solving takes machine by machine."""

import statistics
from pathlib import Path
from time import process_time

from meltwright.network.graph import Network
from meltwright.solving.answering import solve

from .counting import counted
from .steps import STEPS, walk

RUNS = 7


def solving(networks: list[Network]) -> dict[str, float]:
    """Give the processor seconds of solving each network alone, by profile and machine."""
    found = {}
    for network in networks:
        start = process_time()
        solve(network)
        found[f"{network.profile.name} on {network.machine}"] = process_time() - start
    return found


def report(path: Path, runs: int = RUNS) -> None:
    """Print shares of steps, solve times and counts of work of one file."""
    networks = walk(path).networks
    walks = [walk(path) for _ in range(runs)]
    steps = {s: statistics.median(w.clock.taken[s] for w in walks) for s in STEPS}
    total = sum(steps.values())
    print(f"\n{path.stem}: {1000 * total:.0f} ms for {len(networks)} machines together")
    print("  step          share       ms")
    for step, taken in steps.items():
        print(f"  {step:<10} {100 * taken / total:6.1f} % {1000 * taken:8.1f}")
    print(f"  {'solving alone':<30} {'ms':>6} {'boxes':>6} {'/ parsing':>10}  passes of the tape (rows)")
    times = [solving(networks) for _ in range(runs)]
    for network in networks:
        name = f"{network.profile.name} on {network.machine}"
        taken = statistics.median(t[name] for t in times)
        with counted() as work:
            _, answer = solve(network)
        passes = ", ".join(f"{m} {n} ({work.rows[m]})" for m, n in sorted(work.passes.items()))
        print(f"  {name:<30} {1000 * taken:6.0f} {answer.boxes:6d} {taken / steps['parsing']:10.2f}  {passes}")
