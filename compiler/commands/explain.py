"""``explain``: what a code means, an example of it, and how to mend it."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from .reporting import print_json

if TYPE_CHECKING:
    from ..compiling import Compiled
    from ..text.page import Page


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("explain", help="tell what a code means, and how to mend such a fault")
    command.add_argument("asked", nargs="?", default="", metavar="CODE|SLUG", help="without one, all codes are listed")
    shape = command.add_mutually_exclusive_group()
    shape.add_argument("--json", action="store_true", help="the same facts for programs")
    shape.add_argument("--markdown", action="store_true", help="as a page")
    command.set_defaults(run=_explain)


def _explain(options: argparse.Namespace) -> int:
    from ..telling import codes
    from ..text.page import page_of

    if not options.asked:
        if options.json:
            print_json(codes.listing_data())
        else:
            print(codes.listing_markdown() if options.markdown else codes.listing(), end="")
        return 0
    code = _code(options.asked)
    if not code:
        return 1
    page = page_of(code)
    said = "" if page is None else said_of(page)
    if options.json:
        print_json(codes.page_data(code, page, said))
    else:
        write = codes.page_markdown if options.markdown else codes.page_text
        print(write(code, page, said), end="")
    return 0


def _code(asked: str) -> str:
    """Find the code that is meant by a code or a slug; nothing after reporting that there is none."""
    from ..text.catalogue import CATALOGUE

    named = {entry.slug: code for code, entry in CATALOGUE.items()} | {code.lower(): code for code in CATALOGUE}
    word = asked.strip().lower()
    if word in named:
        return named[word]
    from ..meaning.near import brief, near
    from ..text.diagnostic import diagnose, write
    from ..text.joining import listed
    from ..text.source import NOWHERE

    alike = sorted(code for code in CATALOGUE if code.lower().startswith(word[:3]) and len(word) > 2)
    advice = near(word, (entry.slug for entry in CATALOGUE.values()), "to see all codes, run: meltwright explain")
    if alike:
        advice = f"those that begin with {alike[0][:3]} are {listed(alike, 'and')}"
    fault = diagnose("M432", NOWHERE, name=brief(asked), near=advice)
    print(write([fault], {}), end="", file=sys.stderr)
    return ""


def said_of(page: "Page") -> str:
    """Check the example of a page, as the command would; nothing where the page itself tells what is printed."""
    from ..text.diagnostic import write

    if page.commands:
        return ""
    try:
        found = examine({name: fence.text for name, fence in page.files.items()})
    except OSError:
        # Where nothing can be written for a moment, the page is told without it.
        return ""
    return write(found.diagnostics, found.sources)


def examine(texts: dict[str, str]) -> "Compiled":
    """Check the first of some files in a folder of their own."""
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from ..compiling import look_over

    with TemporaryDirectory(prefix="meltwright-") as made:
        folder = Path(made)
        for name, text in texts.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        return look_over(folder / next(iter(texts)))[0]
