"""``why``: explain a setting, why it is not another value, or how an input bears on it."""

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
    why.add_argument(
        "--from", dest="start", default="", metavar="NAME", help="how this quantity or setting bears on the setting"
    )
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
    if options.start and refused:
        print("meltwright why: --from goes with SETTING, not with: not 'SETTING = VALUE'", file=sys.stderr)
        return 2
    if options.start:
        return _why_from(options)
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


def _why_from(options: argparse.Namespace) -> int:
    from ..compiling import prepare

    prepared = prepare(options.file, options.machine, options.setting)
    if prepared.model is not None and not prepared.failed:
        from ..telling.linking import startable

        startable(prepared.model, options.start, options.setting, prepared.faults)
    compiled = prepared.compiled()
    if report(compiled.diagnostics, compiled.sources, options.file) or prepared.model is None:
        return 1
    from ..telling.linking import link_up, linked

    found = link_up(prepared.model, prepared.networks, options.setting, options.start)
    if options.json:
        print_json({"setting": options.setting, "from": options.start, "machines": found})
    else:
        print(linked(found, options.setting, options.start), end="")
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
