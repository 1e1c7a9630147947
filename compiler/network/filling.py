"""What a material or machine still has to say, before any profile uses it: it is tried in jobs of the library."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from ..meaning.loading import LIBRARY
from ..meaning.model import EntityDecl, Model, ProfileDecl
from ..syntax import tree
from ..text.diagnostic import Diagnostic, diagnose
from ..text.joining import listed
from .assembling import Assembly, example


def jobs(model: Model, kind: str, name: str) -> Iterator[tuple[ProfileDecl, str]]:
    """Give the library's own profiles with this material or machine in the place of theirs, each with its machine."""
    own = [p for p in model.profiles.values() if p.span.file.startswith(LIBRARY)]
    for profile in sorted(own, key=lambda p: (p.span.file, p.span.start)):
        yield placed(profile, kind, name)


def placed(profile: ProfileDecl, kind: str, name: str) -> tuple[ProfileDecl, str]:
    """Put a material or machine in the place of a profile's own; a material comes onto its first machine."""
    if kind == "material":
        return replace(profile, material=name), profile.machines[0].text
    machines = (tree.Name(name, profile.span),)
    return replace(profile, machines=machines), name


def lacking(model: Model, kind: str, name: str) -> list[str]:
    """List what a material or machine does not give and some job of the library needs, in the order of the laws."""
    found: dict[str, None] = {}
    for profile, machine in jobs(model, kind, name):
        assembly = Assembly(model, profile, machine, [])
        assembly.network()
        found |= dict.fromkeys(assembly.lacking.get(kind, {}))
    return list(found)


def report_lacking(model: Model, entity: EntityDecl, faults: list[Diagnostic]) -> None:
    """Report, as a warning, what a material or machine does not give and some job of the library needs."""
    names = lacking(model, entity.kind, entity.name)
    if not names:
        return
    table = model.materials if entity.kind == "material" else model.machines
    complete = [n for n, e in table.items() if set(names) <= e.values.keys()]
    # The plainest kinds first: those that inherit least.
    complete.sort(key=lambda n: len(table[n].line))
    lines = [f"give {'each' if len(names) > 1 else 'it'}, like: {names[0]} {example(model.quantities[names[0]])}"]
    if complete:
        which = "them" if len(names) > 1 else "it"
        lines.append(f"or start from one that has {which}: {entity.kind} {entity.name} from {listed(complete[:4])}")
    facts: dict[str, Any] = {"kind": entity.kind, "name": entity.name, "names": listed(names, "and")}
    faults.append(diagnose("M809", entity.span, advice="\n".join(lines), **facts))
