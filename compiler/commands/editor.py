"""``editor``: the language server, for editors; it speaks over standard input and output."""

import argparse
import shlex
import sys
from importlib.util import find_spec
from typing import Any

from ..text.diagnostic import diagnose, write
from ..text.source import NOWHERE

NEEDS = ("pygls", "lsprotocol")
"""Packages of the extra ``editor``."""


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("editor", help="serve an editor: faults as one types, and answers about the text")
    # Editors add it to the command of a server by themselves.
    command.add_argument("--stdio", action="store_true", help="over standard input and output, as it always is")
    command.set_defaults(run=_editor)


def _editor(options: argparse.Namespace) -> int:
    missing = next((name for name in NEEDS if find_spec(name) is None), None)
    if missing is not None:
        pip = f"{shlex.quote(sys.executable)} -m pip install 'pygls>=2'"
        print(write([diagnose("M820", NOWHERE, package=missing, command=pip)], {}), end="", file=sys.stderr)
        return 1
    from ..editor.server import start

    start()
    return 0
