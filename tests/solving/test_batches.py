"""Machines solved together: each answer is as if its machine were solved alone, whatever else is in the batch."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from meltwright.solving.answering import Answer, Refusal, hold_all, solve, solve_all

from tests.solving.networks import Small, network_of, smalls


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    yield tmp_path_factory.mktemp("batches")


def varied(network: Network, factors: list[tuple[float, float]]) -> list[Network]:
    """Make machines of one structure: every input moved by a share of its size, and its range stretched."""
    found = []
    for shift, width in factors:
        inputs = []
        for variable in network.inputs:
            stated = variable.stated + shift * abs(variable.stated)
            half = width * (variable.high - variable.low) / 2
            inputs.append(replace(variable, stated=stated, low=stated - half, high=stated + half))
        found.append(replace(network, inputs=tuple(inputs)))
    return found


def told(outcome: Answer | Refusal) -> object:
    if isinstance(outcome, Refusal):
        return outcome.conflict, outcome.pins, outcome.boxes
    margins = [(m.requirement, m.left, m.right, m.inputs.tobytes()) for m in outcome.margins]
    rest = outcome.bands, outcome.merits, outcome.limits, outcome.dropped, outcome.robust, outcome.boxes
    return outcome.point.tolist(), margins, rest, outcome.certified


FACTORS = st.lists(
    st.tuples(st.sampled_from([-0.2, -0.05, 0.0, 0.1, 0.3]), st.sampled_from([0.0, 0.5, 1.0, 1.5])),
    min_size=2,
    max_size=5,
)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(small=smalls(), factors=FACTORS)
def test_alone_and_together(small: Small, factors: list[tuple[float, float]], folder: Path) -> None:
    networks = varied(network_of(folder / "small.melt", small.text), factors)
    together = [told(outcome) for _, outcome in solve_all(networks)]
    assert together == [told(solve(n)[1]) for n in networks]
    assert hold_all(networks) == [hold_all([n])[0] for n in networks]


def test_machines_of_the_demonstration() -> None:
    """Also in parts of other sizes, and whatever stands before or after."""
    model, faults, _ = check_file(library_folder() / "demos" / "watch_strap.melt")
    assert model is not None, faults
    network = lower(model, model.profiles["watch_strap"], "corner_tube", [])
    assert network is not None
    rng = np.random.default_rng(7)
    networks = []
    for _ in range(4):
        inputs = []
        for variable in network.inputs:
            factor = rng.uniform(0.9, 1.1) if variable.given.name in ("gap", "bend", "guide_length") else 1.0
            inputs.append(
                replace(
                    variable, stated=variable.stated * factor, low=variable.low * factor, high=variable.high * factor
                )
            )
        networks.append(replace(network, inputs=tuple(inputs)))
    alone = [told(solve(n)[1]) for n in networks]
    assert [told(outcome) for _, outcome in solve_all(networks)] == alone
    assert [told(outcome) for _, outcome in solve_all(networks[::-1])] == alone[::-1]
