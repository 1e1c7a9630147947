"""The second stage of an editor's check: what only numbers show, by the functions that the commands use."""

from collections.abc import Iterator

from ..compiling import Prepared, first_look, lowered, solve_in_turn
from ..telling.bundle import Data, bundles
from ..text.diagnostic import Diagnostic, order
from .programs import Program
from .verdicts import Chosen, Finding, Machine

MOST_MACHINES = 64
"""Machines of a file that are solved in the background; a larger fleet gets the first look alone."""

_HOW = {"preference": "by the preferences", "low": "rather low", "high": "rather high", "middle": "in the middle"}


def judge(program: Program, whole: bool = True) -> Iterator[Finding]:
    """Look over a sound program's machines, and solve them where ``whole`` asks for it.

    Gives what ``check`` adds to the text's faults, then what ``compile`` adds; the second may take long. Nothing
    comes for a text with errors or without profiles.
    """
    if not program.sound or not program.profiles:
        return
    text = Prepared(program.model, [], list(program.found), dict(program.sources), program.loaded)
    prepared = lowered(text, program.loaded.main)
    looked, _ = first_look(prepared)
    solvable = whole and 0 < len(prepared.networks) <= MOST_MACHINES and not looked.failed
    yield Finding(_added(program, prepared.faults), (), solved=not solvable)
    if solvable:
        solutions = [s for part in solve_in_turn(prepared, prepared.networks) for s in part]
        machines = tuple(told(b) for b in bundles(solutions))
        yield Finding(_added(program, prepared.faults), machines, solved=True)


def _added(program: Program, faults: list[Diagnostic]) -> tuple[Diagnostic, ...]:
    known = set(program.found)
    return tuple(d for d in order(faults) if d not in known)


def told(bundle: Data) -> Machine:
    """Keep of a bundle what an editor shows."""
    settings = {}
    for group, members in bundle["settings"].items():
        for name, s in members.items():
            whole = name if group == name else f"{group}.{name}"
            settings[whole] = Chosen(_unit(s["text"], s["unit"]), _unit(s["band_text"], s["unit"]), _ended(s), _how(s))
    grades = {n: f"{g['band']} ({g['worst']} at worst)" for n, g in bundle["grades"].items()}
    values = {n: f"{d['text']} (over the ranges: {d['range_text']})" for n, d in bundle["derived"].items()}
    values |= {m["name"]: m["text"] for m in bundle["merits"]}
    return Machine(bundle["profile"], bundle["machine"], settings, values, grades)


def _unit(text: str, unit: str) -> str:
    return f"{text} {unit}".rstrip()


def _how(setting: Data) -> str:
    chosen: str = setting["chosen"]
    return _HOW.get(chosen, chosen)


def _ended(setting: Data) -> str:
    """Say which requirements end the band."""
    if setting["chosen"] in ("given", "pinned"):
        return ""
    return f"below it ends by {setting['ends_below']}, above by {setting['ends_above']}"
