"""Answers that are given with the command: values, how they are known, and what is not known."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..meaning.model import Evidence, GivenValue, Model
from ..meaning.near import brief, near
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.source import Source, Span
from .reading import Typed, read_named, typed_lines

_MEASURED = re.compile(r"\s*([A-Za-z_][\w.]*)\s*=\s*(.*\S)\s*")
SET, MEASURED, UNKNOWN = "--set", "--measured", "--unknown"


@dataclass(frozen=True, slots=True)
class Flags:
    """What was typed with the command, as it was typed."""

    sets: Sequence[str] = ()
    measured: Sequence[str] = ()
    unknown: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Answers:
    """What is known, by name in the order of the answers, what is said to be unknown, and how answers were taken."""

    values: dict[str, GivenValue]
    unknown: tuple[str, ...]
    notes: tuple[str, ...]


def answers(
    flags: Flags, owner: str, model: Model, typical: Mapping[str, GivenValue], faults: list[Diagnostic]
) -> tuple[Answers, dict[str, Source]]:
    """Read all that was given; what is at fault is left out and reported. Gives the texts for the reports too.

    ``typical`` are the values that are inherited, whose units bare numbers have.
    """
    typed, source = typed_lines(SET, flags.sets)
    values: dict[str, GivenValue] = {}
    notes = []
    for one in typed:
        taken = read_named(one, owner, model, faults, typical)
        if taken is None:
            continue
        given = taken.given
        if given.name in values:
            related = [Related(values[given.name].span, "first given here")]
            faults.append(diagnose("M211", given.span, name=given.name, related=related, help="keep one of the two"))
            continue
        values[given.name] = given
        if taken.note:
            notes.append(f"{given.name}: {taken.note}")
    ways, ways_source = typed_lines(MEASURED, flags.measured)
    for one in ways:
        _measured(one, values, faults)
    names, names_source = typed_lines(UNKNOWN, flags.unknown)
    unknown = [name for one in names if (name := _unknown(one, owner, model, values, faults))]
    sources = {s.name: s for s in (source, ways_source, names_source)}
    return Answers(values, tuple(dict.fromkeys(unknown)), tuple(notes)), sources


def _measured(typed: Typed, values: dict[str, GivenValue], faults: list[Diagnostic]) -> None:
    whole = Span(typed.file, typed.start, typed.start + len(typed.text))
    found = _MEASURED.fullmatch(typed.text)
    if found is None:
        advice = "write a quantity, =, and how it was measured, like: gap = calliper"
        faults.append(diagnose("M806", whole, wanted="NAME = HOW", advice=advice))
        return
    given = values.get(found[1])
    if given is None:
        faults.append(diagnose("M807", whole, name=brief(found[1])))
    elif given.evidence.stated:
        faults.append(diagnose("M211", whole, name=f"how {given.name} is known", help="keep one of the two"))
    else:
        values[given.name] = replace(given, evidence=Evidence("measured", plain(found[2])))


def plain(text: str) -> str:
    """Take out of a text what a text of the language cannot hold; quotes around all of it are left away."""
    shown = "".join(c if c.isprintable() else " " for c in text).strip()
    return shown[1:-1].strip() if len(shown) > 1 and shown[0] == shown[-1] == '"' else shown


def _unknown(
    typed: Typed, owner: str, model: Model, values: dict[str, GivenValue], faults: list[Diagnostic]
) -> str | None:
    name = typed.text.strip()
    whole = Span(typed.file, typed.start, typed.start + len(typed.text))
    quantity = model.quantities.get(name)
    if quantity is None:
        mine = [q.name for q in model.quantities.values() if q.owner == owner]
        faults.append(diagnose("M214", whole, name=brief(name) or '""', near=near(name, mine)))
    elif quantity.owner != owner:
        faults.append(diagnose("M220", whole, name=name, owner=quantity.owner, kind=owner))
    elif name in values:
        faults.append(diagnose("M808", whole, name=name, related=[Related(values[name].span, "the value")]))
    else:
        return name
    return None
