"""What the commands share: reports, paths as seen, progress, and the options for effort, targets and reports."""

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from ..text.diagnostic import Diagnostic, write
from ..text.source import Source, Span

if TYPE_CHECKING:
    from ..output.reports import Part
    from ..text.fixing import Repair


_NARROWEST, _WIDEST = 60, 110
"""Columns of a report on a terminal."""


def takes_effort(command: argparse.ArgumentParser) -> None:
    """Give a command the option that limits its search."""
    command.add_argument("--effort", type=_effort, default=0, metavar="BOXES", help="how long to search, in boxes")


def takes_report(command: argparse.ArgumentParser) -> None:
    """Give a command the option that writes what it found for other programs."""
    command.add_argument(
        "--report",
        type=_report,
        action="append",
        default=[],
        metavar="FILE",
        help="write what was found: JUnit XML (.xml), SARIF (.sarif) or JSON (.json), by its ending; may be repeated",
    )


def _report(text: str) -> Path:
    from ..output.reports import ENDINGS

    if not text.lower().endswith(tuple(ENDINGS)):
        raise argparse.ArgumentTypeError(f"{text!r} does not end in {' or '.join(ENDINGS)}")
    return Path(text)


def part(
    name: str,
    cases: Sequence[str],
    found: Sequence[Diagnostic],
    sources: Mapping[str, Source],
    repairs: "Sequence[Repair]" = (),
) -> "Part":
    """Gather what a report tells of a file or folder."""
    from ..output.reports import Part

    return Part(name, tuple(cases), tuple(found), sources, tuple(repairs))


def write_reports(files: Sequence[Path], parts: Sequence["Part"]) -> bool:
    """Write the reports that were asked for; tell whether that failed."""
    from ..output.reports import report_text
    from ..output.writing import write_files

    faults: list[Diagnostic] = []
    for file in dict.fromkeys(files):
        write_files(file.parent, {file.name: report_text(file, parts)}, faults)
    faults = [replace(f, help="name another file for the report") for f in faults]
    return report(faults, {}, Path())


def _effort(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 up")
    return int(text)


def report(diagnostics: Sequence[Diagnostic], sources: dict[str, Source], file: Path) -> bool:
    """Write diagnostics to standard error; tell whether any is an error."""
    if diagnostics:
        shown = {name: seen(source.path) for name, source in sources.items()}
        shown[file.name] = seen(file)
        at_hand = {shown[name]: source for name, source in sources.items()}
        print(write([_moved(d, shown) for d in diagnostics], at_hand, _width()), file=sys.stderr)
    errors = sum(d.is_error for d in diagnostics)
    if errors:
        first = next(d for d in diagnostics if d.is_error)
        print(f"meltwright explain {first.code} tells more", file=sys.stderr)
        print(f"{seen(file)}: {errors} {'error' if errors == 1 else 'errors'}", file=sys.stderr)
    return errors > 0


def _width() -> int:
    """Give the width of reports: that of the terminal, up to what reads well; no limit where there is no terminal."""
    if not sys.stderr.isatty():
        return 0
    from shutil import get_terminal_size

    return max(_NARROWEST, min(get_terminal_size().columns, _WIDEST))


def print_json(data: Mapping[str, Any]) -> None:
    """Write data for programs, with a stable layout."""
    import json

    print(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def _moved(d: Diagnostic, shown: Mapping[str, str]) -> Diagnostic:
    """Name the places of a diagnostic as they are seen from the working folder."""

    def moved(span: Span) -> Span:
        return replace(span, file=shown.get(span.file, span.file))

    return d.placed(moved)


def seen(path: Path) -> str:
    """Give a path as it can be opened from the working folder; far files keep their whole path."""
    try:
        relative = os.path.relpath(path)
    except (OSError, ValueError):
        return str(path)
    far = relative.split(os.sep)[:3] == [os.pardir] * 3
    return os.path.abspath(path) if far else relative


class _Line:
    """A progress line on a terminal, shown once more than a second of work is seen to be left."""

    def __init__(self, stream: TextIO) -> None:
        from time import monotonic

        self._stream = stream
        self._clock = monotonic
        self._start = monotonic()
        self._shown = False

    def __call__(self, done: int, total: int) -> None:
        spent = self._clock() - self._start
        left = spent / done * (total - done) if done else 0.0
        if done == total:
            if self._shown:
                self._stream.write("\r\x1b[K")
        elif self._shown or left > 1.0:
            self._shown = True
            self._stream.write(f"\r\x1b[K{done} of {total} machines, about {left:.0f} s left")
        self._stream.flush()


def progress() -> _Line | None:
    """Give a progress line where somebody can see it."""
    return _Line(sys.stderr) if sys.stderr.isatty() else None
