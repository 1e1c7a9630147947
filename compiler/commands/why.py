"""``why``: explain a setting, or why it is not another value."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic
from .reporting import print_json, progress, report, takes_effort

if TYPE_CHECKING:
    from ..compiling import Compiled


def register(commands: Any) -> None:
    """Add the command to the parser."""
    why = commands.add_parser("why", help="explain a setting")
    why.add_argument("file", type=Path, metavar="FILE")
    why.add_argument("setting", metavar="SETTING", help="a setting's name, with its group; or: not 'SETTING = VALUE'")
    why.add_argument("value", nargs="?", default="", metavar="'SETTING = VALUE'", help="after not: the value to try")
    why.add_argument("--machine", default="", metavar="NAME", help="only this machine of the profile")
    why.add_argument("--json", action="store_true", help="the same facts for programs")
    takes_effort(why)
    why.set_defaults(run=_why)


def _why(options: argparse.Namespace) -> int:
    from ..compiling import compile_file

    refused = options.setting == "not"
    if refused != bool(options.value):
        print("meltwright why: write SETTING, or: not 'SETTING = VALUE'", file=sys.stderr)
        return 2
    named = "" if refused else options.setting
    compiled = compile_file(options.file, options.machine, options.effort, progress(), named)
    if report(compiled.diagnostics, compiled.sources, options.file):
        return 1
    if refused:
        return _why_not(options, compiled)
    from ..telling.why import explain, why

    found = [explain(s, options.setting) for s in compiled.solutions]
    if options.json:
        print_json({"setting": options.setting, "machines": found})
    else:
        print(why(found), end="")
    return 0


def _why_not(options: argparse.Namespace, compiled: "Compiled") -> int:
    from ..meaning.asking import asked_pin
    from ..telling.why_not import explain_not, why_not

    faults: list[Diagnostic] = []
    pin, source = asked_pin(options.value, compiled.solutions[0].model, faults)
    if pin is None or faults:
        report(faults, {**compiled.sources, source.name: source}, options.file)
        return 1
    found = explain_not(compiled.solutions, pin, options.effort)
    if options.json:
        print_json({"setting": pin.name, "machines": found})
    else:
        print(why_not(found), end="")
    return 0
