"""What is asked: ``NAME = VALUE``, or ``NAME = LOW .. HIGH UNIT in N steps``, read in the language's own words.

A text is read by the language's own parser, so that units and mistakes are told as they are in a file, with their
place in what was typed.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.joining import listed
from ..text.source import Source, Span
from .display import plain
from .entities import take
from .laws import Names
from .model import GivenValue, Model, PinDecl, ProfileDecl, SettingDecl
from .near import brief, near
from .pinning import index_on_lattice, not_a_setting, pin_of
from .units import difference_unit, from_base
from .valuing import amount_of, text_of, unit_of

MOST_POINTS = 1000
"""Points of the largest grid of values."""
OPTION = "--set"
SAID = f"set with {OPTION}"

Choice = GivenValue | PinDecl
"""A value of an input, or a setting fixed."""

_HEAD = "profile asked {\n  pin "
_LINE = "{name} = {value}"
_NAMED = re.compile(r"\s*[A-Za-z_]")
_STEPS = re.compile(r"(?<=\s)in\b([^\"=]*)$")
_COUNT = re.compile(r"\s*([0-9]{1,9})\s+steps?\s*")
_TOLERANCE = re.compile(r"\.\.[^\"]*?(±|\+-)")


@dataclass(frozen=True, slots=True)
class Asked:
    """An input or a setting, and the values that it is to have; ``text`` is what was asked, in one spelling."""

    name: str
    choices: tuple[Choice, ...]
    varied: bool
    text: str
    span: Span


def with_choices(profile: ProfileDecl, choices: Sequence[Choice]) -> ProfileDecl:
    """Give a profile in which inputs and settings have other values; they win over material and machine."""
    values = {c.name: c for c in choices if isinstance(c, GivenValue)}
    pins = {c.name: c for c in choices if isinstance(c, PinDecl)}
    return replace(profile, values={**profile.values, **values}, pins={**profile.pins, **pins})


def asked_pin(text: str, model: Model, faults: list[Diagnostic]) -> tuple[PinDecl | None, Source]:
    """Read ``NAME = VALUE`` as a pin on a setting; gives it, or None after reporting, and the text that was read."""
    source = Source("what is asked", Path("asked"), _one_line(text))
    found: list[Diagnostic] = []
    item = _read(source.text, source.name, found)
    pin = None
    if item is not None:
        names = _names(model)
        setting = names.settings.get(item.name.text)
        if setting is None:
            found.append(not_a_setting(item, names))
        else:
            pin = pin_of(item, "asked", setting, _LINE, found)
    faults += [_moved(f, source, 0, len(source.text)) for f in found]
    return pin, source


def asked_values(texts: Sequence[str], model: Model, faults: list[Diagnostic]) -> tuple[list[Asked], Source]:
    """Read what is set and varied; gives it without what was reported, and the texts that were read, a line each."""
    lines = [_one_line(t) for t in texts]
    source = Source(OPTION, Path(OPTION), "\n".join(lines))
    names = _names(model)
    asked: dict[str, Asked] = {}
    start = 0
    for line in lines:
        found: list[Diagnostic] = []
        one = _asked(line, source.name, names, found)
        end = start + len(line)
        faults += [_moved(f, source, start, end) for f in found]
        if one is not None:
            one = _placed(one, start)
            if one.name in asked:
                related = [Related(asked[one.name].span, "first set here")]
                help = "keep one of the two"
                faults.append(diagnose("M211", one.span, name=one.name, related=related, help=help))
            asked.setdefault(one.name, one)
        start = end + 1
    _check_grid(list(asked.values()), faults)
    return list(asked.values()), source


def _check_grid(asked: Sequence[Asked], faults: list[Diagnostic]) -> None:
    varied = [a for a in asked if a.varied]
    if len(varied) > 2:
        facts: dict[str, Any] = {"count": len(varied), "names": listed((a.name for a in varied), "and")}
        related = [Related(a.span, "varied too") for a in varied[:2]]
        faults.append(diagnose("M424", varied[2].span, related=related, **facts))
    elif len(varied) == 2 and (count := len(varied[0].choices) * len(varied[1].choices)) > MOST_POINTS:
        related = [Related(varied[0].span, f"{len(varied[0].choices)} values")]
        facts = {"count": f"{count:,}", "most": f"{MOST_POINTS:,}"}
        faults.append(diagnose("M425", varied[1].span, related=related, **facts))


def _names(model: Model) -> Names:
    others = dict.fromkeys(model.grades, "grade") | dict.fromkeys(model.merits, "merit")
    return Names(model.quantities, model.settings, model.lets, others)


# ---- texts and their places


def _one_line(text: str) -> str:
    return re.sub(r"[\r\n\v\f\x1c-\x1e\x85\u2028\u2029]", " ", text)


def _read(text: str, file: str, faults: list[Diagnostic]) -> tree.Pin | None:
    """Parse ``NAME = VALUE``; places are those behind ``_HEAD``."""
    from ..syntax.reading import read

    if _NAMED.match(text) is None:
        faults.append(_unread(text, file))
        return None
    tree_of, found = read(Source(file, Path(file), f"{_HEAD}{text}\n}}\n"))
    # What is asked is written on the command line: nothing of it can be mended in a file, and a pin is not meant.
    faults += (replace(f, fixes=(), help=_help(f.help, text)) for f in found)
    if found:
        return None
    items = [i for s in tree_of.statements if isinstance(s, tree.Entity) for i in s.items]
    item = items[0] if len(tree_of.statements) == len(items) == 1 else None
    if not isinstance(item, tree.Pin):
        faults.append(_unread(text, file))
        return None
    return replace(item, span=item.name.span.to(item.value.span))


def _help(written: str, text: str) -> str:
    """Advise as for a pin, but where that would ask for its ``=`` or its reason."""
    if "=" not in text:
        return "go on with = and a value"
    return "write one name and one value: NAME = VALUE" if "because" in written else written


def _unread(text: str, file: str) -> Diagnostic:
    whole = Span(file, len(_HEAD), len(_HEAD) + len(text))
    return diagnose("M420", whole, found=f"'{brief(text.strip())}'" if text.strip() else "an empty text")


def _moved(fault: Diagnostic, source: Source, start: int, end: int) -> Diagnostic:
    """Move the places of a fault from behind ``_HEAD`` to where the text was typed."""

    def moved(span: Span) -> Span:
        if span.file != source.name:
            return span
        first, last = (min(max(at - len(_HEAD) + start, start), end) for at in (span.start, span.end))
        return Span(span.file, first, last)

    return fault.placed(moved)


def _placed(asked: Asked, start: int) -> Asked:
    shift = start - len(_HEAD)

    def moved(span: Span) -> Span:
        return Span(span.file, span.start + shift, span.end + shift)

    choices = tuple(replace(c, span=moved(c.span)) for c in asked.choices)
    return replace(asked, choices=choices, span=moved(asked.span))


# ---- values


def _asked(text: str, file: str, names: Names, faults: list[Diagnostic]) -> Asked | None:
    steps = _STEPS.search(text)
    if steps is None and _TOLERANCE.search(text):
        place = Span(file, len(_HEAD), len(_HEAD) + len(text.rstrip()))
        faults.append(diagnose("M422", place, found=brief(text.strip()), most=f"{MOST_POINTS:,}"))
        return None
    if steps is None:
        item = _read(text, file, faults)
        choice = _choice(item, names, faults) if item is not None and _known(item, names, faults) else None
        if item is None or choice is None:
            return None
        return Asked(choice.name, (choice,), False, f"{choice.name} = {text_of(item.value)}", item.name.span)
    count = _count(steps, file, faults)
    varied = _varied(text[: steps.start()], file, names, faults)
    if count is None or varied is None:
        return None
    item, between, tolerance = varied
    values = _values(between, tolerance, count, faults)
    choices = _choices(item, values, names, faults)
    if not choices or len(choices) != count:
        return None
    said = f"{item.name.text} = {_said(between, tolerance)} in {count} steps"
    return Asked(item.name.text, choices, True, said, item.name.span)


def _said(between: tree.Range, tolerance: tree.Number | None) -> str:
    low, high = between.low, between.high
    parts = [low.digits, low.unit if low.unit != high.unit else "", "..", high.digits]
    if tolerance is None or tolerance.unit != high.unit:
        parts.append(high.unit)
    if tolerance is not None:
        parts += ["±", tolerance.digits, tolerance.unit]
    return " ".join(p for p in parts if p)


def _count(steps: re.Match[str], file: str, faults: list[Diagnostic]) -> int | None:
    count = _COUNT.fullmatch(steps[1])
    if count is not None and 2 <= int(count[1]) <= MOST_POINTS:
        return int(count[1])
    place = Span(file, len(_HEAD) + steps.start(), len(_HEAD) + len(steps.string.rstrip()))
    found = brief(steps[0].strip())
    faults.append(diagnose("M422", place, found=found, most=f"{MOST_POINTS:,}"))
    return None


def _varied(
    body: str, file: str, names: Names, faults: list[Diagnostic]
) -> tuple[tree.Pin, tree.Range, tree.Number | None] | None:
    """Read ``NAME = LOW .. HIGH UNIT``, and the tolerance of every value where one follows."""
    sign = _TOLERANCE.search(body)
    item = _read(body if sign is None else body[: sign.start(1)], file, faults)
    if item is None or not _known(item, names, faults):
        return None
    between, tolerance = item.value, None
    if not isinstance(between, tree.Range):
        faults.append(diagnose("M423", between.span, name=item.name.text, found=text_of(between)))
        return None
    if sign is not None:
        # The high end with the tolerance is a value of the language again; what stands before is left blank.
        equals, dots = body.index("="), sign.start()
        blank = body[: equals + 1] + " " * (dots + 1 - equals) + body[dots + 2 :]
        spread = _read(blank, file, faults)
        if spread is None or not isinstance(spread.value, tree.Spread):
            return None
        tolerance = spread.value.tolerance
        if not between.low.unit and not between.high.unit and tolerance.unit != "%":
            if unit_of(tolerance, faults) is None:
                return None
            ends = (replace(n, unit=tolerance.unit) for n in (between.low, between.high))
            between = replace(between, low=next(ends), high=next(ends))
    amount = amount_of(between, faults)
    if amount is None:
        return None
    if amount.exact:
        faults.append(diagnose("M423", between.span, name=item.name.text, found=text_of(between)))
        return None
    return item, between, tolerance


def _values(
    between: tree.Range, tolerance: tree.Number | None, count: int, faults: list[Diagnostic]
) -> list[tree.Exact | tree.Spread]:
    """Space values evenly, each written as a person would write it: the value that is used is the one that is shown."""
    unit = between.high.unit
    low, high = Decimal(between.low.digits), Decimal(between.high.digits)
    if between.low.unit not in ("", unit):
        amount = amount_of(between, faults)
        assert amount is not None
        low = Decimal(repr(from_base(amount.low, amount.unit)))
    step = (Fraction(high) - Fraction(low)) / (count - 1)
    places = 3 - Decimal(step.numerator / step.denominator).adjusted()
    texts = [plain(low), *(_rounded(Fraction(low) + i * step, places) for i in range(1, count - 1)), plain(high)]
    numbers = [replace(between.high, digits=t, unit=unit, span=between.span) for t in texts]
    if tolerance is None:
        return [tree.Exact(n, between.span) for n in numbers]
    return [tree.Spread(n, tolerance, between.span) for n in numbers]


def _rounded(value: Fraction, places: int) -> str:
    scaled = round(value * Fraction(10) ** places)
    return plain(Decimal(scaled).scaleb(-places))


def _choices(
    item: tree.Pin, values: Sequence[tree.Exact | tree.Spread], names: Names, faults: list[Diagnostic]
) -> tuple[Choice, ...]:
    """Check values one by one, up to the first that is at fault."""
    choices = []
    for value in values:
        before = len(faults)
        choice = _choice(replace(item, value=value), names, faults)
        if choice is None:
            if faults[before:] and faults[-1].code == "M405":
                faults[-1] = replace(faults[-1], help=_fitting(names.settings[item.name.text], values))
            return ()
        choices.append(choice)
    return tuple(choices)


def _fitting(setting: SettingDecl, values: Sequence[tree.Exact | tree.Spread]) -> str:
    """Say how a setting is varied over about these values so that all lie on its lattice."""
    amounts = [amount_of(value, []) for value in (values[0], values[-1])]
    low, high = (index_on_lattice(setting, a.stated) if a is not None else math.nan for a in amounts)
    first, last = max(math.ceil(low - 1e-6), 0), min(math.floor(high + 1e-6), setting.last)
    if first >= last:
        unit = difference_unit(setting.unit).symbol
        return f"its lattice has a value every {float(setting.step):g} {unit}".rstrip()
    wide, wanted = last - first, len(values) - 1
    parts = min((n for n in range(1, wide + 1) if wide % n == 0), key=lambda n: (abs(n - wanted), -n))
    between = f"{setting.text(first)} .. {setting.text(last)} {setting.unit.symbol}".rstrip()
    return f"write: {setting.name} = {between} in {parts + 1} steps"


def _known(item: tree.Pin, names: Names, faults: list[Diagnostic]) -> bool:
    """Tell whether a name is an input or a setting; report what is not."""
    name = item.name.text
    if name in names.quantities or name in names.settings:
        return True
    kind = names.kinds.get(name)
    if kind is None:
        others = "set a quantity of material, machine or profile, or a setting"
        advice = near(name, [*names.quantities, *names.settings], others)
        faults.append(diagnose("M214", item.name.span, name=brief(name), near=advice))
    else:
        what = f"derived by law {names.lets[name][0].law}" if kind == "let" else f"a {kind}"
        faults.append(diagnose("M421", item.name.span, name=name, what=what))
    return False


def _choice(item: tree.Pin, names: Names, faults: list[Diagnostic]) -> Choice | None:
    """Check one value of an input, or of a setting."""
    name = item.name.text
    setting = names.settings.get(name)
    if setting is not None:
        return pin_of(item, "" if setting.given else SAID, setting, _LINE, faults)
    evidence = tree.Evidence("assumed", tree.Text(SAID))
    given = tree.Given(item.name, item.value, evidence, item.span)
    entity = tree.Entity(names.quantities[name].owner, tree.Name(OPTION, item.name.span), None, (given,), item.span)
    values: dict[str, GivenValue] = {}
    take(given, entity, values, names, faults)
    return values.get(name)
