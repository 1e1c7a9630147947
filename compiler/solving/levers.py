"""Single lines that may be changed, each with its other values as they would be written, the nearest first."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from ..meaning.display import plain
from ..meaning.model import Amount, GivenValue, Model, PinDecl, ProfileDecl, QuantityDecl, SettingDecl, WantDecl
from ..meaning.units import TEMPERATURE_POINT, Unit, from_base
from ..meaning.valuing import amount_of
from ..meaning.wanting import comparison
from ..syntax import tree
from ..text.source import Span

MOST_RUNGS = 2000
WHOLE = 1.0
"""Size of a change that is no matter of degree: another word, a line left out."""

SHARES = 20
"""Shares by which several ranges are made narrower together."""

HUNDRED_KELVINS = 100.0
"""A temperature's change is measured by this, since its zero means nothing."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A profile with changed lines, and the places on their lattices that some settings are left."""

    profile: ProfileDecl
    places: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Rung:
    """Another value of a line: how it is written, how large the change is, and the draft with it.

    ``wide`` makes the draft that allows all values up to this one at once; where there is none, ``draft`` does.
    """

    text: str
    size: float
    draft: Callable[[Draft], Draft]
    wide: Callable[[Draft], Draft] | None = None


@dataclass(frozen=True, slots=True)
class Lever:
    """A line and its other values, the nearest first. ``kind`` is want, grade, pin, input, word or range.

    ``steady``: where one value holds, all farther ones do. ``machine`` is the one whose line it is, if it is a
    machine's. ``free`` says of a pin that it could be left out.
    """

    kind: str
    name: str
    old: str
    towards: str
    rungs: tuple[Rung, ...]
    steady: bool
    span: Span
    machine: str = ""
    advice: str = ""
    free: bool = False


# ---- numbers as people write them


def fineness(number: Decimal, share: str = "0.03") -> Decimal:
    """Give the power of ten that is just below a share of a number: its second or third digit."""
    small = abs(number) * Decimal(share)
    return Decimal(1).scaleb(small.adjusted()) if small else Decimal(0)


def ladder(start: Decimal, end: Decimal) -> Iterator[Decimal]:
    """Go from a number towards another in round steps, which grow as the numbers do; the end is the last."""
    up = end > start
    step = fineness(start) or fineness(end - start)
    at = start
    for _ in range(MOST_RUNGS):
        step = max(step, fineness(at))
        whole = (at / step).to_integral_value(ROUND_FLOOR if up else ROUND_CEILING)
        at = (whole + (1 if up else -1)) * step
        if (at >= end) if up else (at <= end):
            break
        yield at
    if end != start:
        yield end


def number_of(value: float, unit: Unit) -> Decimal:
    """Give a value in base units as a decimal number in ``unit``, without the dust of conversion."""
    return Decimal(f"{from_base(value, unit):.12g}")


def share_of(old: Decimal, new: Decimal, unit: Unit) -> float:
    """Measure a change: as a share of the larger number, for temperatures against a hundred kelvins."""
    if unit.dimension == TEMPERATURE_POINT:
        return float(abs(new - old)) / HUNDRED_KELVINS
    return float(abs(new - old) / max(abs(new), abs(old), Decimal("1e-300")))


def _written(value: tree.Value) -> Amount:
    amount = amount_of(value, [])
    assert amount is not None
    return amount


def moved(amount: Amount, number: Decimal) -> Amount:
    """Write an amount with another stated value; a range keeps its width."""
    unit, symbol = amount.unit, amount.unit.symbol
    if amount.exact:
        return _written(tree.Exact(tree.Number(plain(number), symbol)))
    low, stated, high = (number_of(v, unit) for v in (amount.low, amount.stated, amount.high))
    if ".." in amount.text:
        first, last = (plain(end + number - stated) for end in (low, high))
        return _written(tree.Range(tree.Number(first), tree.Number(last, symbol)))
    return spread(number, (high - low) / 2, unit)


def spread(number: Decimal, width: Decimal, unit: Unit) -> Amount:
    """Write a number with a tolerance, or without where that is none."""
    if not width:
        return _written(tree.Exact(tree.Number(plain(number), unit.symbol)))
    # A per cent sign after the tolerance alone could be read in two ways.
    symbol = unit.symbol if unit.symbol == "%" else ""
    return _written(tree.Spread(tree.Number(plain(number), symbol), tree.Number(plain(width), unit.symbol)))


# ---- inputs


def input_levers(given: GivenValue, quantity: QuantityDecl, direction: str, machine: str, advice: str) -> list[Lever]:
    """Give the levers of an input: one a direction for an amount, one for each other word."""

    def lever(kind: str, towards: str, rungs: list[Rung]) -> Lever:
        return Lever(kind, given.name, given.text, towards, tuple(rungs), False, given.span, machine, advice)

    amount = given.amount
    if amount is None:
        others = [w for w in quantity.words if w != given.word]
        return [lever("word", "", [Rung(w, WHOLE, _giving(replace(given, word=w)))]) for w in others]
    unit = amount.unit
    start = number_of(amount.stated, unit)
    found = []
    for low, high, known in quantity.ranges:
        if known.scale != unit.scale:
            continue
        ends = {
            "lower": number_of(low + amount.stated - amount.low, unit),
            "raise": number_of(high - (amount.high - amount.stated), unit),
        }
        for towards, end in ends.items():
            outward = end < start if towards == "lower" else end > start
            if direction in (towards, "change") and outward:
                numbers = list(ladder(start, end))
                rungs = [_moved(given, amount, start, n) for n in numbers]
                found.append(lever("input", towards, rungs))
    return found


def _moved(given: GivenValue, amount: Amount, start: Decimal, number: Decimal) -> Rung:
    new = moved(amount, number)
    return Rung(new.text, share_of(start, number, amount.unit), _giving(replace(given, amount=new)))


def _giving(given: GivenValue) -> Callable[[Draft], Draft]:
    # What a profile gives wins over its material and its machine.
    return lambda draft: replace(
        draft, profile=replace(draft.profile, values={**draft.profile.values, given.name: given})
    )


def range_lever(inputs: list[GivenValue]) -> Lever:
    """Give the lever that makes the ranges of inputs narrower by one share; the last rung makes them exact."""
    widths = [half_width(given.amount) for given in inputs if given.amount is not None]
    finest = [fineness(w, "0.1") for w in widths]
    steps = math.ceil(widths[0] / finest[0]) if len(inputs) == 1 else SHARES
    rungs = []
    for left in range(steps - 1, -1, -1):
        new = []
        for given, width, fine in zip(inputs, widths, finest, strict=True):
            amount = given.amount
            assert amount is not None
            narrow = (width * left / steps / fine).to_integral_value(ROUND_FLOOR) * fine
            new.append(replace(given, amount=spread(number_of(amount.stated, amount.unit), narrow, amount.unit)))
        text = " and ".join(f"{g.name} {g.text}" for g in new)
        rungs.append(Rung(text, 1 - left / steps, _giving_all(new)))
    old = " and ".join(g.text for g in inputs)
    name = " and ".join(g.name for g in inputs)
    return Lever("range", name, old, "", tuple(rungs), True, inputs[0].span)


def half_width(amount: Amount) -> Decimal:
    """Give half the width of a range, in the unit it was written in."""
    return (number_of(amount.high, amount.unit) - number_of(amount.low, amount.unit)) / 2


def _giving_all(inputs: list[GivenValue]) -> Callable[[Draft], Draft]:
    def draft(draft: Draft) -> Draft:
        for given in inputs:
            draft = _giving(given)(draft)
        return draft

    return draft


# ---- pins


def pin_levers(pin: PinDecl, decl: SettingDecl, at: int) -> list[Lever]:
    """Give the levers of a pin: along its lattice down and up."""
    found = []
    for towards, places in (("lower", range(at - 1, -1, -1)), ("raise", range(at + 1, decl.last + 1))):
        rungs = [_pinned(decl, at, k) for k in places]
        if rungs:
            old = pin.amount.text
            found.append(Lever("pin", pin.name, old, towards, tuple(rungs), True, pin.span, free=not decl.given))
    return found


def _pinned(decl: SettingDecl, at: int, k: int) -> Rung:
    old, new = (Decimal(decl.text(i)) for i in (at, k))
    nearest = at - 1 if k < at else at + 1
    text = f"{decl.text(k)} {decl.unit.symbol}".rstrip()
    size = share_of(old, new, decl.unit)
    return Rung(text, size, _placing(decl.name, k, k), _placing(decl.name, min(nearest, k), max(nearest, k)))


def _placing(name: str, first: int, last: int) -> Callable[[Draft], Draft]:
    return lambda draft: replace(draft, places=(*draft.places, (name, first, last)))


# ---- wants


def want_lever(model: Model, want: WantDecl) -> Lever:
    """Give the lever of a want: looser words of its grade or looser amounts; the last rung leaves it out."""
    rungs = _looser_amounts(model, want, want.amount) if want.amount else _looser_words(model, want)
    rungs.append(Rung("", WHOLE, _wanting(want, None)))
    kind, old = ("want", want.amount.text) if want.amount else ("grade", want.word)
    towards = "lower" if want.bound == "least" else "raise"
    return Lever(kind, f"{want.name} at {want.bound}", old, towards, tuple(rungs), True, want.span)


def _looser_words(model: Model, want: WantDecl) -> list[Rung]:
    grade = model.grades[want.name]
    at = [b.name for b in grade.bands].index(want.word)
    better = (want.bound == "most") != grade.more_is_better
    rungs = []
    for band in grade.bands[at + 1 :] if better else reversed(grade.bands[:at]):
        changed = replace(want, word=band.name, text=f"{want.name} at {want.bound} {band.name}")
        if comparison(model, changed) is None:
            break
        old, new = grade.bands[at].limit, band.limit
        size = WHOLE if not old or not new else abs(new - old) / max(abs(new), abs(old))
        rungs.append(Rung(band.name, size, _wanting(want, changed)))
    return rungs


def _looser_amounts(model: Model, want: WantDecl, amount: Amount) -> list[Rung]:
    unit = amount.unit
    start = number_of(amount.stated, unit)
    away = -1 if want.bound == "least" else 1
    decl = model.settings.get(want.name)
    if decl is not None:
        # Only what the setting can be makes a difference.
        values = [number_of(float(_base(decl, i)), unit) for i in range(decl.last + 1)]
        numbers = sorted((v for v in values if (v - start) * away > 0), key=lambda v: abs(v - start))
    else:
        towards_zero = start * away < 0
        numbers = list(ladder(start, Decimal(0) if towards_zero else start * 10 if start else Decimal(away)))
    rungs = []
    for number in numbers:
        new = moved(amount, number)
        changed = replace(want, amount=new, text=f"{want.name} at {want.bound} {new.text}")
        rungs.append(Rung(new.text, share_of(start, number, unit), _wanting(want, changed)))
    return rungs


def _base(decl: SettingDecl, index: int) -> float:
    from .problem import lattice

    return float(lattice(decl)[index])


def _wanting(want: WantDecl, changed: WantDecl | None) -> Callable[[Draft], Draft]:
    def draft(draft: Draft) -> Draft:
        wants = (changed if (w.name, w.bound) == (want.name, want.bound) else w for w in draft.profile.wants)
        return replace(draft, profile=replace(draft.profile, wants=tuple(w for w in wants if w is not None)))

    return draft
