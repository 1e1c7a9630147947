"""``compare``: what changes between two texts, two revisions or two results, and what caused it."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import write
from ..text.source import Source, Span
from .reporting import print_json, seen, takes_effort

if TYPE_CHECKING:
    from ..comparing.sides import Fault, Request, Side


HELP = """\
A side is a profile file, a folder of such files, a folder that 'compile' wrote into, or one file of it.
With --from, one path is given, and its text at that git revision is compared with the working tree, or with --to:
  meltwright compare shop/job.melt --from HEAD~1
  meltwright compare shop --from main --to new_filament --markdown
Layout, comments and order are no change. Nothing is written, and the repository is only read.
"""


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser(
        "compare",
        help="tell what changes between two texts or revisions, and why",
        epilog=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("old", type=Path, metavar="OLD", help="file or folder; with --from, the only one")
    command.add_argument("new", type=Path, nargs="?", metavar="NEW", help="file or folder to compare with")
    command.add_argument("--from", dest="since", default="", metavar="REV", help="git revision of the old side")
    command.add_argument("--to", dest="until", default="", metavar="REV", help="git revision of the new side")
    command.add_argument("--machine", default="", metavar="NAME", help="only this machine")
    command.add_argument("--expect-same", action="store_true", help="end with 1 where any result changes")
    form = command.add_mutually_exclusive_group()
    form.add_argument("--markdown", action="store_true", help="write Markdown, for a review")
    form.add_argument("--json", action="store_true", help="write the same facts for programs")
    takes_effort(command)
    command.set_defaults(run=_compare, misuse=command.error)


def _compare(options: argparse.Namespace) -> int:
    if options.until and not options.since:
        options.misuse("--to goes with --from")
    if (options.new is None) != bool(options.since):
        options.misuse("give two paths, or one path and --from REV")
    from ..comparing.comparison import compare
    from ..comparing.sides import Request, read_sides

    request = Request(options.old, options.new or options.old, options.since, options.until, options.machine)
    faults: list[Fault] = []
    # The scratch folder is removed whatever happens, so reports must be written inside.
    with TemporaryDirectory(prefix="meltwright-") as scratch:
        sides = read_sides(request, Path(scratch).resolve(), faults)
        data = compare(*sides, options.machine, options.effort, faults) if sides and not faults else {}
        if faults:
            _report(faults, request)
            return 1
    if options.json:
        print_json(data)
    else:
        from ..comparing.writing import markdown, text

        print((markdown if options.markdown else text)(data), end="")
    if options.expect_same and not data["same"]:
        print("something changed, and nothing was expected to", file=sys.stderr)
        return 1
    return 0


def _report(faults: Sequence["Fault"], request: "Request") -> None:
    """Write diagnostics, the places in each side's text named so that one knows whose they are."""
    written = []
    for fault in faults:
        # What is said of a side as a whole points at the word that names it.
        word = fault.side.name if fault.side else request.machine
        shown = {request.line.name: request.line}
        names: dict[str, str] = {}
        if fault.side is not None and fault.text is not None:
            for name, source in fault.text.prepared.sources.items():
                names[name] = _named(fault.side, source)
                shown[names[name]] = source

        def at(span: Span, names: dict[str, str] = names, word: str = word) -> Span:
            if span == Span(request.line.name, 0, 0):
                return request.at(word)
            return replace(span, file=names.get(span.file, span.file))

        written.append(write([d.placed(at) for d in fault.diagnostics], shown))
    print("\n".join(written), end="", file=sys.stderr)


def _named(side: "Side", source: Source) -> str:
    if side.commit:
        return f"{side.name}:{side.shown(source)}"
    return seen(source.path)
