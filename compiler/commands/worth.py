"""``worth``: what it is worth to know each input better."""

import argparse
from pathlib import Path
from typing import Any

from .reporting import print_json, progress, report, takes_effort


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("worth", help="tell what knowing each input better is worth")
    command.add_argument("file", type=Path, metavar="FILE")
    command.add_argument("--machine", default="", metavar="NAME", help="only this machine of the profile")
    command.add_argument("--json", action="store_true", help="the same facts for programs")
    takes_effort(command)
    command.set_defaults(run=_worth)


def _worth(options: argparse.Namespace) -> int:
    from ..compiling import compile_file

    compiled = compile_file(options.file, options.machine, options.effort, progress())
    if report(compiled.diagnostics, compiled.sources, options.file):
        return 1
    from ..telling.worth import explain_worth, worth

    found = explain_worth(compiled.solutions, options.effort)
    if options.json:
        print_json({"machines": found})
    else:
        print(worth(found), end="")
    return 0
