"""Ranges over the inputs enclose what sampled inputs give, and are close to it where they are looked at closely."""

import numpy as np
import pytest
from meltwright.solving.batch import Batch
from meltwright.solving.ranging import ranges
from meltwright.telling.bundle import bundle

from tests.telling.test_fleet_telling import MACHINES, alone, fleet

SAMPLES = 2000


@pytest.mark.parametrize("machine", range(MACHINES))
def test_ranges_enclose_samples(machine: int) -> None:
    _, solved = fleet()
    problem, answer = solved[machine]
    batch = Batch([problem])
    nodes = sorted({*problem.network.derived.values()})
    graded = sorted({*problem.network.grades.values()})
    found = ranges(batch, answer.point[:, None], nodes, closely=graded)[:, :, 0]
    draw = np.random.default_rng(machine)
    # Corners and inner points, so that the ends of the ranges are met.
    share = draw.random((len(problem.low), SAMPLES))
    share[:, ::2] = np.round(share[:, ::2])
    inputs = problem.low[:, None] + share * (problem.high - problem.low)[:, None]
    settings = np.repeat(problem.settings_at(answer.point[:, None]), SAMPLES, axis=1)
    values = problem.tape.values([*settings, *inputs], outputs=nodes)
    for at, node in enumerate(nodes):
        low, high = float(np.min(values[node])), float(np.max(values[node]))
        room = 1e-9 * max(abs(low), abs(high))
        assert found[1, at] <= low + room and high - room <= found[2, at], node


def test_a_close_look_finds_the_worst_that_the_proof_found() -> None:
    model, solved = fleet()
    closer = 0
    for solution in alone(model, solved):
        told = bundle(solution)
        for name, grade in told["grades"].items():
            derived = told["derived"][grade["quantity"]]
            closer += 1
            ends = [text.split(" ")[0] for text in derived["range_text"].split(" .. ")]
            assert grade["worst"].split(" ")[0] in ends, name
    assert closer


def test_a_range_does_not_hang_on_the_others_that_are_told_with_it() -> None:
    _, solved = fleet()
    problems, answers = zip(*solved, strict=True)
    nodes = sorted({*problems[0].network.derived.values()})
    closely = set(problems[0].network.grades.values())
    together = ranges(Batch(problems), np.stack([a.point for a in answers], axis=1), nodes, closely)
    for k, (problem, answer) in enumerate(solved):
        one = ranges(Batch([problem]), answer.point[:, None], nodes, closely)
        assert np.array_equal(together[:, :, k], one[:, :, 0])
