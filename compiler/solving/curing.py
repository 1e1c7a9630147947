"""Changes that cure a conflict: the smallest of each line, found by asking and proved by asking again."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import combinations

from ..meaning.model import Model, WantDecl
from ..network.graph import Network
from ..syntax import tree
from .conflict import TRIAL_EFFORT, Conflict, Lines, all_smallest
from .levers import Draft, Lever, Rung, input_levers, pin_levers, range_lever, want_lever
from .trying import Case, Trial

PARTS = 6
MOST_QUESTIONS = 240
MOST_PAIRS = 10
MOST_RANGES = 4
REFINED = 2
PAIR_SHARES = (0.5, 0.75, 1.0)

_Step = tuple[Lever, int, bool]
"""A lever, its rung, and whether every value tried beyond holds as well."""


@dataclass(frozen=True, slots=True)
class Change:
    """One line and what to write instead. ``onward``: every value tried beyond it, to the last, does as well."""

    lever: Lever
    rung: Rung
    onward: bool


@dataclass(frozen=True, slots=True)
class Cure:
    """Changes with which all holds. ``harms`` are machines that held before and would not with them."""

    changes: tuple[Change, ...]
    harms: tuple[str, ...] = ()

    @property
    def size(self) -> float:
        """How large the changes are together."""
        return sum(c.rung.size for c in self.changes)


def cures(case: Case, networks: Sequence[Network], found: Sequence[Sequence[Conflict]], effort: int) -> list[Cure]:
    """Find cures of conflicts, the smallest first; pairs of changes only where no single one does.

    ``networks`` and ``found`` are those of the machines that are refused. A setting that the search was free to
    choose is no cure. The smallest value is the nearest that holds among those asked about, which is the nearest of
    all where farther ones always do (wants and pins); beyond a limit of questions it is left coarser.
    """
    trial = Trial(case, min(effort, TRIAL_EFFORT))
    levers, everywhere = _levers(case, networks, found)
    alone = [lever for lever, part in levers if part == everywhere]
    return _proved(trial, _singles(trial, alone)) or _proved(trial, _pairs(trial, levers, everywhere))


def better_known(model: Model, network: Network, effort: int) -> list[Cure]:
    """Find what has to be known better, and how well, where something holds at the stated values only.

    One input where that does, else two or more together.
    """
    lines = Lines(network, network.hard, effort, only_ranges=True)
    sets = all_smallest(lines.members, lines.ask, 1)
    if not sets.cuts:
        asked = lines.asked + MOST_QUESTIONS // 4
        sets = all_smallest(lines.members, lines.ask, MOST_RANGES, sets.found[0], lambda: lines.asked < asked)
    fewest = min((len(cut) for cut in sets.cuts), default=0)
    given = [[network.inputs[m.index].given for m in sorted(cut)] for cut in sets.cuts if len(cut) == fewest]
    levers = [range_lever(inputs) for inputs in given[:MOST_RANGES]]
    trial = Trial(Case(model, network.profile, (network.machine,)), min(effort, TRIAL_EFFORT))
    return _proved(trial, _singles(trial, levers))


def _singles(trial: Trial, levers: Sequence[Lever]) -> list[list[_Step]]:
    found = _nearest(levers, lambda asked: trial.hold([_drafted(trial, [step]) for step in asked]))
    return [[(lever, *at)] for lever, at in zip(levers, found, strict=True) if at]


# ---- asking


def _machines(case: Case, *levers: Lever) -> tuple[str, ...]:
    """Give the machines that changed lines are for: one, where a line is its own."""
    own = {lever.machine for lever in levers} - {""}
    return tuple(own) or case.refused


def _drafted(trial: Trial, steps: Sequence[tuple[Lever, int]], exact: bool = False) -> tuple[Draft, Sequence[str]]:
    """Make the draft with the values of levers, or unless ``exact`` with some value up to them, and its machines."""
    draft = trial.start
    for lever, k in steps:
        rung = lever.rungs[k]
        draft = rung.draft(draft) if exact or rung.wide is None else rung.wide(draft)
    return draft, _machines(trial.case, *(lever for lever, _ in steps))


def _proved(trial: Trial, found: Sequence[Sequence[_Step]]) -> list[Cure]:
    """Keep what holds as it would be written, the smallest first; say which other machines it would harm."""
    asked = [_drafted(trial, [(lever, k) for lever, k, _ in steps], exact=True) for steps in found]
    common = [at for at, steps in enumerate(found) if not any(lever.machine for lever, _, _ in steps)]
    others = [(at, machine) for at in common for machine in trial.case.held]
    answers = trial.prove([*asked, *((asked[at][0], (machine,)) for at, machine in others)])
    harmed = [pair for pair, holds in zip(others, answers[len(asked) :], strict=True) if not holds]
    cured = []
    for at, steps in enumerate(found):
        if answers[at]:
            changes = tuple(Change(lever, lever.rungs[k], onward) for lever, k, onward in steps)
            cured.append(Cure(changes, tuple(machine for i, machine in harmed if i == at)))
    return sorted(cured, key=lambda c: (bool(c.harms), c.size))


# ---- what may be changed

_Key = tuple[str, str, str]


@dataclass(slots=True)
class _Gathered:
    """Levers by what they change, and the conflicts that they may cure, counted over all machines.

    A want or a pin can cure only conflicts that it is a line of; an input, any.
    """

    case: Case
    levers: dict[_Key, list[Lever]] = field(default_factory=dict)
    parts: dict[_Key, set[int]] = field(default_factory=dict)

    def add(self, key: _Key, at: Iterable[int], make: Callable[[], list[Lever]]) -> None:
        """Take in a line, once."""
        if key not in self.levers:
            self.levers[key] = make()
        self.parts.setdefault(key, set()).update(at)

    def conflict(self, network: Network, conflict: Conflict, at: int, count: int) -> None:
        """Take in the lines of one conflict and what their remedies name."""
        case = self.case
        for i in conflict.pins:
            decl, pin, place = network.settings[i].decl, network.settings[i].pin, network.settings[i].first
            if pin is not None:
                self.add(("pin", decl.name, ""), [at], partial(pin_levers, pin, decl, place))
        for r in conflict.requirements:
            requirement = network.requirements[r]
            for want in case.profile.wants if requirement.origin == "want" else ():
                if want.text == requirement.name:
                    self.add(("want", want.text, ""), [at], partial(_want_levers, case.model, want))
            for remedy in requirement.remedies:
                self.remedy(network, remedy, count)

    def remedy(self, network: Network, remedy: tree.Remedy, count: int) -> None:
        """Take in the input that a remedy names. A setting is none: it is free, or its pin is a line itself."""
        name = remedy.name.text
        known = [v.given for v in network.inputs if v.given.name == name]
        given = network.consulted.get(name) or next(iter(known), None)
        quantity = self.case.model.quantities.get(name)
        if given is not None and quantity is not None:
            machine = network.machine if quantity.owner == "machine" else ""
            advice = remedy.text.text if remedy.text else ""
            make = partial(input_levers, given, quantity, remedy.direction, machine, advice)
            self.add((remedy.direction, name, machine), range(count), make)


def _levers(
    case: Case, networks: Sequence[Network], found: Sequence[Sequence[Conflict]]
) -> tuple[list[tuple[Lever, frozenset[int]]], frozenset[int]]:
    """List the lines that may be changed, each with the conflicts it may cure, and all conflicts."""
    gathered = _Gathered(case)
    pairs = [(network, conflict) for network, conflicts in zip(networks, found, strict=True) for conflict in conflicts]
    for at, (network, conflict) in enumerate(pairs):
        gathered.conflict(network, conflict, at, len(pairs))
    levers = [(v, frozenset(gathered.parts[key])) for key, several in gathered.levers.items() for v in several]
    return levers, frozenset(range(len(pairs)))


def _want_levers(model: Model, want: WantDecl) -> list[Lever]:
    return [want_lever(model, want)]


# ---- the nearest value

Asked = Callable[[Sequence[tuple[Lever, int]]], list[bool]]


@dataclass(slots=True)
class _Bracket:
    """Between which rungs of a lever the first that holds lies: ``low`` does not, ``high`` does."""

    last: int
    low: int = -1
    high: int | None = None
    tried: dict[int, bool] = field(default_factory=dict)

    def first_places(self, steady: bool) -> list[int]:
        """Name the rungs to try first: the last one where that decides, else some in growing distances."""
        if steady:
            return [self.last]
        return sorted({round((self.last + 1) ** (j / PARTS)) - 1 for j in range(PARTS + 1)})

    def places(self) -> list[int]:
        """Name the rungs to try next, between those known."""
        if self.high is None:
            return []
        width = self.high - self.low
        return sorted({self.low + width * j // (PARTS + 1) for j in range(1, PARTS + 1)} - {self.low})

    def take(self, place: int, holds: bool) -> None:
        """Take in an answer."""
        self.tried[place] = holds

    def settle(self) -> None:
        """Narrow the bracket to the nearest rung that holds."""
        self.high = min((k for k, holds in self.tried.items() if holds), default=None)
        if self.high is not None:
            self.low = max((k for k in self.tried if k < self.high), default=-1)

    @property
    def onward(self) -> bool:
        """Whether the last rung, and all others tried beyond the nearest that holds, hold as well."""
        beyond = [holds for k, holds in self.tried.items() if self.high is not None and k >= self.high]
        return all(beyond) and self.tried.get(self.last, False)


def _nearest(levers: Sequence[Lever], ask: Asked) -> list[tuple[int, bool] | None]:
    """Find for each lever its nearest rung that holds, and whether all tried beyond it do; all asked together."""
    brackets = [_Bracket(len(lever.rungs) - 1) for lever in levers]
    asked = [(i, k) for i, b in enumerate(brackets) for k in b.first_places(levers[i].steady)]
    most = MOST_QUESTIONS
    while asked and most > 0:
        most -= len(asked)
        for (i, k), holds in zip(asked, ask([(levers[i], k) for i, k in asked]), strict=True):
            brackets[i].take(k, holds)
        for b in brackets:
            b.settle()
        asked = [(i, k) for i, b in enumerate(brackets) for k in b.places()]
    return [None if b.high is None else (b.high, b.onward) for b in brackets]


# ---- pairs


def _pairs(
    trial: Trial, levers: Sequence[tuple[Lever, frozenset[int]]], everywhere: frozenset[int]
) -> list[list[_Step]]:
    """Find the smallest pair of changes among a few: both first grow together, then each is made small again."""
    pairs = [
        (one, two)
        for (one, part), (two, other) in combinations(levers, 2)
        if part | other == everywhere
        and (one.name, one.machine) != (two.name, two.machine)
        and ("" in (one.machine, two.machine) or one.machine == two.machine)
    ]
    asked = [((one, _at(one, s)), (two, _at(two, s))) for one, two in pairs[:MOST_PAIRS] for s in PAIR_SHARES]
    best: dict[tuple[int, int], tuple[tuple[Lever, int], tuple[Lever, int]]] = {}
    for pair, holds in zip(asked, trial.hold([_drafted(trial, pair) for pair in asked]), strict=True):
        if holds:
            best.setdefault((id(pair[0][0]), id(pair[1][0])), pair)
    ranked = sorted(best.values(), key=lambda pair: sum(lever.rungs[k].size for lever, k in pair))
    found: list[list[_Step]] = []
    for one, two in ranked[:REFINED]:
        # Each in turn is moved back as far as the other allows.
        two = two[0], _shorter(trial, two, one)
        one = one[0], _shorter(trial, one, two)
        found.append([(*one, False), (*two, False)])
    return found


def _at(lever: Lever, share: float) -> int:
    return round(math.pow(len(lever.rungs), share)) - 1


def _shorter(trial: Trial, moved: tuple[Lever, int], kept: tuple[Lever, int]) -> int:
    """Move one of two changes back as far as the other allows."""
    lever, k = moved
    shorter = replace(lever, rungs=lever.rungs[: k + 1])
    (found,) = _nearest([shorter], lambda asked: trial.hold([_drafted(trial, [step, kept]) for step in asked]))
    return found[0] if found else k
