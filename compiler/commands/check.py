"""``check``: is the text sound, and is nothing plainly impossible?"""

import argparse
from pathlib import Path
from typing import Any

from .reporting import report, takes_effort


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("check", help="check the text, and that nothing is plainly impossible")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    takes_effort(command)
    command.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from ..compiling import look_over

    failed = False
    for file in options.files:
        checked, machines = look_over(file, options.effort)
        if report(checked.diagnostics, checked.sources, file):
            failed = True
        else:
            print(f"{file}: sound ({', '.join(machines)})")
    return 1 if failed else 0
