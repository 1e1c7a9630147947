"""Our answers beside those of general-purpose solvers, on the same question and judged by the same proof."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from time import process_time

from meltwright.meaning.checking import check_file
from meltwright.meaning.display import unit_for, with_unit
from meltwright.network.graph import Network
from meltwright.network.lowering import lower

from .lowered import ipopt
from .question import FLEET, TOLERANCE, Ours, Question, ask
from .rivals import Found, evolution, slsqp
from .tables import cpsat

Peer = Callable[[Question], Found]

PEERS: tuple[tuple[str, str, Peer], ...] = (
    ("SLSQP", "scipy", slsqp),
    ("evolution", "scipy", evolution),
    ("Ipopt", "casadi", ipopt),
    ("CP-SAT", "ortools", cpsat),
)
"""Name, package and function of each peer."""

FASTER = {"SLSQP": 20.0, "evolution": 100.0}
"""How many times faster than a peer our whole proven solve is meant to be; the summary says whether it is."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A peer's result: seconds, its merit and what its point breaks; ``merit`` is None where it found no point."""

    peer: str
    seconds: float
    merit: float | None
    broken: tuple[str, ...]
    evaluations: int
    remark: str

    @property
    def proved(self) -> bool:
        """Whether the point holds for all input values."""
        return self.merit is not None and not self.broken


def networks(path: Path) -> list[Network]:
    """Lower the profiles of a file on their machines; those with faults are left out."""
    model, faults, _ = check_file(path)
    if model is None:
        raise SystemExit(f"{path.name}: {faults[0].message}")
    own = [p for p in model.profiles.values() if p.span.file == path.name]
    found = [lower(model, p, m.text, list(faults)) for p in own for m in p.machines]
    return [n for n in found if n is not None]


def compare(question: Question, peers: Iterable[tuple[str, str, Peer]] = PEERS) -> list[Outcome]:
    """Put a question to the peers that are installed, and prove or break what they find."""
    outcomes = []
    for name, package, peer in peers:
        if find_spec(package) is None:
            outcomes.append(Outcome(name, 0.0, None, (), 0, "not installed"))
            continue
        __import__(package)
        question.evaluations, begun = 0, process_time()
        found = peer(question)
        seconds, evaluations = process_time() - begun, question.evaluations
        merit = None if found.row is None else float(question.merit(found.row[:, None])[0])
        broken = () if found.row is None else tuple(question.judge(found.row))
        outcomes.append(Outcome(name, seconds, merit, broken, evaluations, found.remark))
    return outcomes


def ahead(question: Question, outcome: Outcome) -> tuple[float, float]:
    """Tell how far a peer's merit is above ours: as a share, and in steps of the lattice. Below zero: behind ours."""
    assert outcome.merit is not None
    gain = outcome.merit - question.best
    if abs(gain) <= 2 * TOLERANCE * abs(question.best):
        return 0.0, 0.0
    return gain / max(abs(question.best), 1e-300), gain / question.step if question.step else 0.0


def table(network: Network, question: Question, ours: Ours, outcomes: list[Outcome]) -> list[str]:
    """Write the comparison of one network as lines."""
    merit = network.merits[0]
    unit = unit_for(network.nodes[merit.node].dimension)
    title = f"{network.profile.name} on {network.machine}"
    lines = [
        f"\n{title}: most {merit.name}; {question.free.size} free settings, {question.points:.1e} lattice points, "
        f"{len(question.active)} requirements at {len(question.scenarios)} sets of input values",
        f"  {'':<10} {'s':>8} {'/ ours':>8} {merit.name:>14} {'gap':>9} {'steps':>8} {'points':>9}  holds",
        f"  {'ours':<10} {ours.whole:8.3f} {1:8.1f} {with_unit(question.best, unit):>14} {'':>9} {'':>8} {'':>9}  "
        f"proved; {1000 * ours.alone:.0f} ms for this preference alone, {ours.answer.boxes} boxes",
        f"  {'in a fleet':<10} {ours.together:8.3f} {ours.together / ours.whole:8.2f}  one of {FLEET} together",
    ]
    for o in outcomes:
        if o.merit is None:
            reason = o.remark if o.remark == "not installed" else f"found no point ({o.remark})"
            times = "" if o.remark == "not installed" else f"{o.seconds:8.2f} {o.seconds / ours.whole:8.1f}"
            lines.append(f"  {o.peer:<10} {times:>17} {'':>14} {'':>9} {'':>8} {o.evaluations:9d}  {reason}")
            continue
        share, steps = ahead(question, o)
        holds = "proved" if o.proved else "broken by " + ", ".join(o.broken)
        lines.append(
            f"  {o.peer:<10} {o.seconds:8.2f} {o.seconds / ours.whole:8.1f} {with_unit(o.merit, unit):>14} "
            f"{100 * share:8.2f}% {steps:8.2f} {o.evaluations:9d}  {holds} ({o.remark})"
        )
    return lines


def claims(results: list[tuple[Question, Ours, list[Outcome]]]) -> list[str]:
    """Sum up: how far any proved answer of a peer was above ours, and the least ratio of times by peer."""
    lines = ["\nin all"]
    gains = [ahead(q, o)[1] for q, _, outcomes in results for o in outcomes if o.proved]
    if gains:
        behind = sum(g < 0 for g in gains)
        lines.append(
            f"  proved answers of peers: {len(gains)}, of which {behind} behind ours; "
            f"the best is {max(gains):+.2f} lattice steps from ours; "
            f"meant: none ahead by more than one, {'met' if max(gains) <= 1 else 'not met'}"
        )
    for name, *_ in PEERS:
        mine = [(o, o.seconds / ours.whole) for _, ours, outcomes in results for o in outcomes if o.peer == name]
        ratios = sorted(ratio for o, ratio in mine if o.remark != "not installed")
        if not ratios:
            lines.append(f"  {name:<10} not installed")
            continue
        fleet = sorted(o.seconds / ours.together for _, ours, found in results for o in found if o.peer == name)
        goal = FASTER.get(name)
        verdict = f"; meant: {goal:.0f}, {'met' if ratios[0] >= goal else 'not met'}" if goal else ""
        proved = sum(o.proved for o, _ in mine)
        none = sum(o.merit is None for o, _ in mine)
        lines.append(
            f"  {name:<10} {ratios[0]:.1f} to {ratios[-1]:.1f} times our time (median {ratios[len(ratios) // 2]:.1f}); "
            f"proved {proved}, broken {len(mine) - proved - none}, none found {none} of {len(mine)}{verdict}; "
            f"one of a fleet: {fleet[0]:.0f} to {fleet[-1]:.0f} (median {fleet[len(fleet) // 2]:.0f})"
        )
    return lines


def report(paths: list[Path]) -> None:
    """Print the comparison for all profiles of some files on all their machines."""
    print("\npeers: each maximises the first preference under the same scenario constraints; its answer is then proved")
    results = []
    for path in paths:
        for network in networks(path):
            asked = ask(network)
            if asked is None:
                print(f"\n{network.profile.name} on {network.machine}: no preference to compare by, or refused")
                continue
            question, ours = asked
            outcomes = compare(question)
            print("\n".join(table(network, question, ours, outcomes)), flush=True)
            results.append((question, ours, outcomes))
    print("\n".join(claims(results)))
