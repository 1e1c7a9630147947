"""Bands: the values of one setting that hold with the others kept, and what ends them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .problem import UNKNOWN, Constraints, Indices, Problem
from .proving import prove_all
from .slopes import ends, signs_of
from .tape import Floats

LATTICE_END = -1
MERIT_END = -2

PLACES = 40

MOST_ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Band:
    """Lattice indices from ``first`` to ``last`` hold; ``below`` and ``above`` say what ends the band there.

    An end is the index of a requirement, ``LATTICE_END`` (the lattice, or a pin) or ``MERIT_END`` (a preference).
    """

    first: int
    last: int
    below: int
    above: int


def band(problem: Problem, constraints: Constraints, point: Indices, i: int) -> Band:
    """Find the unbroken band of setting ``i`` around a point at which all constraints hold.

    A long lattice is looked at in ``PLACES`` places each way, then closer where the band was seen to end.
    """
    first, last, at = int(problem.first[i]), int(problem.last[i]), int(point[i])
    touched = [c for c in range(len(constraints)) if problem.tape.depends[constraints.output[c]] >> i & 1]
    if first == last or not touched:
        return Band(first, last, LATTICE_END, LATTICE_END)
    part = constraints.take(touched)
    # For each way: the last value known to hold, the nearest known to fail (or one beyond the lattice), and why.
    ends = {-1: (at, first - 1, LATTICE_END), 1: (at, last + 1, LATTICE_END)}
    while asked := {way: places for way, (good, bad, _) in ends.items() if (places := _places(good, bad))}:
        columns = [k for places in asked.values() for k in places]
        moved = np.repeat(point[:, None], len(columns), axis=1)
        moved[i] = columns
        slack = problem.table(part, moved)
        start = 0
        for way, places in asked.items():
            ends[way] = _narrowed(ends[way], places, slack[:, start : start + len(places)], part, problem.tape.depends)
            start += len(places)
    return Band(ends[-1][0], ends[1][0], ends[-1][2], ends[1][2])


def _places(good: int, bad: int) -> list[int]:
    """Give values between two, in order from the good one: all where they are few."""
    between = abs(bad - good) - 1
    way = 1 if bad > good else -1
    if between <= PLACES:
        return [good + way * k for k in range(1, between + 1)]
    return [good + way * (1 + (between - 1) * k // (PLACES - 1)) for k in range(PLACES)]


def _narrowed(
    known: tuple[int, int, int], places: list[int], slack: Floats, part: Constraints, depends: Sequence[int]
) -> tuple[int, int, int]:
    """Take what was seen at some places into what is known of one end of a band."""
    good, bad, reason = known
    failing = np.flatnonzero(~np.all(slack >= 0, axis=0))
    if not failing.size:
        return (places[-1], bad, reason)
    column = int(failing[0])
    broken = [int(c) for c in np.flatnonzero(~(slack[:, column] >= 0))]
    # Where several end a band at once, the one that hangs on the fewest quantities says it most directly.
    direct = min(broken, key=lambda c: (depends[part.output[c]].bit_count(), part.output[c]))
    requirement = part.requirement[direct]
    reason = requirement if requirement >= 0 else MERIT_END
    return (places[column - 1] if column else good, places[column], reason)


def proved_bands(problem: Problem, constraints: Constraints, point: Indices) -> tuple[Band, ...]:
    """Find the bands of all settings and prove them over the whole input ranges.

    The input values that break a value of a band become constraints of that band; a value that can be neither proved
    nor broken is left out as well.
    """
    settings = range(problem.tape.setting_count)
    found = [band(problem, constraints, point, i) for i in settings]
    open_ = {i: constraints for i in settings if (found[i].first, found[i].last) != (point[i], point[i])}
    for _ in range(MOST_ROUNDS):
        failing = _failing(problem, constraints, point, {i: found[i] for i in open_})
        open_ = {i: open_[i] for i in failing}
        for i, failures in failing.items():
            for f in failures:
                open_[i] = open_[i].plus(problem.at([f.requirement], f.inputs[:, None]))
            found[i] = _inside(found[i], band(problem, open_[i], point, i), failures, int(point[i]))
        if not open_:
            return tuple(found)
    for i in open_:
        found[i] = Band(int(point[i]), int(point[i]), found[i].below, found[i].above)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Failure:
    """A requirement that was not proved at a value of a band, and the worst input values found."""

    index: int
    requirement: int
    inputs: Floats


def _inside(before: Band, found: Band, failures: Sequence[_Failure], at: int) -> Band:
    """Cut a band to another found for it, and to the values between those that failed."""
    cuts = [(before.first, before.below), (found.first, found.below)]
    cuts += [(f.index + 1, f.requirement) for f in failures if f.index < at]
    first, below = max(cuts, key=lambda cut: cut[0])
    cuts = [(before.last, before.above), (found.last, found.above)]
    cuts += [(f.index - 1, f.requirement) for f in failures if f.index > at]
    last, above = min(cuts, key=lambda cut: cut[0])
    return Band(first, last, below, above)


def _failing(
    problem: Problem, constraints: Constraints, point: Indices, bands: dict[int, Band]
) -> dict[int, list[_Failure]]:
    """Prove bands in one batch; list what fails by setting.

    The two ends will do where the requirement has a proved direction along the band.
    """
    asked: list[tuple[int, int, int]] = []
    wavering = _wavering(problem, point, bands)
    for i, found in bands.items():
        for r in _touching(problem, constraints, i):
            whole = range(found.first, found.last + 1)
            asked += [(i, k, r) for k in (whole if (i, r) in wavering else {whole[0], whole[-1]}) if k != point[i]]
    questions = []
    for i, index, r in asked:
        moved = point.copy()
        moved[i] = index
        questions.append((moved, r))
    failing: dict[int, list[_Failure]] = {}
    for (i, index, r), verdict in zip(asked, prove_all(problem, questions), strict=True):
        if not verdict.holds:
            failing.setdefault(i, []).append(_Failure(index, r, verdict.inputs))
    return failing


def _wavering(problem: Problem, point: Indices, bands: dict[int, Band]) -> set[tuple[int, int]]:
    """List settings and requirements where the direction along the band is not proved for all input values."""
    chosen = list(bands)
    first, last = (np.repeat(point[:, None], len(chosen), axis=1) for _ in range(2))
    rows = np.arange(len(chosen))
    first[chosen, rows] = [bands[i].first for i in chosen]
    last[chosen, rows] = [bands[i].last for i in chosen]
    outputs = [r.slack for r in problem.network.requirements]
    enclosures = problem.tape.enclosures(
        problem.variables(problem.settings_at(first), problem.low[:, None]),
        problem.variables(problem.settings_at(last), problem.high[:, None]),
        outputs=outputs,
    )
    slopes = problem.tape.slopes(enclosures, chosen, outputs=outputs) if chosen else []
    found = set()
    for row, i in enumerate(chosen):
        defined = problem.defined(enclosures, np.array(outputs), np.full(len(outputs), row))
        for r, output in enumerate(outputs):
            low, high = ends(slopes[output], row, len(chosen))
            if not defined[r] or signs_of(low[row : row + 1], high[row : row + 1])[0] == UNKNOWN:
                found.add((i, r))
    return found


def _touching(problem: Problem, constraints: Constraints, i: int) -> Sequence[int]:
    pairs = zip(constraints.requirement, constraints.output, strict=True)
    return sorted({r for r, output in pairs if r >= 0 and problem.tape.depends[output] >> i & 1})
