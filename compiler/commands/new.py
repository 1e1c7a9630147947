"""``new``: start a text of one's own, by questions or from what is given with the command."""

import argparse
import signal
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .reporting import report, seen, takes_effort

if TYPE_CHECKING:
    from ..meaning.model import EntityDecl
    from ..starting.beginning import Start
    from ..starting.flags import Answers
    from ..starting.sheet import Draft


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

    profile = kinds.add_parser("profile", help="start a profile: what is wanted of a material on machines")
    _takes_name(profile)
    profile.add_argument("--material", default="", metavar="NAME", help="its material, of the library or beside it")
    profile.add_argument("--machines", default="", metavar="NAME,NAME", help="its machines")
    profile.add_argument(
        "--set", dest="sets", action="append", default=[], metavar="'NAME = VALUE'", help="a setting; may be repeated"
    )
    profile.set_defaults(run=_profile)


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
        "--unknown",
        action="append",
        default=[],
        metavar="NAME",
        help="is not known, and not asked for; may be repeated",
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
    request = beginning.Request(options.kind, options.name, _path(options), options.base, flags)
    start = beginning.prepare(request)
    if start.failed:
        return _refuse(start)
    base = beginning.based_on(start, request.base) if request.base is not None else None
    known = beginning.given(start, base)
    found = None
    lines = _Lines()
    if not start.failed:
        found = _asked(start, base, known, lines) if _at_terminal() else _unasked(start, base, known)
    if found is None:
        return _refuse(start)
    start, draft = found
    if lines.broken_off and draft.values.keys() == known.values.keys():
        raise KeyboardInterrupt  # Nothing was answered that could be lost.
    names = beginning.missing(draft)
    text = beginning.text_of(start, draft, names)
    if start.failed or not write_new(request.path, text, start.faults):
        return _refuse(start)
    for note in known.notes:
        print(note)
    print(f"{seen(request.path)}: written")
    if names:
        print(f"still needed before anything can be derived: {', '.join(names)}")
    if lines.broken_off:
        print("stopped; what was answered is in the file", file=sys.stderr)
        return 1
    if names:
        return 0
    return 1 if not options.no_costs and _costs(options, start, draft) else 0


def _profile(options: argparse.Namespace) -> int:
    from ..starting import profile
    from ..starting.placing import write_new
    from ..starting.talking import Talk

    machines = tuple(part.strip() for part in options.machines.split(",")) if options.machines else ()
    request = profile.Request(options.name, _path(options), options.material, machines, options.sets)
    start = profile.prepare(request)
    if not start.failed and _at_terminal() and not (request.material and request.machines):
        start = profile.prepare(profile.converse(start, request, Talk(_lines(), _say)))
        print()
    text = "" if start.failed else profile.text_of(start)
    if start.failed or not write_new(request.path, text, start.faults):
        return _report(start.faults, start.sources, request.path)
    print(f"{seen(request.path)}: written")
    for path in start.left_out:
        print(f"{seen(path)} has faults, so it was left out: meltwright check {seen(path)}")
    return 0


def _unasked(start: "Start", base: "EntityDecl | None", known: "Answers") -> "tuple[Start, Draft] | None":
    """Make a draft of what is given with the command; None where something is missing, which is reported."""
    from ..starting import beginning

    if start.request.base is None:
        beginning.refuse_base(start)
        return None
    draft = beginning.drafted(start, base, known)
    names = beginning.missing(draft)
    if names:
        beginning.refuse_missing(start, draft, names)
        return None
    return start, draft


def _asked(
    start: "Start", base: "EntityDecl | None", known: "Answers", lines: "_Lines"
) -> "tuple[Start, Draft] | None":
    """Make a draft by asking in the terminal; None where it was stopped before anything was known."""
    from ..starting.conversing import converse
    from ..starting.talking import Talk

    with lines:
        found = converse(start, base, known, Talk(lines, _say))
    if found is None:
        print("stopped; nothing was written", file=sys.stderr)
    else:
        print()
    return found


def _at_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty()


def _lines() -> Iterator[str]:
    if hasattr(sys.stdin, "reconfigure"):
        # What is no text is shown as such, and must not end the program.
        sys.stdin.reconfigure(errors="replace")
    for line in sys.stdin:
        yield line.rstrip("\r\n")


class _Lines:
    """Lines as they are typed; breaking off (Ctrl-C) ends them as ``stop`` does, so that no answer is lost.

    Between ``with`` and its end breaking off is heard at any moment, and ends only the waiting for a line.
    """

    def __init__(self) -> None:
        self.broken_off = False
        self._waiting = False
        self._typed = _lines()

    def __enter__(self) -> "_Lines":
        self._before = signal.signal(signal.SIGINT, self._break_off)
        return self

    def __exit__(self, *exception: object) -> None:
        signal.signal(signal.SIGINT, self._before)

    def _break_off(self, number: int, frame: object) -> None:
        self.broken_off = True
        if self._waiting:
            raise KeyboardInterrupt

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        try:
            self._waiting = True
            if self.broken_off:
                raise StopIteration
            return next(self._typed)
        except KeyboardInterrupt:
            raise StopIteration from None
        finally:
            self._waiting = False


def _say(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def _costs(options: argparse.Namespace, start: "Start", draft: "Draft") -> int:
    """Tell what each unknown costs; the file is written already."""
    from ..starting.cost_text import told
    from ..starting.costs import Unknowns, costs
    from ..starting.sheet import unknown

    asked = Unknowns(start.request.path, draft.kind, draft.name, unknown(draft, start.guide), options.profile)
    if not asked.unknown:
        return 0
    if _at_terminal():
        _say("working out what each unknown costs ...\n")
    found = costs(asked, options.effort)
    text = told(found, start.guide.entries)
    if report(found.faults, found.sources, options.profile or start.request.path):
        return 1
    print()
    print(text, end="")
    return 0


def _refuse(start: "Start") -> int:
    return _report(start.faults, start.sources, start.request.path)


def _report(faults: list[Diagnostic], sources: Mapping[str, Source], path: Path) -> int:
    report(faults, dict(sources), path)
    return 1
