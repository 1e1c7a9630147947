"""Quick fixes: the cures that reports bring, at the places that they are about."""

from dataclasses import dataclass
from pathlib import Path

from ..text.fixing import chosen
from .positions import Range
from .reports import Cure, Report, TextEdit
from .workspace import Workspace


@dataclass(frozen=True, slots=True)
class Mending:
    """A cure and the report that brings it; ``preferred`` is the first safe one of its report."""

    cure: Cure
    report: Report
    preferred: bool


def mendings(workspace: Workspace, path: Path, range: Range) -> list[Mending]:
    """List the cures for what is reported at a stretch of a file."""
    found = []
    for report in workspace.reports().get(path.resolve(), ()):
        if _meet(report.range, range):
            best = next((c for c in report.cures if c.safe), None)
            found += [Mending(cure, report, cure is best) for cure in report.cures]
    return found


def mend_all(workspace: Workspace, path: Path) -> list[TextEdit]:
    """Give the edits of all cures of a file that leave no doubt, those that ``check --fix`` would make there."""
    program = workspace.program(path)
    name = program.names.get(path.resolve()) if program is not None else None
    if program is None or name is None:
        return []
    edits = dict.fromkeys(edit for _, fix in chosen(program.found, {name}) for edit in fix.edits)
    source = program.sources[name]
    return [TextEdit(source.path, workspace.placed(source, e.span.start, e.span.end), e.text) for e in edits]


def _meet(one: Range, other: Range) -> bool:
    return one.start <= other.end and other.start <= one.end
