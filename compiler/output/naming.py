"""Name maps: what the settings are called in a tool chain of somebody's own, and in which units they are written.

A map never drops a setting silently: what it neither names nor lists as left out is reported.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import floor, log10
from typing import Any

from ..meaning.model import SettingDecl
from ..meaning.near import near
from ..meaning.units import UNITLESS, Unit, UnknownUnit, exact_base, parse_unit, with_article
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.source import Source, Span
from .toml_places import finite, place, read_toml, schema_faults

Data = dict[str, Any]

FEW_DECIMALS, MOST_DECIMALS = 6, 12
ADVICE = "targets/README.md shows a name map, and targets/schemas/names.json says what it may hold"


@dataclass(frozen=True, slots=True)
class Named:
    """How one setting is written: ``name`` = (number in ``unit``) x ``factor`` + ``offset``.

    ``unit`` is None where the setting's own is kept; ``decimals`` is None for as few as show every value.
    """

    setting: str
    name: str
    unit: str | None
    factor: Fraction
    offset: Fraction
    decimals: int | None
    span: Span


@dataclass(frozen=True, slots=True)
class NameMap:
    """The name map of a target. ``fixed`` holds texts by name."""

    target: str
    source: Source
    named: tuple[Named, ...]
    left_out: tuple[str, ...]
    fixed: Mapping[str, str]


def read_names(target: str, source: Source, faults: list[Diagnostic]) -> NameMap | None:
    """Read a name map by its form alone; None after reporting what is wrong with it."""
    data, span, why = read_toml(source)
    problems = [(span, why)] if why else schema_faults(data, "names", source)
    if not problems:
        entries = {s: e if isinstance(e, dict) else {"name": e} for s, e in data["names"].items()}
        for setting, entry in entries.items():
            if not finite(entry):
                problems.append((place(source, "names", setting), f"names.{setting} has a number without end"))
        if not finite(data.get("fixed", {})):
            problems.append((place(source, "fixed"), "fixed has a number without end"))
    for at, sentence in problems:
        faults.append(diagnose("M614", at, name=target, why=sentence, advice=ADVICE))
    if problems:
        return None
    named = tuple(_named(setting, entry, source) for setting, entry in entries.items())
    fixed = {name: _text(value) for name, value in data.get("fixed", {}).items()}
    found = NameMap(target, source, named, tuple(data.get("left_out", ())), fixed)
    return None if _twice(found, faults) else found


def _named(setting: str, entry: Data, source: Source) -> Named:
    return Named(
        setting,
        entry["name"],
        entry.get("unit"),
        Fraction(entry.get("factor", 1)),
        Fraction(entry.get("offset", 0)),
        entry.get("decimals"),
        place(source, "names", setting),
    )


def _text(value: Any) -> str:
    """Write a fixed value as it stands in the map."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _twice(names: NameMap, faults: list[Diagnostic]) -> bool:
    """Report names that are written for two things, and settings that are named and left out."""
    before = len(faults)
    seen: dict[str, tuple[str, Span]] = {n: ("a fixed line", place(names.source, "fixed", n)) for n in names.fixed}
    for entry in names.named:
        if entry.name in seen:
            other, at = seen[entry.name]
            related = (Related(at, "the other one"),)
            facts: Data = {"name": entry.name, "other": other, "setting": entry.setting}
            faults.append(diagnose("M617", entry.span, related=related, **facts))
        seen[entry.name] = (entry.setting, entry.span)
        if entry.setting in names.left_out:
            related = (Related(place(names.source, "left_out"), "left out here"),)
            faults.append(diagnose("M618", entry.span, related=related, setting=entry.setting))
    return len(faults) > before


# ---- against the settings


def check_names(names: NameMap, settings: Mapping[str, SettingDecl], faults: list[Diagnostic]) -> None:
    """Report what a map says of settings that are not there, units that do not fit, and settings it says nothing of."""
    for entry in names.named:
        decl = settings.get(entry.setting)
        if decl is None:
            faults.append(_unknown(names, entry.setting, entry.span, settings))
        else:
            _check(entry, decl, faults)
    at = place(names.source, "left_out")
    faults += [_unknown(names, s, at, settings) for s in names.left_out if s not in settings]
    said = {*names.left_out, *(n.setting for n in names.named)}
    missing = [decl for name, decl in sorted(settings.items()) if name not in said]
    if missing:
        lines = "\n".join(f'"{d.name}" = {{ name = "...", unit = "{d.unit.symbol}" }}' for d in missing)
        facts: Data = {"target": names.target, "settings": ", ".join(d.name for d in missing), "lines": lines}
        faults.append(diagnose("M619", place(names.source, "names"), **facts))


def _unknown(names: NameMap, setting: str, span: Span, settings: Mapping[str, SettingDecl]) -> Diagnostic:
    advice = near(setting, settings, f"the settings are {', '.join(sorted(settings))}")
    return diagnose("M615", span, target=names.target, setting=setting, near=advice)


def _check(entry: Named, decl: SettingDecl, faults: list[Diagnostic]) -> None:
    """Report a unit that does not fit a setting, or too few decimals for its values."""
    own = decl.unit
    impossible: Data = {"setting": entry.setting, "unit": entry.unit or "plain numbers"}
    try:
        unit = _unit(entry, own)
    except UnknownUnit as error:
        meant = " or ".join(error.suggestions)
        advice = f"did you mean {meant}?" if meant else f"write it in {own.symbol or 'plain numbers'}"
        faults.append(diagnose("M616", entry.span, why="which is no unit", advice=advice, **impossible))
        return
    if unit.dimension != decl.dimension:
        why = f"since it is {with_article(decl.dimension)}, and that is {with_article(unit.dimension)}"
        like = own.symbol or "an empty text for a plain number"
        advice = f"write a unit of the same kind, like {like}; factor and offset turn it into any other"
        faults.append(diagnose("M616", entry.span, why=why, advice=advice, **impossible))
        return
    step = abs(_slope(entry, own) * decl.step)
    if entry.decimals is not None and step * 10**entry.decimals < 1:
        need = min(-floor(log10(step)), MOST_DECIMALS)
        faults.append(diagnose("M620", entry.span, setting=entry.setting, decimals=entry.decimals, need=need))


def _unit(entry: Named, own: Unit) -> Unit:
    if entry.unit is None:
        return own
    return parse_unit(entry.unit) if entry.unit else UNITLESS


# ---- lines


def lines(names: NameMap, settings: Mapping[str, Mapping[str, Data]]) -> list[Data]:
    """Write the settings of a bundle, or of a brief of one, as the map says, in its order.

    The map has been held against the settings (``check_names``), and an answer has all of them.
    """
    found = []
    for entry in names.named:
        group, _, name = entry.setting.partition(".")
        found.append(_line(entry, group, settings[group][name or group]))
    return found


def _line(entry: Named, group: str, s: Data) -> Data:
    own = parse_unit(s["unit"]) if s["unit"] else UNITLESS
    unit = _unit(entry, own)
    decimals = entry.decimals
    if decimals is None:
        decimals = _few_decimals(entry, own, s["text"])
    text = _decimal(_converted(entry, own, s["text"]), decimals)
    line: Data = {
        "setting": entry.setting,
        "group": group,
        "name": entry.name,
        "text": text,
        "value": float(text) if "." in text else int(text),
        "unit": unit.symbol if entry.factor == 1 and entry.offset == 0 else "",
    }
    for key in ("about", "chosen", "because"):
        if key in s:
            line[key] = s[key]
    if "band" in s:
        ends = sorted(_converted(entry, own, str(end)) for end in s["band"])
        line["band"] = [_decimal(end, decimals) for end in ends]
    return line


def _converted(entry: Named, own: Unit, text: str) -> Fraction:
    """Convert a number in the setting's unit, without rounding."""
    base, unit = exact_base(Fraction(text), own), _unit(entry, own)
    offset = exact_base(Fraction(0), unit)
    return (base - offset) / (exact_base(Fraction(1), unit) - offset) * entry.factor + entry.offset


def _slope(entry: Named, own: Unit) -> Fraction:
    """Give by how much the written number rises with the setting's own."""
    return _converted(entry, own, "1") - _converted(entry, own, "0")


def _few_decimals(entry: Named, own: Unit, text: str) -> int:
    """Count the decimals that a setting needs: those that show it exactly, or else a thousandth of its last digit."""
    last = abs(_slope(entry, own)) / 10 ** len(text.partition(".")[2])
    start = _converted(entry, own, "0")
    for decimals in range(FEW_DECIMALS + 1):
        if (last * 10**decimals).denominator == (start * 10**decimals).denominator == 1:
            return decimals
    return next((d for d in range(MOST_DECIMALS) if last * 10**d >= 500), MOST_DECIMALS)


def _decimal(number: Fraction, decimals: int) -> str:
    """Write a number with so many decimals; a half goes to the even digit."""
    whole = round(number * 10**decimals)
    digits = f"{abs(whole):0{decimals + 1}d}"
    text = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
    return f"-{text}" if whole < 0 else text
