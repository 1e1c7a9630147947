"""``editor``: the language server, for editors; it speaks over standard input and output."""

import argparse
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from ..text.diagnostic import diagnose
from ..text.source import NOWHERE
from .reporting import report

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
        pip = f"{Path(sys.executable).name} -m pip install 'pygls>=2'"
        report([diagnose("M801", NOWHERE, package=missing, command=pip)], {}, Path())
        return 1
    from ..editor.server import start

    start()
    return 0
