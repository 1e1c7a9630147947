"""The terminal face; each command is a module of ``commands``.

Exit codes: 0 good, 1 the text or the request is at fault (diagnostics on standard error), 2 misuse.
"""

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, NoReturn

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
    if not arguments:
        _parser(arguments).print_help(sys.stderr)
        sys.exit(2)
    if arguments[0] == "help":
        arguments = [*arguments[1:], "--help"]
    if arguments[0] not in (*COMMANDS, "-h", "--help", "--version"):
        _no_command(arguments[0])
    options = _options(arguments)
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
        # The terminal shows what was pressed, and stays on that line.
        print("\n" * sys.stderr.isatty() + "stopped; nothing more was written", file=sys.stderr)
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


def _no_command(word: str) -> NoReturn:
    """End because the first word is no command."""
    from .meaning.near import near

    if word.startswith("-"):
        advice = "a command comes first, and then its options: meltwright help"
    elif word.endswith(".melt"):
        advice = f"to look at a file: meltwright check {word}"
    else:
        advice = near(word, COMMANDS, "meltwright help lists them")
    print(f"meltwright: there is no command {word}; {advice}", file=sys.stderr)
    sys.exit(2)


def _options(arguments: Sequence[str]) -> "argparse.Namespace":
    """Read the command line; what is left over is reported with the usage of the command, not of the program."""
    parser = _parser(arguments)
    options, left = parser.parse_known_args(arguments)
    if left:
        for word in arguments:
            inner = [a.choices for a in parser._actions if isinstance(a.choices, dict)]
            parser = inner[0].get(word, parser) if inner else parser
        parser.error(f"this is not understood: {' '.join(left)}")
    return options


def _parser(arguments: Sequence[str]) -> "argparse.ArgumentParser":
    """Make the parser of the command that is asked for, or of all where that is none."""
    import argparse

    parser = argparse.ArgumentParser(
        prog="meltwright",
        description="Derives print settings for filaments and machines from small text files, with reasons.",
        epilog="A first file: meltwright new machine NAME. More of a command: meltwright help COMMAND.",
    )
    parser.add_argument("--version", action="version", version=f"meltwright {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = [name for name in COMMANDS if name in arguments[:1]]
    for name in asked or COMMANDS:
        import_module(f".commands.{name}", __package__).register(commands)
    return parser
