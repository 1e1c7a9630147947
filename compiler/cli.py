"""The terminal face; each command is a module of ``commands``.

Exit codes: 0 good, 1 the text or the request is at fault (diagnostics on standard error), 2 misuse.
"""

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING

from . import __version__

if TYPE_CHECKING:
    import argparse

COMMANDS = (
    "new",
    "compile",
    "check",
    "explain",
    "compare",
    "format",
    "vary",
    "why",
    "worth",
    "target",
    "library",
    "editor",
)
"""Names of modules in ``commands``, in the order of the help; only the one that is asked for is loaded."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program; gives the exit code."""
    arguments = sys.argv[1:] if arguments is None else arguments
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a character must not end the program.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if list(arguments) == ["--version"]:
        # As argparse does it, without loading it.
        print(f"meltwright {__version__}")
        sys.exit(0)
    options = _parser(arguments).parse_args(arguments)
    if not _has_folder():
        return 1
    try:
        code: int = options.run(options)
        if sys.stdout is not None and not sys.stdout.closed:  # a server closes its own
            sys.stdout.flush()
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        if error.filename is not None:
            raise
        # Only a stream has no name: what was told could not be written.
        sys.stdout = None
        _refuse("M603", "standard output", (error.strerror or "it failed").lower(), "make room, or send it elsewhere")
        return 1
    except KeyboardInterrupt:
        print("stopped; nothing more was written", file=sys.stderr)
        return 1
    return code


def _has_folder() -> bool:
    """Tell whether there is a working folder, which paths are told from; report one that was removed."""
    try:
        os.getcwd()
    except OSError:
        reason = "it was removed, or you may not look into it"
        _refuse("M105", "the working folder", reason, "go to another folder with cd")
        return False
    return True


def _refuse(code: str, what: str, reason: str, advice: str) -> None:
    """Report what keeps a command from being carried out."""
    from .text.diagnostic import diagnose, write
    from .text.source import NOWHERE

    print(write([diagnose(code, NOWHERE, help=advice, path=what, reason=reason)], {}), end="", file=sys.stderr)


def _parser(arguments: Sequence[str]) -> "argparse.ArgumentParser":
    """Make the parser of the command that is asked for, or of all where that is none."""
    import argparse

    parser = argparse.ArgumentParser(
        prog="meltwright",
        description="Derives print settings for filaments and machines from small text files, with reasons.",
    )
    parser.add_argument("--version", action="version", version=f"meltwright {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = [name for name in COMMANDS if name in arguments[:1]]
    for name in asked or COMMANDS:
        import_module(f".commands.{name}", __package__).register(commands)
    return parser
