"""``compile``: derive the settings and write the files."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic, diagnose
from .reporting import progress, report, seen, takes_effort

if TYPE_CHECKING:
    from ..compiling import Prepared
    from ..output.producing import Producer
    from ..output.resuming import Record
    from ..output.writing import Staging
    from ..telling.solution import Solution

FEW_FILES = 60
"""Up to so many files are listed one by one."""


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("compile", help="derive the settings and write the files")
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write into")
    command.add_argument(
        "--resume",
        action="store_true",
        help="put files in place as machines are done, and go on where an interrupted run of the same sources ended",
    )
    takes_effort(command)
    command.set_defaults(run=_compile)


def _compile(options: argparse.Namespace) -> int:
    from ..output.writing import Staging

    written: list[Path] = []
    taken: dict[str, Path] = {}
    failed = False
    with Staging(options.out) as staging:
        for file in options.files:
            run = _Run(options, file, staging)
            run.prepare(taken)
            if not run.prepared.failed:
                run.make()
            written += run.written
            failed |= report(run.diagnostics(), run.prepared.sources, file)
        if not failed and not options.resume:
            faults: list[Diagnostic] = []
            written = staging.put(faults)
            failed = report(faults, {}, options.out)
    if failed:
        print(f"{len(written)} files were written" if written else "nothing was written", file=sys.stderr)
        return 1
    _list(written, options.out)
    return 0


def _list(written: Sequence[Path], folder: Path) -> None:
    if len(written) <= FEW_FILES:
        for path in written:
            print(path)
    else:
        print(f"{folder}: {len(written):,} files")


class _Run:
    """One file on its way: machines are made part by part, then what is told of all of them."""

    def __init__(self, options: argparse.Namespace, file: Path, staging: "Staging") -> None:
        self.resume, self.effort, self.out = options.resume, options.effort, options.out
        self.file = file
        self.staging = staging
        self.prepared: Prepared
        self.written: list[Path] = []
        self.records: dict[str, Record] = {}

    def prepare(self, taken: dict[str, Path]) -> None:
        """Read and check the file; two files must not write the same profile."""
        from ..compiling import prepare

        self.prepared = prepare(self.file)
        for profile in {n.profile.name: n.profile for n in self.prepared.networks}.values():
            if profile.name in taken:
                other = seen(taken[profile.name])
                self.prepared.faults.append(diagnose("M604", profile.span, name=profile.name, other=other))
            taken[profile.name] = self.file

    def diagnostics(self) -> Sequence[Diagnostic]:
        """Give what is to be reported, in order."""
        return self.prepared.compiled().diagnostics

    def make(self) -> None:
        """Solve what is left to do, and write it."""
        from ..compiling import solve_in_turn
        from ..output.producing import Producer

        faults, networks = self.prepared.faults, self.prepared.networks
        producer = Producer(faults)
        if self.resume:
            self._recall(producer)
            networks = [n for n in networks if n.machine not in producer.briefs[n.profile.name]]
        for solutions in solve_in_turn(self.prepared, networks, self.effort, progress()):
            if self.resume or not self.prepared.failed:
                self._take(producer, solutions)
        if not self.prepared.failed:
            order = {n.machine: k for k, n in enumerate(self.prepared.networks)}
            if self._stage(producer.profile_files(order)) and self.resume:
                for record in self.records.values():
                    record.remove()

    def _take(self, producer: "Producer", solutions: Sequence["Solution"]) -> None:
        """Render a part of the machines, and put it in place where that may be."""
        made = producer.machine_files(solutions)
        texts = {path: text for files in made.values() for path, text in files.items()}
        if not self._stage(texts) or not self.resume:
            return
        parts: dict[str, dict[str, Any]] = {}
        for (profile, machine), files in made.items():
            parts.setdefault(profile, {})[machine] = list(files), producer.briefs[profile][machine]
        for profile, machines in parts.items():
            self.records[profile].add(machines, self.prepared.faults)

    def _stage(self, texts: dict[str, str]) -> bool:
        if not self.staging.stage(texts, self.prepared.faults):
            return False
        if self.resume:
            put = self.staging.put(self.prepared.faults)
            self.written += put
            return len(put) == len(texts)
        return True

    def _recall(self, producer: "Producer") -> None:
        """Take in what an earlier run has made."""
        from ..output.resuming import Record, digest

        key = digest(self.prepared.sources, self.effort)
        producer.materials |= {n.profile.name: n.material for n in self.prepared.networks}
        for profile in producer.materials:
            record = self.records[profile] = Record(self.out, profile, key)
            producer.briefs[profile] = record.read()
