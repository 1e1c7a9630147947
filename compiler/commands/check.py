"""``check``: is the text sound, and is nothing plainly impossible?"""

import argparse
from pathlib import Path
from typing import Any

from ..text.source import Source
from .reporting import part, report, seen, takes_effort, takes_report, write_reports


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("check", help="check the text, and that nothing is plainly impossible")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    takes_report(command)
    takes_effort(command)
    command.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from ..compiling import look_over

    failed, parts = False, []
    for file in options.files:
        checked, machines = look_over(file, options.effort)
        # A file that could not be read has a place all the same.
        sources = {file.name: Source(file.name, file, ""), **checked.sources}
        parts.append(part(seen(file), machines, checked.diagnostics, sources))
        if report(checked.diagnostics, checked.sources, file):
            failed = True
        else:
            print(f"{file}: sound ({', '.join(machines)})")
    if options.report:
        failed |= write_reports(options.report, parts)
    return 1 if failed else 0
