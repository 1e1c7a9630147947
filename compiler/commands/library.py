"""``library``: what the library covers, made from its own text."""

import argparse
from pathlib import Path
from typing import Any

from ..text.diagnostic import Diagnostic
from .reporting import print_json, report


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("library", help="show what the library covers, and where it is known from")
    command.add_argument(
        "asked",
        nargs="*",
        metavar="KIND|NAME",
        help="quantities, settings, laws, grades, merits, materials, machines, or the name of one entry",
    )
    command.add_argument(
        "--file",
        dest="files",
        action="append",
        default=[],
        type=Path,
        metavar="FILE",
        help="a file of your own beside the library; may be repeated",
    )
    shape = command.add_mutually_exclusive_group()
    shape.add_argument("--json", action="store_true", help="the same facts for programs")
    shape.add_argument("--markdown", action="store_true", help="as a page")
    command.set_defaults(run=_library)


def _library(options: argparse.Namespace) -> int:
    from ..meaning.checking import check_library
    from ..meaning.loading import library_folder

    first = options.files[0] if options.files else library_folder()
    model, found, sources = check_library(options.files)
    if report(found, sources, first) or model is None:
        return 1
    from ..telling.coverage import coverage, select

    faults: list[Diagnostic] = []
    page = coverage(model)
    kinds, named = select(page, options.asked, faults)
    text = ""
    if not faults and options.markdown:
        from ..output.paging import page_text

        text = page_text({**named, **kinds} if options.asked else page, faults)
    if report(faults, sources, first):
        return 1
    if options.json:
        print_json({**named, **kinds} if options.asked else page)
    elif options.markdown:
        print(text, end="")
    elif options.asked:
        from ..telling import covering

        parts = [covering.listing(kind, entries) for kind, entries in kinds.items()]
        parts += [covering.entry(kind, e) for kind, entries in named.items() for e in entries]
        print("\n".join(parts), end="")
    else:
        from ..telling.covering import summary

        print(summary(page), end="")
    return 0
