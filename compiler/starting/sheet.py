"""The text of a new material or machine: what is known as lines of the language, what is not as comments to fill in."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..meaning.model import EntityDecl, GivenValue, Model
from ..syntax import tree
from ..syntax.formatting import format_text
from ..syntax.printing import print_part
from ..text.cells import wrapped
from ..text.diagnostic import Diagnostic
from ..text.source import Source, Span
from .guide import Entry, Guide

_WIDTH = 116


@dataclass(frozen=True, slots=True)
class Draft:
    """A new material or machine: what it starts from, if anything, and the values that are known of it."""

    model: Model
    kind: str
    name: str
    base: EntityDecl | None
    values: Mapping[str, GivenValue]

    @property
    def inherited(self) -> Mapping[str, GivenValue]:
        """What it has without its own values."""
        return self.base.values if self.base else {}


def entity_of(draft: Draft) -> EntityDecl:
    """Give the material or machine as the model holds one."""
    line = (draft.name, *(draft.base.line if draft.base else ()))
    values = {**draft.inherited, **draft.values}
    return EntityDecl(draft.kind, draft.name, line, values, Span(f"{draft.name}.melt", 0, 0))


def sheet(draft: Draft, guide: Guide, use: str, lacking: list[str], faults: list[Diagnostic]) -> str:
    """Write the file: ``use`` is its use line, ``lacking`` what has to be given before anything can be derived."""
    lines = [*_head(draft, guide), "", use, ""]
    start = f"{draft.kind} {draft.name}" + (f" from {draft.base.name}" if draft.base else "")
    body = list(_body(draft, guide, lacking))
    text = "\n".join([*lines, start + " {", *body, "}", ""])
    text, found = format_text(Source(f"{draft.name}.melt", Path(f"{draft.name}.melt"), text))
    faults += found
    return text


def unknown(draft: Draft, guide: Guide) -> list[str]:
    """List the quantities of the guide that have a typical value only, in its order."""
    return [name for name in guide.entries if name in draft.inherited and name not in draft.values]


def comment(text: str, first: str = "", more: str = "") -> list[str]:
    """Write a text as lines of a comment; ``first`` and ``more`` are what its lines begin with."""
    return wrapped(text, _WIDTH, f"# {first}", f"# {more}")


def item(given: GivenValue) -> str:
    """Write a value as a line of a material or machine."""
    evidence = tree.Evidence(given.evidence.kind, tree.Text(given.evidence.text)) if given.evidence.stated else None
    return print_part(tree.Given(tree.Name(given.name), tree.Word(given.text), evidence))


def _head(draft: Draft, guide: Guide) -> Iterator[str]:
    base = draft.base
    like = guide.kinds.get(base.name, "") if base else ""
    start = f", which starts from {base.name}" + (f": {like}" if like else "") if base else ""
    yield from comment(f"The {draft.kind} {draft.name}{start}.")
    yield "#"
    left = unknown(draft, guide)
    if left and base:
        yield from comment(f"Not known yet, so taken as {base.name} has it: {', '.join(left)}.")
        yield from comment(
            "Each of these stands below as a comment. Once you know one, take away the # before its name and write "
            'your own value, with a tolerance, and how you know it: measured "how", published "source". '
            "meltwright worth tells which of them is worth the trouble."
        )
        yield "#"
    if guide.cautions:
        yield from comment("Before you measure:")
        for caution in guide.cautions:
            yield from comment(caution, "- ", "  ")


def _body(draft: Draft, guide: Guide, lacking: list[str]) -> Iterator[str]:
    """Write the items in the guide's order and groups, then what is given besides."""
    group = ""
    for entry in guide.entries.values():
        found = list(_entry(entry, draft, entry.name in lacking))
        if found and entry.group != group:
            group = entry.group
            yield from ["", f"# ---- {group[0].lower()}{group[1:]}", ""]
        yield from found
    others = [name for name in (*draft.values, *lacking) if name not in guide.entries]
    if others:
        yield from ["", "# ---- besides", ""]
    for name in dict.fromkeys(others):
        given = draft.values.get(name)
        yield from [item(given)] if given is not None else _needed(draft, name)


def _entry(entry: Entry, draft: Draft, needed: bool) -> Iterator[str]:
    given = draft.values.get(entry.name)
    if given is not None:
        yield item(given)
        return
    typical = draft.inherited.get(entry.name)
    derived = entry.measurable and entry.name in draft.model.lets
    if typical is None and not needed and not derived:
        return
    yield ""
    yield from comment(draft.model.quantities[entry.name].doc or entry.about)
    for label, said in (("Tool", entry.tool), ("How", entry.how), ("Care", entry.care)):
        if said:
            yield from comment(f"{label}: {said}", "  ", "    ")
    if typical is not None:
        yield f"# {item(typical)}"
    elif needed:
        yield from _needed(draft, entry.name)
        yield from _example(entry)
    else:
        yield from comment("Not given: it follows from a law then.")
        yield from _example(entry)
    yield ""


def _needed(draft: Draft, name: str) -> Iterator[str]:
    quantity = draft.model.quantities[name]
    among = f": {' or '.join(quantity.words)}" if quantity.words else ""
    yield from comment(f"{name} is needed, and nothing says it yet{among}.")


def _example(entry: Entry) -> Iterator[str]:
    evidence = f' {entry.kind} "how"' if entry.kind else ""
    yield from comment(f"To give it, with your own numbers: {entry.name} {entry.value}{evidence}")
