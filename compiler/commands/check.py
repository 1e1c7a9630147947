"""``check``: is the text sound, and is nothing plainly impossible?"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.source import Source
from .reporting import part, report, seen, takes_effort, takes_report, write_reports

if TYPE_CHECKING:
    from ..text.diagnostic import Diagnostic
    from ..text.fixing import Repair


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("check", help="check the text, and that nothing is plainly impossible")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    command.add_argument(
        "--fix",
        action="store_true",
        help="first mend what leaves no doubt, in these files and those of theirs they use",
    )
    command.add_argument(
        "--format", choices=("text", "json", "sarif"), default="text", help="how to tell what was found (default: text)"
    )
    takes_report(command)
    takes_effort(command)
    command.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from ..compiling import look_over

    failed, parts = False, []
    mendable: set[tuple[Path, int, str, str]] = set()
    aloud = options.format == "text"
    for file in options.files:
        repairs, kept = _mend(file, aloud) if options.fix else ([], [])
        checked, machines = look_over(file, options.effort)
        found = [*kept, *checked.diagnostics]
        # A file that could not be read has a place all the same.
        sources = {file.name: Source(file.name, file, ""), **checked.sources}
        parts.append(part(seen(file), machines, found, sources, repairs))
        failed |= any(d.is_error for d in found)
        if aloud:
            report(found, checked.sources, file)
            mendable |= set() if options.fix else _mendable(found, checked.sources)
            if not any(d.is_error for d in found):
                print(f"{file}: sound ({', '.join(machines)})")
    if mendable:
        print(f"{len(mendable)} of these can be mended with --fix", file=sys.stderr)
    if not aloud:
        from ..output.reports import FORMATS

        print(FORMATS[options.format](parts), end="")
    if options.report:
        failed |= write_reports(options.report, parts)
    return 1 if failed else 0


def _mend(file: Path, aloud: bool) -> "tuple[list[Repair], list[Diagnostic]]":
    """Mend a file and what it uses; tell what was done."""
    from ..output.mending import mend_files

    repairs, kept = mend_files(file)
    for repair in repairs if aloud else ():
        line, column = repair.source.line_column(repair.span.start)
        print(f"{seen(repair.source.path)}:{line}:{column}: {repair.title}")
    return repairs, kept


def _mendable(found: "Sequence[Diagnostic]", sources: dict[str, Source]) -> set[tuple[Path, int, str, str]]:
    if not any(d.fixes for d in found):
        return set()
    from ..output.mending import mendable

    return mendable(found, sources)
