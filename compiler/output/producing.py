"""From solutions to the texts of all output files."""

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from ..telling.bundle import bundles
from ..telling.solution import Solution
from ..text.diagnostic import Diagnostic
from .rendering import render
from .targets import builtin_folder, read_targets

Data = dict[str, Any]


def produced_names(solutions: Sequence[Solution]) -> list[str]:
    """Give the profiles for which files will be written."""
    return list(dict.fromkeys(s.network.profile.name for s in solutions))


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Put off the search for cycles: what is told of a fleet is kept to the end, and has none."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


@_no_collecting()
def produce(solutions: Sequence[Solution], faults: list[Diagnostic]) -> dict[str, str]:
    """Render every profile through every target; gives texts by path below the output folder."""
    targets = read_targets(builtin_folder(), faults)
    texts: dict[str, str] = {}
    for name in produced_names(solutions):
        told = bundles([s for s in solutions if s.network.profile.name == name])
        profile: Data = {"name": name, "material": told[0]["material"]}
        texts |= render(targets, profile, told, faults)
    return texts
