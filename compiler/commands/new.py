"""``new``: start a text of one's own, by questions or from what is given with the command."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .reporting import report, seen, takes_effort

if TYPE_CHECKING:
    from ..starting.beginning import Start


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser(
        "new",
        help="start a profile, material or machine",
        description="Writes a file to fill in. In a terminal it asks for what is known; no file is written over.",
    )
    kinds = command.add_subparsers(dest="kind", required=True, metavar="KIND")
    for kind, base in (("machine", "CLASS"), ("material", "FAMILY")):
        _takes_entity(kinds.add_parser(kind, help=f"start a {kind} from what is known of it"), kind, base)


def _takes_entity(command: argparse.ArgumentParser, kind: str, base: str) -> None:
    _takes_name(command)
    command.add_argument("--from", dest="base", metavar=base, help=f"the {kind} it starts from; none: from nothing")
    command.add_argument(
        "--set",
        dest="sets",
        action="append",
        default=[],
        metavar="'NAME = VALUE'",
        help="what is known, like 'gap = 6 ± 0.5 mm', and how if you like: measured \"...\"; may be repeated",
    )
    command.add_argument(
        "--measured",
        action="append",
        default=[],
        metavar="'NAME = HOW'",
        help="how a value that is set was measured; may be repeated",
    )
    command.add_argument(
        "--unknown", action="append", default=[], metavar="NAME", help="is not known, and not asked for; may be repeated"
    )
    command.add_argument("--no-costs", action="store_true", help="do not work out what each unknown costs")
    command.add_argument("--profile", type=Path, metavar="FILE", help="work that out for the profile in this file")
    takes_effort(command)
    command.set_defaults(run=_entity)


def _takes_name(command: argparse.ArgumentParser) -> None:
    command.add_argument("name", metavar="NAME")
    command.add_argument("--out", type=Path, metavar="FILE", help="the file to write, instead of NAME.melt here")


def _path(options: argparse.Namespace) -> Path:
    return options.out if options.out is not None else Path(f"{options.name}.melt")


def _entity(options: argparse.Namespace) -> int:
    from ..starting import beginning
    from ..starting.flags import Flags
    from ..starting.placing import write_new

    flags = Flags(options.sets, options.measured, options.unknown)
    path = _path(options)
    start = beginning.prepare(beginning.Request(options.kind, options.name, path, options.base, flags))
    if start.failed:
        return _refuse(start)
    known = beginning.given(start)
    base = None
    if start.request.base is None:
        beginning.refuse_base(start)
    else:
        base = beginning.based_on(start, start.request.base)
    if start.failed:
        return _refuse(start)
    draft = beginning.drafted(start, base, known)
    names = beginning.missing(draft)
    if names:
        beginning.refuse_missing(start, draft, names)
        return _refuse(start)
    text = beginning.text_of(start, draft, names)
    if start.failed or not write_new(path, text, start.faults):
        return _refuse(start)
    for note in known.notes:
        print(note)
    print(f"{seen(path)}: written")
    return 0


def _refuse(start: "Start") -> int:
    return _report(start.faults, start.sources, start.request.path)


def _report(faults: list[Diagnostic], sources: Mapping[str, Source], path: Path) -> int:
    report(faults, dict(sources), path)
    return 1
