"""What cannot hold together: the smallest sets of requirements, pins and input ranges, and the values at their edge.

A set of members holds where some settings meet its requirements, with its pins fixed and all other settings free, for
all values in the ranges of its inputs and the stated values of all others. Whatever is added can only do harm.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from ..network.graph import Network
from .answering import Margin, Refusal, hold_all, margins, nearest
from .problem import Problem

TRIAL_EFFORT = 120
"""Boxes for each question whether a smaller set holds: the answer is known already, only its words get shorter."""

GIVEN_EFFORT = 30
"""Boxes for the question whether a set hangs on a given setting: freeing one makes the search much harder."""

MOST_CONFLICTS = 4
MOST_QUESTIONS = 60
"""Sets asked about before no further conflict is looked for; the one at hand is still made small."""

MOST_CUTS = 40
PARTS = 8
FEW = 8


@dataclass(frozen=True, slots=True, order=True)
class Member:
    """One line that may take part in a conflict: ``kind`` is ``requirement``, ``pin`` or ``input`` (its range)."""

    kind: str
    index: int


Ask = Callable[[Sequence[frozenset[Member]]], list[bool | None]]
"""Tells of each set whether it holds; None where that was not decided."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """A set that cannot hold, by index into the network's requirements, settings and inputs.

    ``margins`` are its requirements where it comes closest, at the settings of ``point`` (lattice indices): all held
    but one, which is missed by least.
    """

    requirements: tuple[int, ...]
    pins: tuple[int, ...]
    inputs: tuple[int, ...]
    margins: tuple[Margin, ...]
    point: tuple[int, ...] = ()

    @property
    def members(self) -> frozenset[Member]:
        """All that takes part."""
        kinds = ("requirement", self.requirements), ("pin", self.pins), ("input", self.inputs)
        return frozenset(Member(kind, i) for kind, indices in kinds for i in indices)


@dataclass(frozen=True, slots=True)
class Sets:
    """Smallest sets that cannot hold, and smallest sets (``cuts``) without which all the rest holds.

    ``complete`` tells whether these are all of them, and proved.
    """

    found: tuple[frozenset[Member], ...]
    cuts: tuple[frozenset[Member], ...]
    complete: bool


def refusal(problem: Problem, active: list[int], effort: int) -> Refusal:
    """Name what cannot hold together at the stated values, as few lines as can be found.

    What cannot be decided within the effort is kept: then the set cannot hold, but a smaller one may not either.
    """
    lines = Lines(problem.network, active, effort)
    stated = [m for m in lines.members if m.kind != "input"]
    kept = smallest(stated, lines.ask) if lines.ask([frozenset(stated)])[0] is False else stated
    conflict = _with_margins(lines, lines.with_given(frozenset(kept)))
    return Refusal(conflict.requirements, conflict.pins, conflict.margins, problem.boxes, conflict.point)


def conflicts(network: Network, refused: Refusal, effort: int) -> tuple[tuple[Conflict, ...], Sets]:
    """Find further smallest sets beside the one of a refusal; gives them all, with their margins.

    A setting that the profile must give stays as it is given while they are looked for; it is named where a set hangs
    on it.
    """
    first = Conflict(refused.conflict, refused.pins, (), refused.margins, refused.point)
    lines = Lines(network, network.hard, effort)
    known = first.members - frozenset(lines.given)
    sets = all_smallest(lines.members, lines.ask, MOST_CONFLICTS, known, lambda: lines.asked < MOST_QUESTIONS)
    return (first, *(_with_margins(lines, lines.with_given(s)) for s in sets.found[1:])), sets


def shared(network: Network, sets: Sequence[frozenset[Member]], whole: Sets, effort: int) -> list[Conflict] | None:
    """Tell whether a network has conflicts that another has, given by its own members; gives them, with their margins.

    Also that each is as small as it gets here, and that the other's cuts are cuts here; None where one of these fails.
    """
    lines = Lines(network, network.hard, effort)
    given = frozenset(lines.given)
    smaller = [s - {m} for s in sets for m in sorted(s - given)]
    cut = [frozenset(lines.members) - c for c in whole.cuts]
    answers = lines.ask([*sets, *smaller, *cut])
    conflicting, rest = answers[: len(sets)], answers[len(sets) : len(sets) + len(smaller)]
    if any(a is not False for a in conflicting) or any(a is False for a in rest):
        return None
    if not all(answers[len(sets) + len(smaller) :]):
        return None
    return [_with_margins(lines, s) for s in sets]


class Lines:
    """The members of a network, those to be left out rather than others first, and whether sets of them hold.

    Ranges are left out first, then wants, then laws, then pins: that the stated values are in conflict is graver news
    than that their ranges are, and the limits of machine and material are graver than what is asked for. Settings that
    the profile must give are no members, they stay fixed. With ``only_ranges`` nothing but ranges may be left out.
    """

    def __init__(self, network: Network, active: Iterable[int], effort: int, only_ranges: bool = False) -> None:
        self.network = network
        self.effort = min(effort, TRIAL_EFFORT)
        depends = Problem(network).tape.depends
        active, count, reached = list(active), len(network.settings), 0
        for r in active:
            reached |= depends[network.requirements[r].slack]
        wide = [i for i, v in enumerate(network.inputs) if v.low < v.high and reached >> (count + i) & 1]
        fixed = [i for i, s in enumerate(network.settings) if s.pin is not None and reached >> i & 1]
        fixed.sort(key=lambda i: network.settings[i].decl.name)

        def rank(r: int) -> tuple[bool, str, str]:
            requirement = network.requirements[r]
            return requirement.origin != "want", requirement.name, requirement.otherwise

        ranges = [Member("input", i) for i in sorted(wide, key=lambda i: network.inputs[i].given.name)]
        lines = [Member("requirement", r) for r in sorted(active, key=rank)]
        lines += [Member("pin", i) for i in fixed if not network.settings[i].decl.given]
        self.given = [Member("pin", i) for i in fixed if network.settings[i].decl.given]
        self.members = ranges if only_ranges else ranges + lines
        self._base = frozenset(self.given) | frozenset(lines if only_ranges else ())
        self.asked = 0
        self._networks: dict[frozenset[Member], Network] = {}
        self._known: dict[frozenset[Member], bool | None] = {}

    def with_given(self, members: frozenset[Member]) -> frozenset[Member]:
        """Add to a set that cannot hold the given settings that it hangs on."""
        base, effort = self._base, self.effort
        self._base, self.effort = frozenset(), min(effort, GIVEN_EFFORT)
        needed = smallest(self.given, lambda sets: self.ask([members | s for s in sets]))
        self._base, self.effort = base, effort
        return members | frozenset(needed)

    def ask(self, sets: Sequence[frozenset[Member]]) -> list[bool | None]:
        """Tell of each set whether it holds; what follows from earlier answers is not asked again."""
        whole = [s | self._base for s in sets]
        open_ = [s for s in dict.fromkeys(whole) if s not in self._known and not self._follows(s)]
        self.asked += len(open_)
        active = [sorted(m.index for m in s if m.kind == "requirement") for s in open_]
        answers = hold_all([self.variant(s) for s in open_], self.effort, active)
        self._known.update(zip(open_, answers, strict=True))
        return [self._known[s] for s in whole]

    def _follows(self, wanted: frozenset[Member]) -> bool:
        """Take down what earlier answers say of a set: a part of what holds does, what contains a conflict does not."""
        for known, answer in self._known.items():
            if (answer is True and wanted <= known) or (answer is False and known <= wanted):
                self._known[wanted] = answer
                return True
        return False

    def variant(self, members: frozenset[Member]) -> Network:
        """Make the network in which only these pins fix and only these inputs range."""
        kept = frozenset(m for m in members if m.kind != "requirement")
        if kept not in self._networks:
            network = self.network
            settings = tuple(
                s if s.pin is None or Member("pin", i) in kept else replace(s, first=0, last=s.decl.last)
                for i, s in enumerate(network.settings)
            )
            inputs = tuple(
                v if Member("input", i) in kept else replace(v, low=v.stated, high=v.stated)
                for i, v in enumerate(network.inputs)
            )
            self._networks[kept] = replace(network, settings=settings, inputs=inputs)
        return self._networks[kept]


# ---- sets, whatever they are sets of


def smallest(members: Sequence[Member], holds: Ask) -> list[Member]:
    """Make a set that does not hold as small as it gets; earlier members are left out rather than later ones.

    What was kept because nothing was decided while others were there is tried again once they are gone.
    """
    kept = list(members)
    while True:
        fewer = _smaller(kept, holds)
        if len(fewer) == len(kept):
            return kept
        kept = fewer


def _smaller(members: Sequence[Member], holds: Ask) -> list[Member]:
    """Leave out members that are not needed, one after the other.

    Asks in rounds of a few sets. First: how many members from the front can be left out, for the next one is then
    needed; where few are left in doubt, leaving out each of them.
    """
    doubtful, needed, each = list(members), list[Member](), False
    while doubtful:
        each = not each and len(doubtful) <= FEW
        if each:
            without = [frozenset(needed) | frozenset(doubtful) - {m} for m in doubtful]
            answers = dict(zip(doubtful, holds(without), strict=True))
            needed += [m for m in doubtful if answers[m] is not False]
            doubtful = [m for m in doubtful if answers[m] is False]
            continue
        # Without the first `low` members it does not hold; without the first `high` it may.
        low, high = 0, len(doubtful) + 1
        while high - low > 1:
            places = sorted({low + (high - low) * k // (PARTS + 1) for k in range(1, PARTS + 1)} - {low})
            answers_at = holds([frozenset(needed) | frozenset(doubtful[k:]) for k in places])
            failing = [k for k, answer in zip(places, answers_at, strict=True) if answer is False]
            low = max([low, *failing])
            high = min([high, *(k for k in places if k > low)])
        needed += doubtful[low : low + 1]
        doubtful = doubtful[low + 1 :]
    return [m for m in members if m in needed]


def all_smallest(
    members: Sequence[Member],
    holds: Ask,
    limit: int,
    first: frozenset[Member] | None = None,
    more: Callable[[], bool] = lambda: True,
) -> Sets:
    """Find up to ``limit`` smallest sets that do not hold. ``first`` is one that is known; ``more`` tells to go on.

    What hits all the sets found is left out of the whole: where the rest holds, it is a cut; where it does not, there
    is another set in the rest. When every such hit is a cut, no set is missing (the duality of Reiter 1987, Artificial
    Intelligence 32, and of Bailey and Stuckey 2005, PADL; both from memory).
    """
    found = [frozenset(smallest(members, holds)) if first is None else first]
    cuts: dict[frozenset[Member], bool] = {}
    rank = {m: at for at, m in enumerate(members)}
    while True:
        hits = sorted(hitting(found), key=lambda h: (len(h), sorted(rank[m] for m in h)))
        open_ = [h for h in hits if h not in cuts][:MOST_CUTS]
        if not open_:
            break
        answers = holds([frozenset(members) - h for h in open_])
        cuts.update((h, a is True) for h, a in zip(open_, answers, strict=True) if a is not False)
        failing = [h for h, a in zip(open_, answers, strict=True) if a is False]
        if failing and (len(found) == limit or not more()):
            break
        if failing:
            found.append(frozenset(smallest([m for m in members if m not in failing[0]], holds)))
    proved = tuple(h for h in hits if cuts.get(h))
    return Sets(tuple(found), proved, len(proved) == len(hits))


def hitting(sets: Sequence[frozenset[Member]]) -> list[frozenset[Member]]:
    """List the smallest sets that have a member in common with each of a few sets, taking in one after the other."""
    hits = {frozenset[Member]()}
    for one in sets:
        grown = {h if h & one else h | {m} for h in hits for m in one}
        hits = {h for h in grown if not any(other < h for other in grown)}
    return list(hits)


# ---- where a conflict comes closest


def _with_margins(lines: Lines, members: frozenset[Member]) -> Conflict:
    """Find the settings that hold all requirements but the last want, or law, and miss that one by least."""
    problem = Problem(lines.variant(members))
    requirements, pins, inputs = (
        sorted(m.index for m in members if m.kind == kind) for kind in ("requirement", "pin", "input")
    )
    wants = [r for r in requirements if problem.network.requirements[r].origin == "want"]
    told, at = tuple[Margin, ...](), tuple[int, ...]()
    if requirements:
        missed = (wants or requirements)[-1]
        point = nearest(problem, missed, [r for r in requirements if r != missed], lines.effort)
        told, at = margins(problem, point, requirements), tuple(int(k) for k in point)
    return Conflict(tuple(requirements), tuple(pins), tuple(inputs), told, at)
