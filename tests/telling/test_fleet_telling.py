"""Machines told together: each bundle and each file is the one that its machine gets when it is told alone."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.meaning.model import Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower_all
from meltwright.output import json_text
from meltwright.output.producing import produce
from meltwright.solving.answering import Answer, margins, solve_all
from meltwright.solving.problem import Problem
from meltwright.solving.tape import tape_of
from meltwright.telling import common
from meltwright.telling.bundle import Teller, bundle, bundles
from meltwright.telling.formulas import Formula, with_numbers
from meltwright.telling.solution import Solution, solution, solutions

from tests.bench.fleets import write

MACHINES = 5


@cache
def fleet() -> tuple[Model, list[tuple[Problem, Answer]]]:
    """Solve machines with other numbers, whose networks are one but for their names and inputs."""
    with TemporaryDirectory() as folder:
        path = write(Path(folder), MACHINES)
        model, faults, _ = check_file(path)
    assert model is not None, faults
    asked = [(p, m.text) for p in model.profiles.values() if p.span.file == path.name for m in p.machines]
    lowered = [n for n in lower_all(model, asked, []) if n is not None]
    networks = [_like(lowered[0], n) for n in lowered]
    answers = [answer for _, answer in solve_all(networks) if isinstance(answer, Answer)]
    assert len(answers) == MACHINES
    tape = tape_of(networks)
    return model, [(Problem(n, tape), a) for n, a in zip(networks, answers, strict=True)]


def _like(first: Network, other: Network) -> Network:
    assert [(i.given.name, i.node) for i in other.inputs] == [(i.given.name, i.node) for i in first.inputs]
    return replace(first, machine=other.machine, inputs=other.inputs, consulted=other.consulted)


def alone(model: Model, pairs: Sequence[tuple[Problem, Answer]]) -> list[Solution]:
    return [solution(model, Problem(p.network), a) for p, a in pairs]


@st.composite
def some(draw: st.DrawFn) -> list[tuple[Problem, Answer]]:
    """Draw three to five machines in any order, some at other settings than the chosen ones or at stated values."""
    _, solved = fleet()
    members = draw(st.lists(st.integers(0, MACHINES - 1), min_size=3, max_size=MACHINES, unique=True))
    return [_moved(*solved[k], draw(st.integers(-2, 2)), draw(st.booleans())) for k in members]


def _moved(problem: Problem, answer: Answer, steps: int, robust: bool) -> tuple[Problem, Answer]:
    point = np.clip(answer.point + steps, problem.first, problem.last)
    counts = [m.requirement for m in answer.margins]
    at = tuple(margins(problem, point, counts))
    return problem, replace(answer, point=point, margins=at, robust=robust)


@given(some())
@settings(max_examples=6)
def test_bundles_told_together_equal_bundles_told_alone(pairs: list[tuple[Problem, Answer]]) -> None:
    model, _ = fleet()
    assert bundles(solutions(model, pairs)) == [bundle(s) for s in alone(model, pairs)]


@pytest.mark.parametrize("most", [1, 3, 500])
def test_parts_told_by_one_teller_equal_the_whole(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # Full stores are begun anew; that must not show.
    for module, name in ((common, "MOST_KEPT"), (common, "MOST_INPUTS"), (json_text, "MOST_KEPT")):
        monkeypatch.setattr(module, name, most)
    model, solved = fleet()
    told, teller, writer = solutions(model, solved), Teller(), json_text.JsonWriter()
    parts = [b for first in range(0, MACHINES, 2) for b in teller.bundles(told[first : first + 2])]
    assert parts == bundles(told)
    assert [writer.text(b) for b in parts] == [json_text.JsonWriter().text(b) for b in bundles(told)]


def test_files_of_a_fleet_equal_those_of_single_machines() -> None:
    model, solved = fleet()
    together = produce(solutions(model, solved), faults := [])
    for one in alone(model, solved):
        texts = produce([one], faults)
        for path in [p for p in texts if "/overview." not in p]:
            assert together[path] == texts[path], path
    assert faults == []


def test_machines_of_a_fleet_differ_in_their_numbers() -> None:
    model, solved = fleet()
    told = bundles(solutions(model, solved))
    assert len({str(t["derived"]) for t in told}) == MACHINES
    assert told[0]["laws"] is told[1]["laws"]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_formula_is_filled_as_it_is_printed(sign: int) -> None:
    model, _ = fleet()
    units = ["", " mm", " degC"]
    for let in [let for lets in model.lets.values() for let in lets]:
        formula = Formula(let.expression)
        assert formula.text == with_numbers(let.expression, lambda _: None)
        for turn in range(4):
            texts = {
                n: None if (i + turn) % 4 == 3 else f"{sign * (-1) ** i * (i + 1.5)}{units[(i + turn) % 3]}"
                for i, n in enumerate(formula.names)
            }
            assert formula.filled(texts.get) == with_numbers(let.expression, texts.get)
