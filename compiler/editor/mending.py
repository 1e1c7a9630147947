"""Quick fixes: the cures that reports bring, at the places that they are about."""

from dataclasses import dataclass
from pathlib import Path

from .positions import Range
from .reports import Cure, Report
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


def _meet(one: Range, other: Range) -> bool:
    return one.start <= other.end and other.start <= one.end
