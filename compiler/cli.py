"""The terminal face; each command is a module of ``commands``.

Exit codes: 0 good, 1 the text or the request is at fault (diagnostics on standard error), 2 misuse.
"""

import argparse
import sys
from collections.abc import Sequence

from . import __version__
from .commands import check, compare, compile, explain, format, library, new, target, vary, why, worth

COMMANDS = (new, compile, check, explain, compare, format, vary, why, worth, target, library)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program; gives the exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a character must not end the program.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    options = _parser().parse_args(arguments)
    try:
        code: int = options.run(options)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("stopped; nothing more was written", file=sys.stderr)
        return 1
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="meltwright",
        description="Derives print settings for filaments and machines from small text files, with reasons.",
    )
    parser.add_argument("--version", action="version", version=f"meltwright {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.register(commands)
    return parser
