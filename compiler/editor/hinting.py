"""Hints within the text: what the compiler chose for a profile, at the end of the profile's head and of its lines."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..syntax import tree
from ..text.source import Source
from .positions import Position, Range
from .verdicts import Machine
from .workspace import Workspace

MOST_TOLD = 4
"""Machines whose values stand side by side in a hint; of more, the ends are told."""


@dataclass(frozen=True, slots=True)
class Hint:
    """A text that is shown at a place but is not part of the file; ``about`` is shown for it on pointing at it."""

    position: Position
    text: str
    about: str


def hints(workspace: Workspace, path: Path, within: Range) -> list[Hint]:
    """List the hints of a stretch of a file, by the last answers of the solver."""
    path = path.resolve()
    program, verdict = workspace.programs.get(path), workspace.verdicts.get(path)
    if program is None or verdict is None or not verdict.machines:
        return []
    source, file = program.source(path), program.file(path)
    if source is None or file is None:
        return []
    found = []
    for statement in file.statements:
        if isinstance(statement, tree.Entity) and statement.kind == "profile":
            told = [m for m in verdict.machines if m.profile == statement.name.text]
            found += [
                Hint(workspace.placed(source, at, at).start, text, about)
                for at, text, about in _of_profile(statement, told, source)
            ]
    return [h for h in found if within.start <= h.position <= within.end]


def _of_profile(profile: tree.Entity, machines: Sequence[Machine], source: Source) -> Iterator[tuple[int, str, str]]:
    if not machines:
        return
    rows = [f"- {name}: {_texts(machines, name)}" for name in machines[0].settings]
    heads = [f"on {', '.join(m.name for m in machines[:8])}{' and more' if len(machines) > 8 else ''}", ""]
    yield _line_end(source, profile.span.end), f"{_main(machines)}", "\n".join(heads + rows)
    for item in profile.items:
        if isinstance(item, tree.Want) and item.name.text in machines[0].grades:
            parts = [(m.name, m.grades.get(item.name.text, "")) for m in machines]
            bands = list(dict.fromkeys(text.split(" ")[0] for _, text in parts))
            yield _line_end(source, item.span.end), ", ".join(bands), "\n".join(f"- {m}: {t}" for m, t in parts)
        elif isinstance(item, tree.Prefer):
            first = item.names[0].text
            parts = [(m.name, m.values.get(first, "")) for m in machines]
            text = _side_by_side([t for _, t in parts])
            yield _line_end(source, item.span.end), f"{first} {text}", "\n".join(f"- {m}: {t}" for m, t in parts)


def _main(machines: Sequence[Machine]) -> str:
    """Sum the answers up: the settings that a reader looks for first, those chosen by the preferences."""
    chosen = [n for n, s in machines[0].settings.items() if s.how == "by the preferences"]
    names = chosen[:3] or list(machines[0].settings)[:3]
    return "; ".join(f"{n} {_texts(machines, n)}" for n in names)


def _texts(machines: Sequence[Machine], name: str) -> str:
    return _side_by_side([m.settings[name].text for m in machines if name in m.settings])


def _side_by_side(texts: Sequence[str]) -> str:
    """Write values of machines in their order, once where all are alike."""
    different = list(dict.fromkeys(texts))
    if len(different) == 1:
        return different[0]
    shown = texts if len(texts) <= MOST_TOLD else (*texts[:MOST_TOLD], "...")
    return " | ".join(shown)


def _line_end(source: Source, offset: int) -> int:
    """Give the end of the line of a place, before a comment."""
    end = source.text.find("\n", offset)
    line = source.text[offset : len(source.text) if end < 0 else end]
    return offset + len(line.split("#")[0].rstrip())
