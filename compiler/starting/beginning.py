"""Starting a material or machine: what it starts from, what is known of it, and its file."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..meaning.checking import check_library
from ..meaning.model import EntityDecl, Model
from ..meaning.near import brief, near
from ..network.assembling import example
from ..network.filling import lacking
from ..text.diagnostic import Diagnostic, diagnose
from ..text.joining import listed
from ..text.source import NOWHERE, Source
from .flags import Answers, Flags, answers
from .guide import Guide, guide
from .placing import check_file, check_name, check_unknown, files_beside, use_line
from .sheet import Draft, entity_of, sheet

NOTHING = "none"
"""What is said to start from nothing."""
TRADE = 'use library "trade"'


@dataclass(frozen=True, slots=True)
class Request:
    """A material or machine of a name in a file, what it starts from (None: not said), and answers."""

    kind: str
    name: str
    path: Path
    base: str | None
    flags: Flags = field(default_factory=Flags)


@dataclass(slots=True)
class Start:
    """What a new material or machine is made in: the library with what lies beside, its guide, faults, sources."""

    request: Request
    model: Model | None
    guide: Guide
    beside: Sequence[tuple[str, Path]]
    faults: list[Diagnostic]
    sources: dict[str, Source]

    @property
    def failed(self) -> bool:
        """Whether there is any error."""
        return self.model is None or any(f.is_error for f in self.faults)

    def entities(self) -> dict[str, EntityDecl]:
        """Give all that it may start from: what the guide lists first, in its order, then what is the author's own."""
        assert self.model is not None
        table = self.model.materials if self.request.kind == "material" else self.model.machines
        return {name: table[name] for name in dict.fromkeys([*self.guide.kinds, *table]) if name in table}


def prepare(request: Request) -> Start:
    """Read the library, and the file beside the new one that has what it starts from; report what cannot be."""
    faults: list[Diagnostic] = []
    check_name(request.kind, request.name, faults)
    check_file(request.path, faults)
    own = [
        (name, beside.path)
        for beside in files_beside(request.path.parent)
        for kind, name in beside.defines
        if kind == request.kind
    ]
    needed = [path for name, path in own if name == request.base]
    model, found, sources = check_library(needed[:1])
    start = Start(request, model, guide(request.kind), own, [*found, *faults], sources)
    if model is not None:
        check_unknown(model, request.kind, request.name, start.faults)
    return start


def based_on(start: Start, name: str) -> EntityDecl | None:
    """Give what the new one starts from by its name; None for nothing, and after reporting one that is not there."""
    known = start.entities()
    if name == NOTHING or name in known:
        return known.get(name)
    names = [*known, *(n for n, _ in start.beside)]
    advice = near(name, names, f"the library has {listed(known, 'and')}; {NOTHING} starts from nothing")
    start.faults.append(diagnose("M212", NOWHERE, kind=start.request.kind, name=brief(name), near=advice))
    return None


def given(start: Start, base: EntityDecl | None) -> Answers:
    """Read the answers that were given with the command, for what starts from ``base``."""
    assert start.model is not None
    typical = base.values if base else {}
    found, sources = answers(start.request.flags, start.request.kind, start.model, typical, start.faults)
    start.sources |= sources
    return found


def drafted(start: Start, base: EntityDecl | None, known: Answers) -> Draft:
    """Put together what is known of the new one."""
    assert start.model is not None
    return Draft(start.model, start.request.kind, start.request.name, base, known.values)


def missing(draft: Draft) -> list[str]:
    """List what has to be given before anything can be derived, what decides what else is needed first."""
    entity = entity_of(draft)
    model = draft.model
    if draft.kind == "material":
        model = replace(model, materials={**model.materials, draft.name: entity})
    else:
        model = replace(model, machines={**model.machines, draft.name: entity})
    return lacking(model, draft.kind, draft.name)


def refuse_missing(start: Start, draft: Draft, names: Sequence[str]) -> None:
    """Report what has to be given where nobody can be asked."""
    entry = start.guide.entries.get(names[0])
    value = entry.value if entry else example(draft.model.quantities[names[0]])
    source = f"{draft.base.name} does not say" if draft.base else "nothing says"
    facts: dict[str, Any] = {
        "what": f"{source} {listed(names, 'or')}",
        "advice": f"give {'each' if len(names) > 1 else 'it'}, like: --set '{names[0]} = {value}'",
    }
    complete = [n for n, e in start.entities().items() if set(names) <= e.values.keys()]
    if complete:
        facts["advice"] += f"\nor start from one that has {'them' if len(names) > 1 else 'it'}: {listed(complete[:4])}"
    start.faults.append(diagnose("M805", NOWHERE, **facts))


def refuse_base(start: Start) -> None:
    """Report that nothing says what to start from where nobody can be asked."""
    kinds = [f"{name}: {start.guide.kinds.get(name, 'your own')}" for name in start.entities()]
    what = f"nothing says what kind of {start.request.kind} it is"
    lines = [f"write --from and one of these, or --from {NOTHING}:", *(f"  {k}" for k in kinds)]
    start.faults.append(diagnose("M805", NOWHERE, what=what, advice="\n".join(lines)))


def text_of(start: Start, draft: Draft, names: list[str]) -> str:
    """Write the file of the new one; ``names`` is what it still has to say."""
    use = use_line(draft.base) if draft.base else TRADE
    return sheet(draft, start.guide, use, names, start.faults)
