"""A solved profile on a machine, with what is needed to talk about it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..meaning.display import with_unit
from ..meaning.model import GivenValue, Model
from ..meaning.units import Dimension, Unit
from ..network.graph import Network, Requirement, SettingVariable
from ..solving.answering import Answer, Margin
from ..solving.batch import Batch
from ..solving.problem import Indices, Problem
from ..solving.ranging import ranges
from ..solving.tape import Floats
from ..text.source import Span
from .sides import unit_of_name

EVERYWHERE, STATED = "all input values", "stated values only"
"""For which input values settings hold."""


class Derived(NamedTuple):
    """A derived quantity at the chosen settings: stated value and range over the inputs, in base units."""

    name: str
    stated: float
    low: float
    high: float
    dimension: Dimension


@dataclass(frozen=True, slots=True)
class Solution:
    """A model, a network of it, and its answer.

    ``ranges`` gives (stated, low, high) in base units at the chosen settings, for the nodes that are talked about.
    """

    model: Model
    problem: Problem
    answer: Answer
    derived: Mapping[str, Derived]
    ranges: Mapping[int, tuple[float, float, float]]

    @property
    def network(self) -> Network:
        """The network that was solved."""
        return self.problem.network

    @property
    def holds(self) -> str:
        """For which input values the settings hold."""
        return EVERYWHERE if self.answer.robust else STATED

    def place(self, span: Span) -> str:
        """Write a place as ``file:line``."""
        source = self.model.sources.get(span.file)
        return f"{span.file}:{source.line_column(span.start)[0]}" if source else span.file

    def setting_index(self, name: str) -> int:
        """Find a setting by name."""
        return [s.decl.name for s in self.network.settings].index(name)

    def setting_text(self, i: int, index: int | None = None) -> str:
        """Write a setting's chosen value, or another of its lattice, with its unit."""
        decl = self.network.settings[i].decl
        at = int(self.answer.point[i]) if index is None else index
        return f"{decl.text(at)} {decl.unit.symbol}".rstrip()

    def unit_of(self, name: str) -> Unit:
        """Give the unit in which a name is shown."""
        return unit_of_name(self.model, name, self.given(name))

    def given(self, name: str) -> GivenValue | None:
        """Give the value of an input of this network."""
        return next((i.given for i in self.network.inputs if i.given.name == name), None)

    def margin(self, requirement: int) -> Margin | None:
        """Find the margin of a requirement; None where it was set aside."""
        return next((m for m in self.answer.margins if m.requirement == requirement), None)

    def stated_text(self, name: str) -> str | None:
        """Write what a name is at the chosen settings and the stated inputs; None for an unknown name."""
        if name in self.derived:
            return with_unit(self.derived[name].stated, self.unit_of(name))
        if name in self.model.settings:
            return self.setting_text(self.setting_index(name))
        given = self.given(name)
        if given is not None and given.amount is not None:
            return with_unit(given.amount.stated, given.amount.unit)
        return None

    def worst_text(self, name: str, margin: Margin) -> str | None:
        """Write what an input or setting is at the corner where a requirement is closest."""
        for i, variable in enumerate(self.network.inputs):
            if variable.given.name == name:
                return with_unit(float(margin.inputs[i]), self.unit_of(name))
        return self.stated_text(name) if name in self.model.settings else None

    def touches(self, setting: int, requirement: Requirement) -> bool:
        """Tell whether a requirement depends on a setting."""
        return bool(self.problem.tape.depends[requirement.slack] >> setting & 1)

    def variable(self, i: int) -> SettingVariable:
        """Give a setting variable."""
        return self.network.settings[i]


def solution(model: Model, problem: Problem, answer: Answer) -> Solution:
    """Gather a solution and the values of all that is told of it."""
    return solutions(model, [(problem, answer)])[0]


def solutions(model: Model, solved: Sequence[tuple[Problem, Answer]]) -> list[Solution]:
    """Gather solutions; those whose networks have the same structure in one pass."""
    found: list[Solution | None] = [None] * len(solved)
    groups: dict[tuple[object, ...], list[int]] = {}
    for at, (problem, _) in enumerate(solved):
        network = problem.network
        key = (id(problem.tape), id(network.derived), id(network.validities), id(network.notices), id(network.grades))
        groups.setdefault(key, []).append(at)
    for members in groups.values():
        batch = Batch([solved[at][0] for at in members])
        points = np.stack([solved[at][1].point for at in members], axis=1)
        nodes, values = _values(batch, points)
        for column, at in enumerate(members):
            network = solved[at][0].network
            told: dict[int, tuple[float, float, float]]
            told = dict(zip(nodes, zip(*values[:, :, column].tolist(), strict=True), strict=True))
            derived = {n: Derived(n, *told[node], model.dimensions[n]) for n, node in network.derived.items()}
            found[at] = Solution(model, *solved[at], derived, told)
    return [f for f in found if f is not None]


def _values(batch: Batch, points: Indices) -> tuple[list[int], Floats]:
    """Give the nodes that are talked about, and for each its stated value and range: (3, nodes, machines)."""
    network = batch.network
    chosen = dict.fromkeys(network.derived.values())
    chosen |= dict.fromkeys(n for v in network.validities for n in (v.left, v.right))
    chosen |= dict.fromkeys(n for notice in network.notices for test in notice.tests for n in test)
    nodes = list(chosen)
    # A grade is read from the whole range of its quantity, so that range is worth more work.
    return nodes, ranges(batch, points, nodes, closely=set(network.grades.values()))


def at_corner(solution: Solution, margin: Margin) -> dict[str, float]:
    """Evaluate all derived quantities at the corner where a requirement is closest, in base units."""
    problem = solution.problem
    settings = problem.settings_at(solution.answer.point[:, None])
    nodes = problem.tape.values(problem.variables(settings, margin.inputs[:, None]))
    return {n: float(np.ravel(nodes[node])[0]) for n, node in problem.network.derived.items()}
