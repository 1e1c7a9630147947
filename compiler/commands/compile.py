"""``compile``: derive the settings and write the files."""

import argparse
import sys
from pathlib import Path
from typing import Any

from ..text.diagnostic import diagnose
from .reporting import progress, report, seen, takes_effort


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("compile", help="derive the settings and write the files")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write into")
    takes_effort(command)
    command.set_defaults(run=_compile)


def _compile(options: argparse.Namespace) -> int:
    from ..compiling import compile_file
    from ..output.producing import produce, produced_names

    texts: dict[str, str] = {}
    taken: dict[str, Path] = {}
    failed = False
    for file in options.files:
        compiled = compile_file(file, effort=options.effort, progress=progress())
        faults = list(compiled.diagnostics)
        spans = {s.network.profile.name: s.network.profile.span for s in compiled.solutions}
        for name in produced_names(compiled.solutions):
            if name in taken:
                faults.append(diagnose("M604", spans[name], name=name, other=seen(taken[name])))
            taken[name] = file
        if not any(f.is_error for f in faults):
            texts |= produce(compiled.solutions, faults)
        failed |= report(faults, compiled.sources, file)
    if failed:
        print("nothing was written", file=sys.stderr)
        return 1
    from ..output.writing import write_files

    faults = []
    written = write_files(options.out, texts, faults)
    if report(faults, {}, options.out):
        print("nothing was written", file=sys.stderr)
        return 1
    for path in written:
        print(path)
    return 0
