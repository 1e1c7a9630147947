"""``why``: explain a setting, or why it is not another value."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic
from .reporting import progress, report, takes_effort

if TYPE_CHECKING:
    from ..compiling import Compiled


def register(commands: Any) -> None:
    """Add the command to the parser."""
    why = commands.add_parser("why", help="explain a setting")
    why.add_argument("file", type=Path, metavar="FILE")
    why.add_argument("setting", metavar="SETTING", help="a setting's name, with its group; or: not 'SETTING = VALUE'")
    why.add_argument("value", nargs="?", default="", metavar="'SETTING = VALUE'", help="after not: the value to try")
    why.add_argument("--machine", default="", metavar="NAME", help="only this machine of the profile")
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
        return _why_not(options.value, compiled, options.file)
    from ..telling.bundle import bundle
    from ..telling.why import why

    print(why([bundle(s) for s in compiled.solutions], options.setting), end="")
    return 0


def _why_not(text: str, compiled: "Compiled", file: Path) -> int:
    from ..meaning.profiles import asked_pin
    from ..telling.why_not import why_not

    faults: list[Diagnostic] = []
    pin, source = asked_pin(text, compiled.solutions[0].model, faults)
    if pin is None or faults:
        report(faults, {**compiled.sources, source.name: source}, file)
        return 1
    print(why_not(list(compiled.solutions), pin), end="")
    return 0
