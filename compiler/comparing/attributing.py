"""Which edits bear on a machine, and how much of each change every one of them caused.

An edit that changes nothing that is asked on a machine, neither made alone nor taken back alone, does not bear on it.
Those that do are made in all combinations, up to ``MOST_EXACT`` of them; above that in fixed orders. Edits that only
make sense together count as one, and so do those of one declaration, or of one file, where there are very many.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from ..meaning.loading import LIBRARY
from ..text.source import NOWHERE
from .coalitions import Asked, Coalitions, Made, Outcome
from .edits import Edit
from .facts import KINDS, Fact, Facts, Key, answered
from .shares import masks, orders, sampled, shares

MOST_EXACT = 8
"""Edits that are made in all combinations."""

MOST_SAMPLED = 24
"""Edits that are shared out one by one, in fixed orders."""

MOST_STRUCTURES = 64
FEWEST_LAWS = 4
"""Edits of laws and other declarations are told apart as long as their combinations, on all machines that anything
changes on, are no more than this: each is a network of its own. So many of them are always told apart."""

MOST_PLAYERS = 48
"""Edits of which each is tried alone."""

MOST_NETWORKS = 6_000
"""Networks that are looked at to share changes out; machines beyond that are told which edits bear on them."""

Pair = tuple[str, str]
"""A profile and a machine."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Edits and their share of a change, in its unit, as a percentage, and what they do alone (None: nothing known)."""

    edits: tuple[int, ...]
    share: float | None
    percent: float | None
    alone: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """How the changes on a machine are shared out: the players, what is made beside them, and by what method.

    ``method`` is ``exact``, ``sampled`` or ``named``: then the edits are named and nothing is shared out.
    """

    pair: Pair
    players: tuple[Made, ...]
    rest: Made
    method: str

    @property
    def sets(self) -> list[int]:
        """The sets of players whose outcomes are needed, as bit masks."""
        count = len(self.players)
        if self.method == "exact":
            return list(range(1 << count))
        if self.method == "sampled":
            return sorted({mask for order in orders(count) for mask in masks(order)})
        return [0, (1 << count) - 1]

    def asked(self, mask: int) -> Asked:
        """Give the text in which the players of a set are made."""
        made = frozenset[int]().union(self.rest, *(p for i, p in enumerate(self.players) if mask >> i & 1))
        return made, *self.pair


@dataclass(slots=True)
class Attribution:
    """The causes of changes between two texts, for the profiles and machines that both have."""

    coalitions: Coalitions
    pairs: Sequence[Pair]
    plans: dict[Pair, Plan] = field(default_factory=dict)

    @property
    def everything(self) -> Made:
        """All edits."""
        return frozenset(range(len(self.coalitions.change.edits)))

    def prepare(self) -> None:
        """Find the machines on which anything else is asked, plan how to share it out, and solve what that takes."""
        none, whole = frozenset[int](), self.everything
        if not whole:
            return
        self.coalitions.lower((made, *p) for p in self.pairs for made in (none, whole))
        asks = self.coalitions.asks
        affected = [p for p in self.pairs if asks((none, *p)) != asks((whole, *p))]
        if affected:
            self._plan(affected)
        # All at once: what is alike is lowered and solved together.
        self.coalitions.solve(plan.asked(mask) for plan in self.plans.values() for mask in plan.sets)

    def ends(self, pair: Pair) -> tuple[Outcome | None, Outcome | None]:
        """Give what came of the old and the new text on an affected machine."""
        plan = self.plans[pair]
        outcomes = [self.coalitions.outcome(plan.asked(mask)) for mask in (0, (1 << len(plan.players)) - 1)]
        return outcomes[0], outcomes[1]

    def certified(self, pair: Pair) -> bool:
        """Tell whether every text that was solved for a machine has an answer that is certified to be the best."""
        plan = self.plans[pair]
        found = [self.coalitions.outcome(plan.asked(mask)) for mask in plan.sets]
        return all(outcome.certified for outcome in found if outcome is not None)

    # ---- planning

    def _plan(self, affected: Sequence[Pair]) -> None:
        edits = self.coalitions.change.edits
        players = coarsened([frozenset([i]) for i in sorted(self.everything)], edits, MOST_PLAYERS, MOST_PLAYERS)
        players = self._untied(players)
        more, less = self._more(players), self._less(players)
        none, whole = frozenset[int](), self.everything
        self.coalitions.lower((made, *p) for p in affected for made in (*more, *less))
        left = MOST_NETWORKS
        most_laws = max(FEWEST_LAWS, (MOST_STRUCTURES // len(affected)).bit_length() - 1)
        for pair in affected:

            def differs(one: Made, other: Made, pair: Pair = pair) -> bool:
                return self.coalitions.asks((one, *pair)) != self.coalitions.asks((other, *pair))

            chosen = [
                p for p, up, down in zip(players, more, less, strict=True) if differs(up, none) or differs(down, whole)
            ]
            rest = whole.difference(*chosen)
            if differs(rest, none):
                chosen, rest = players, none
            plan = self._method(pair, chosen, rest, most_laws)
            left -= len(plan.sets)
            self.plans[pair] = plan if left >= 0 else Plan(pair, plan.players, rest, "named")

    def _method(self, pair: Pair, players: list[Made], rest: Made, most_laws: int) -> Plan:
        edits = self.coalitions.change.edits
        players = coarsened(players, edits, MOST_SAMPLED, most_laws)
        return Plan(pair, tuple(players), rest, "exact" if len(players) <= MOST_EXACT else "sampled")

    def _untied(self, players: list[Made]) -> list[Made]:
        """Join players that need one another to make a sound text."""
        more = self._more(players)
        joined: list[Made] = []
        for p, up in zip(players, more, strict=True):
            circle = p.union(*(q for q, need in zip(players, more, strict=True) if q <= up and p <= need))
            meeting = [j for j in joined if j & circle]
            joined = [j for j in joined if not j & circle] + [circle.union(*meeting)]
        return sorted(joined, key=min)

    def _more(self, players: Sequence[Made]) -> list[Made]:
        """Give for each player the fewest edits with which it makes a sound text."""
        whole = self.everything
        found = []
        for p in players:
            made = p
            if not self._sound(p):
                made = whole
                for q in players:
                    if q != p and self._sound(made - q):
                        made -= q
            found.append(made)
        return found

    def _less(self, players: Sequence[Made]) -> list[Made]:
        """Give for each player the most edits that make a sound text without it."""
        whole = self.everything
        found = []
        for p in players:
            made = whole - p
            if not self._sound(made):
                made = frozenset()
                for q in players:
                    if q != p and self._sound(made | q):
                        made |= q
            found.append(made)
        return found

    def _sound(self, made: Made) -> bool:
        return self.coalitions.model(made) is not None

    # ---- sharing out

    def causes(self, pair: Pair, key: Key, old: Fact | None, new: Fact | None) -> list[Cause]:
        """Share a change out over the edits; those without a part in it are left out."""
        plan = self.plans[pair]
        count = len(plan.players)
        if count == 1:
            whole = difference(old, new)
            return [Cause(tuple(sorted(plan.players[0])), whole, 100.0, whole)]
        values = self._values(plan, key, old, new)
        split = {"exact": shares, "sampled": sampled}.get(plan.method, _nothing)(values, count)
        if split is None:
            return [Cause(tuple(sorted(p)), None, None) for p in plan.players]
        total = values[(1 << count) - 1] - values[0]
        measured = difference(old, new) is not None
        found = []
        for i, player in enumerate(plan.players):
            percent = 100 * split[i] / total
            alone = values[1 << i] - values[0] if 1 << i in values else None
            if abs(percent) > 1e-7 or alone:
                share = split[i] if measured else None
                found.append(Cause(tuple(sorted(player)), share, percent, alone if measured else None))
        return sorted(found, key=lambda c: (-abs(c.percent or 0), c.edits))

    def _values(self, plan: Plan, key: Key, old: Fact | None, new: Fact | None) -> dict[int, float]:
        """Give the value of a fact for each set of players that has one."""
        measured = difference(old, new) is not None
        found = {}
        for mask in plan.sets:
            outcome = self.coalitions.outcome(plan.asked(mask))
            if outcome is None:
                continue
            fact = outcome.facts.get(key)
            if measured:
                if fact is not None and fact.number is not None:
                    found[mask] = fact.number
            elif key[0] in ("holds", "conflict") or answered(outcome.facts):
                # A change of kind either has happened or not.
                found[mask] = 1.0 if _what(fact) == _what(new) else 0.0
        return found


def _nothing(values: Mapping[int, float], count: int) -> list[float] | None:
    return None


def _what(fact: Fact | None) -> float | str | None:
    return fact.what if fact is not None else None


def difference(old: Fact | None, new: Fact | None) -> float | None:
    """Give how far a number has moved; None for what is no number on both sides, or in another unit."""
    if old is None or new is None or old.number is None or new.number is None or old.unit != new.unit:
        return None
    return new.number - old.number


_RANKS: list[tuple[str, ...]] = [("holds", "conflict"), ("merit", "merit_limits")]
_RANKS += [("setting", "band_low", "band_high", "limit_below", "limit_above"), ("want",), ("grade",)]


def changed(old: Facts, new: Facts) -> list[Key]:
    """List the facts that differ: merits, then each setting with its band, then wants, grades and what is left."""
    keys = [k for k in dict.fromkeys((*new, *old)) if _what(old.get(k)) != _what(new.get(k))]
    # A margin is compared where both sides have the requirement.
    keys = [k for k in keys if k[0] != "margin" or (k in old and k in new)]
    ranks = {kind: rank for rank, kinds in enumerate(_RANKS) for kind in kinds}
    places = {k: at for at, k in enumerate(dict.fromkeys(name for _, name in (*new, *old)))}
    return sorted(keys, key=lambda k: (ranks.get(k[0], len(_RANKS)), places[k[1]], KINDS.index(k[0])))


# ---- players


def coarsened(players: Iterable[Made], edits: Sequence[Edit], most: int, most_laws: int) -> list[Made]:
    """Join edits until there are few enough: by declaration, then by file, then all of library or project."""
    laws = [p for p in players if not all(edits[i].numbers for i in p)]
    plain = [p for p in players if all(edits[i].numbers for i in p)]
    laws = _joined(laws, edits, min(most, most_laws))
    plain = _joined(plain, edits, max(1, most - len(laws)))
    return sorted([*laws, *plain], key=min)


def _joined(players: list[Made], edits: Sequence[Edit], most: int) -> list[Made]:
    levels: list[Callable[[Edit], object]] = [lambda e: e.key, _file, lambda e: _file(e).startswith(LIBRARY)]
    for level in levels:
        if len(players) <= most:
            break
        groups: dict[object, Made] = {}
        for p in players:
            name = level(edits[min(p)])
            groups[name] = groups.get(name, frozenset()) | p
        players = list(groups.values())
    return players


def _file(edit: Edit) -> str:
    return (edit.old_span if edit.new_span == NOWHERE else edit.new_span).file
