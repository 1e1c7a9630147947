"""The pictures of machines, as plain data for the templates that draw them."""

import tomllib
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from ..solving.windows import axes, windows
from ..telling.budgets import budgets
from ..telling.solution import Solution
from .bar_pictures import budget_picture, margins_picture
from .targets import Target, builtin_folder
from .window_picture import window_picture

Data = dict[str, Any]

CHOICES = "page/pictures.toml"
"""Which settings span the window, where the library has them: data, as no setting is known here."""


@cache
def _choices() -> tuple[tuple[str, ...], tuple[str, ...]]:
    data = tomllib.loads((builtin_folder() / CHOICES).read_text(encoding="utf-8"))["window"]
    return tuple(data["across"]), tuple(data["up"])


def asked_for(targets: Iterable[Target]) -> bool:
    """Tell whether a template of some targets mentions the pictures: else they need not be drawn."""
    for target in targets:
        texts = [s.text for s in target.texts.values()]
        texts += [p.read_text(encoding="utf-8") for p in target.folder.glob("*.j2")] if target.neutral else []
        if any("pictures" in text for text in texts):
            return True
    return False


def pictures(solutions: Sequence[Solution], bundles: Sequence[Data]) -> list[Data]:
    """Draw the machines of some solutions, whose bundles are given: ``window`` (or None), ``budgets``, ``margins``.

    Those of one structure are evaluated together; each is as if it were drawn alone.
    """
    found: list[Data] = [{}] * len(solutions)
    groups: dict[tuple[int, ...], list[int]] = {}
    for at, solution in enumerate(solutions):
        network = solution.network
        key = (id(solution.problem.tape), id(network.requirements), id(network.merits), id(network.lets))
        groups.setdefault(key, []).append(at)
    for members in groups.values():
        alike = [solutions[at] for at in members]
        pair = axes(alike[0].problem, *_choices())
        seen = windows([s.problem for s in alike], [s.answer for s in alike], pair) if pair else [None] * len(alike)
        for at, solution, window, spent in zip(members, alike, seen, budgets(alike), strict=True):
            found[at] = {
                "window": window_picture(solution, window) if window else None,
                "budgets": [{"data": b, "picture": budget_picture(b)} for b in spent],
                "margins": margins_picture([r for r in bundles[at]["requirements"] if not r["follows"]]),
            }
    return found
