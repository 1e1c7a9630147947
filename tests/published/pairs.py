"""Every material of the library on every machine class: what comes out, or the physical reason why nothing does.

``python -m tests.published.pairs`` writes the table into ``README.md`` beside this file. The profile is an ordinary
one: layers half a bore high, bonds at least light, threads at most as thick as a hair's edge, as quick as it goes.
"""

import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from meltwright.compiling import prepare
from meltwright.meaning.checking import check_library
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Model
from meltwright.solving.answering import Answer, Refusal, solve_all
from meltwright.solving.problem import Problem

EFFORT = 2_000
"""Boxes that the search of one pair may look at."""

README = Path(__file__).with_name("README.md")
START, END = "<!-- pairs: made by python -m tests.published.pairs -->", "<!-- end of pairs -->"

PROFILE = """
profile {name} {{
  material      {material}
  machines      {machine}
  layer.height  {height:.2f} mm
  stringing     at most hair
  bonding       at least light
  prefer        throughput
}}
"""

Key = tuple[str, str]


@dataclass(frozen=True)
class Pair:
    """What came of a material on a machine: settings in the units of their lattices, or the names of a conflict.

    ``robust`` tells whether the settings hold for all input values, or only for the stated ones.
    """

    material: str
    machine: str
    settings: Mapping[str, float]
    robust: bool
    conflict: tuple[str, ...]
    reasons: tuple[str, ...]
    certified: bool = True
    merits: tuple[float, ...] = ()

    @property
    def decided(self) -> bool:
        """Whether there are settings or a reason why there are none."""
        return bool(self.settings or self.conflict)


def files(kind: str) -> list[Path]:
    """List the library's files of materials or machines."""
    return sorted((library_folder() / kind).glob("*.melt"))


@cache
def library() -> Model:
    """Read the whole library."""
    model, faults, _ = check_library()
    assert model is not None, faults
    return model


def concrete(kind: str) -> list[str]:
    """Name the materials or machines that are given whole, so that they can be compiled: not mere bases of others."""
    model = library()
    entities = model.materials if kind == "materials" else model.machines
    wanted = BASES[kind]
    return sorted(
        (name for name in entities if name not in wanted), key=lambda n: (entities[n].span.file, entities[n].span.start)
    )


BASES = {
    "materials": {"thermoplastic", "urethane", "styrenic_elastomer", "ester_elastomer"},
    "machines": {"desktop_machine"},
}
"""Entities that only others build on: they leave out what differs between those."""


def solve_pairs(chosen: Iterable[Key] | None = None, more: str = "") -> dict[Key, Pair]:
    """Solve pairs of a material and a machine: all in the order of the library's texts, where none are named."""
    wanted = (
        list(chosen) if chosen is not None else [(a, b) for a in concrete("materials") for b in concrete("machines")]
    )
    text = [_uses()]
    for number, (material, machine) in enumerate(wanted):
        bore = library().machines[machine].values["nozzle_bore"].amount.stated
        profile = PROFILE.format(
            name=f"pair_{number}", material=material, machine=machine, height=round(bore * 1e3 / 2, 2)
        )
        text.append(profile.replace("}\n", more + "}\n"))
    found = solve_text("".join(text))
    return {key: found[f"pair_{number}", key[1]] for number, key in enumerate(wanted)}


def solve_text(text: str) -> dict[Key, Pair]:
    """Solve all profiles of a text together; outcomes by profile and machine."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.melt"
        path.write_text(text, encoding="utf-8")
        prepared = prepare(path)
    assert not prepared.failed, prepared.faults
    solved = solve_all(prepared.networks, EFFORT)
    return {(p.network.profile.name, p.network.machine): _pair(p, outcome) for p, outcome in solved}


def _uses() -> str:
    return "".join(f'use library "{kind}/{f.stem}"\n' for kind in ("materials", "machines") for f in files(kind))


def _pair(problem: Problem, outcome: Answer | Refusal) -> Pair:
    network = problem.network
    key = network.material, network.machine
    if isinstance(outcome, Refusal):
        asked = [network.requirements[r] for r in outcome.conflict]
        return Pair(*key, {}, False, tuple(r.name for r in asked), tuple(r.otherwise for r in asked))
    settings = {s.decl.name: float(s.decl.number(int(i))) for s, i in zip(network.settings, outcome.point, strict=True)}
    return Pair(*key, settings, outcome.robust, (), (), outcome.certified, outcome.merits)


def table(pairs: Mapping[Key, Pair]) -> str:
    """Write pairs as a Markdown table, a row a material, with the refusals' reasons below."""
    machines = list(dict.fromkeys(machine for _, machine in pairs))
    materials = list(dict.fromkeys(material for material, _ in pairs))
    notes: dict[tuple[str, ...], int] = {}
    lines = ["| material | " + " | ".join(machines) + " |", "|---" * (len(machines) + 1) + "|"]
    for material in materials:
        cells = [_cell(pairs[material, machine], notes) for machine in machines]
        lines.append(f"| {material} | " + " | ".join(cells) + " |")
    lines += [
        "",
        "Contour speed in mm/s, nozzle in degC. `~`: holds at the stated input values only, not over their ranges.",
    ]
    for reasons, number in notes.items():
        lines += ["", f"({number}) Refused, for these cannot hold together: " + "; ".join(reasons) + "."]
    return "\n".join(lines) + "\n"


def _cell(pair: Pair, notes: dict[tuple[str, ...], int]) -> str:
    if not pair.settings:
        return f"({notes.setdefault(pair.reasons, len(notes) + 1)})" if pair.conflict else "undecided"
    mark = "" if pair.robust else "~"
    return f"{mark}{pair.settings['speed.contour']:.0f} at {pair.settings['heat.nozzle']:.0f}"


def written() -> str:
    """Give the table that the README holds."""
    text = README.read_text(encoding="utf-8")
    return text.partition(START)[2].partition(END)[0].strip() + "\n"


def main() -> int:
    """Write the table."""
    text = README.read_text(encoding="utf-8")
    head, found, rest = text.partition(START)
    _, closed, tail = rest.partition(END)
    if not found or not closed:
        print(f"{README} lacks the marks {START} and {END}", file=sys.stderr)
        return 1
    README.write_text(f"{head}{START}\n\n{table(solve_pairs())}\n{END}{tail}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
