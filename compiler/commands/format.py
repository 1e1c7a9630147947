"""``format``: set files in the one layout of the language."""

import argparse
import sys
from pathlib import Path
from typing import Any

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Source, Span
from .reporting import report, seen

_STANDARD = Path("-")
_KEPT = "laid-out"


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser(
        "format",
        help="set files in the one layout of the language",
        description="Sets files in the one layout of the language. What they say and their comments stay.",
    )
    command.add_argument(
        "files",
        nargs="+",
        type=Path,
        metavar="FILE",
        help="a file; - alone reads standard input, writes standard output",
    )
    command.add_argument("--check", action="store_true", help="change nothing; list the files that would change")
    command.set_defaults(run=lambda options: _run(options, command))


def _run(options: argparse.Namespace, command: argparse.ArgumentParser) -> int:
    if _STANDARD not in options.files:
        return max([_format(file, options.check) for file in options.files])
    if len(options.files) > 1:
        command.error("- stands for standard input, and no file can be named beside it")
    return _pass_on(options.check)


def _format(file: Path, check: bool) -> int:
    """Format a file in its place; gives the exit code."""
    from ..meaning.loading import read_bytes
    from ..output.rewriting import rewrite

    faults: list[Diagnostic] = []
    before = read_bytes(file, file.name, NOWHERE, faults)
    after = _formatted(before, file, faults)
    if after is None:
        return 1
    if before == after:
        return 0
    if check:
        print(seen(file))
        return 1
    failed = rewrite(file, after, before)
    if failed:
        report([failed], {}, file)
        return 1
    print(f"{seen(file)}: formatted")
    return 0


def _pass_on(check: bool) -> int:
    """Format standard input to standard output, which gets nothing where there are faults."""
    from ..meaning.loading import LARGEST

    name = Path("standard input")
    faults: list[Diagnostic] = []
    try:
        before = sys.stdin.buffer.read(LARGEST + 1) if sys.stdin else b""
    except OSError as error:
        reason = (error.strerror or "it failed").lower()
        before = b""
        faults.append(diagnose("M105", Span(name.name, 0, 0), path=name, reason=reason))
    if len(before) > LARGEST:
        limit, size = f"{LARGEST:,}", f"more than {LARGEST:,}"
        faults.append(diagnose("M103", Span(name.name, 0, 0), path=name, size=size, limit=limit))
    after = _formatted(before, name, faults)
    if after is None:
        return 1
    if not check:
        sys.stdout.buffer.write(after)
        sys.stdout.buffer.flush()
        return 0
    if before != after:
        print(name)
    return int(before != after)


def _formatted(data: bytes | None, file: Path, faults: list[Diagnostic]) -> bytes | None:
    """Format the bytes of a file; reports faults, those found before too, and gives nothing then.

    That a text is in its layout is kept, once it was proved: then nothing of it need be parsed again.
    """
    from ..meaning.loading import decoded
    from ..text import store

    sources = {}
    text = None if data is None or faults else decoded(data, file.name, NOWHERE, faults)
    if text is not None:
        if store.recall(store.key(_KEPT, text)):
            return text.encode("utf-8")
        from ..syntax.formatting import format_text

        source = Source(file.name, file, text)
        sources[source.name] = source
        text, found = format_text(source)
        faults += found
        if not faults:
            store.keep(store.key(_KEPT, text), True)
    report(faults, sources, file)
    return None if text is None or faults else text.encode("utf-8")
