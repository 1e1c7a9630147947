"""What knowing an input better is worth: the network solved again with one input known exactly, or twice as well."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from ..network.graph import InputVariable, Network
from .answering import Answer, Refusal, solve_all

ENDS = ("low", "stated", "high")
"""Where an input may turn out to lie when it is known exactly."""


@dataclass(frozen=True, slots=True)
class Worth:
    """Outcomes for one uncertain input: known exactly at its low, stated and high value, and its range halved."""

    input: int
    exact: tuple[Answer | Refusal, Answer | Refusal, Answer | Refusal]
    half: Answer | Refusal


def exactly(variable: InputVariable, end: str) -> InputVariable:
    """Know an input exactly, at one of ``ENDS``."""
    value = float(getattr(variable, end))
    return replace(variable, stated=value, low=value, high=value)


def halved(variable: InputVariable) -> InputVariable:
    """Halve the range of an input on both sides of its stated value."""
    stated = variable.stated
    return replace(variable, low=stated - (stated - variable.low) / 2, high=stated + (variable.high - stated) / 2)


def worths(networks: Sequence[Network], effort: int, names: Collection[str] | None = None) -> list[list[Worth]]:
    """Solve each network again for every uncertain input, all of them together; nothing is judged by slopes.

    ``names`` are the only inputs to look at, where it is given.
    """
    asked: list[Network] = []
    places: list[list[tuple[int, list[int]]]] = []
    for network in networks:
        found = []
        for i, variable in enumerate(network.inputs):
            if variable.low < variable.high and (names is None or variable.given.name in names):
                variants = [*(exactly(variable, end) for end in ENDS), halved(variable)]
                found.append((i, [_place(asked, network, i, v) for v in variants]))
        places.append(found)
    outcomes = [outcome for _, outcome in solve_all(asked, effort)]
    return [
        [
            Worth(i, (outcomes[low], outcomes[stated], outcomes[high]), outcomes[half])
            for i, (low, stated, high, half) in found
        ]
        for found in places
    ]


def _place(asked: list[Network], network: Network, i: int, variable: InputVariable) -> int:
    """Put a variant in the line of what is solved, once where its neighbour in line is the same; give its place."""
    variant = replace(network, inputs=(*network.inputs[:i], variable, *network.inputs[i + 1 :]))
    for at in range(max(0, len(asked) - len(ENDS)), len(asked)):
        if asked[at].nodes is network.nodes and asked[at].inputs == variant.inputs:
            return at
    asked.append(variant)
    return len(asked) - 1
