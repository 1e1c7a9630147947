"""``compile``: derive the settings and write the files, or compare them with those that are kept."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source
from .reporting import part, progress, report, seen, takes_effort, takes_report, write_reports

if TYPE_CHECKING:
    from ..compiling import Prepared
    from ..output.comparing import Comparing
    from ..output.producing import Producer
    from ..output.reports import Part
    from ..output.resuming import Record
    from ..output.targets import Target
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
        "--targets",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="write by the target in this folder too, or by every target in it (may be repeated)",
    )
    command.add_argument(
        "--only", action="append", default=[], metavar="TARGET", help="of all targets write this one (may be repeated)"
    )
    how = command.add_mutually_exclusive_group()
    how.add_argument(
        "--resume",
        action="store_true",
        help="put files in place as machines are done, and go on where an interrupted run of the same sources ended",
    )
    how.add_argument(
        "--check",
        action="store_true",
        help="write nothing, and fail where the files in the folder are not what the sources give",
    )
    takes_report(command)
    takes_effort(command)
    command.set_defaults(run=_compile)


def _compile(options: argparse.Namespace) -> int:
    from ..output.comparing import Comparing
    from ..output.targets import choose_targets
    from ..output.writing import Staging

    faults: list[Diagnostic] = []
    sources: dict[str, Source] = {}
    targets = choose_targets(options.targets, options.only, faults, sources)
    if any(f.is_error for f in faults):
        return _ended(options, [], [_part(options.out, (), faults, sources)])
    written: list[Path] = []
    taken: dict[str, Path] = {}
    told: set[Diagnostic] = set()
    parts: list[Part] = []
    comparing = Comparing(options.out, _command(options)) if options.check else None
    with Staging(options.out) as staging:
        for file in options.files:
            run = _Run(options, file, staging, comparing, targets)
            run.prepare(taken, told)
            if not run.prepared.failed:
                run.make()
            written += run.written
            known = {file.name: Source(file.name, file, ""), **run.prepared.sources, **sources}
            parts.append(_part(file, run.cases(), run.diagnostics(), known))
        if not options.resume and not comparing and not any(p.failed for p in parts):
            faults = []
            written = staging.put(faults)
            if faults:
                parts.append(_part(options.out, (), faults, {}))
    if comparing and not any(p.failed for p in parts):
        findings = comparing.findings(options.report)
        parts.append(_part(options.out, comparing.compared, findings, comparing.sources))
    return _ended(options, written, parts)


def _part(file: Path, cases: Sequence[str], found: Sequence[Diagnostic], sources: dict[str, Source]) -> "Part":
    """Report what was found, and gather it for the reports to files."""
    report(found, sources, file)
    return part(seen(file), cases, found, sources)


def _ended(options: argparse.Namespace, written: Sequence[Path], parts: Sequence["Part"]) -> int:
    """Tell how it ended, in the reports too."""
    failed = any(p.failed for p in parts)
    if options.report and write_reports(options.report, parts):
        failed = True
    elif failed and not options.check:
        print(f"{len(written)} files were written" if written else "nothing was written", file=sys.stderr)
    elif options.check and not any(p.name == seen(options.out) for p in parts):
        print("nothing was compared", file=sys.stderr)
    elif options.check and not failed:
        count = len(parts[-1].cases)
        print(f"{options.out}: fresh ({count:,} {'file' if count == 1 else 'files'})")
    else:
        _list(written, options.out)
    return 1 if failed else 0


def _command(options: argparse.Namespace) -> str:
    """Write the command that makes what ``--check`` compares."""
    words = ["meltwright", "compile", *(seen(f) for f in options.files), "--out", seen(options.out)]
    words += [w for folder in options.targets for w in ("--targets", seen(folder))]
    words += [w for name in options.only for w in ("--only", name)]
    words += ["--effort", str(options.effort)] if options.effort else []
    return " ".join(quote(w) for w in words)


def _list(written: Sequence[Path], folder: Path) -> None:
    if len(written) <= FEW_FILES:
        for path in written:
            print(path)
    else:
        print(f"{folder}: {len(written):,} files")


class _Run:
    """One file on its way: machines are made part by part, then what is told of all of them."""

    def __init__(
        self,
        options: argparse.Namespace,
        file: Path,
        staging: "Staging",
        comparing: "Comparing | None",
        targets: Sequence["Target"],
    ) -> None:
        self.resume, self.effort, self.out = options.resume, options.effort, options.out
        self.file = file
        self.staging, self.comparing = staging, comparing
        self.targets = targets
        self.prepared: Prepared
        self.written: list[Path] = []
        self.records: dict[str, Record] = {}

    def prepare(self, taken: dict[str, Path], told: set[Diagnostic]) -> None:
        """Read and check the file; two files must not write the same profile. ``told`` is not told again."""
        from ..compiling import prepare

        self.prepared = prepare(self.file)
        self._check_names(told)
        for profile in {n.profile.name: n.profile for n in self.prepared.networks}.values():
            if profile.name in taken:
                other = seen(taken[profile.name])
                self.prepared.faults.append(diagnose("M604", profile.span, name=profile.name, other=other))
            taken[profile.name] = self.file

    def _check_names(self, told: set[Diagnostic]) -> None:
        """Hold the name maps of targets against the settings of this file."""
        from ..output.naming import check_names

        if self.prepared.model is not None:
            found: list[Diagnostic] = []
            for names in (t.names for t in self.targets if t.names):
                check_names(names, self.prepared.model.settings, found)
            self.prepared.faults += [f for f in found if f.is_error or f not in told]
            told.update(found)

    def cases(self) -> list[str]:
        """Name what was tried."""
        return [f"{n.profile.name} on {n.machine}" for n in self.prepared.networks]

    def diagnostics(self) -> Sequence[Diagnostic]:
        """Give what is to be reported, in order."""
        return self.prepared.compiled().diagnostics

    def make(self) -> None:
        """Solve what is left to do, and write it."""
        from ..compiling import solve_in_turn
        from ..output.producing import Producer

        faults, networks = self.prepared.faults, self.prepared.networks
        producer = Producer(faults, self.targets)
        if self.resume:
            self._recall(producer)
            networks = [n for n in networks if n.machine not in producer.briefs[n.profile.name]]
        for solutions in solve_in_turn(self.prepared, networks, self.effort, progress()):
            if self.resume or not self.prepared.failed:
                self._take(producer, solutions)
        if not self.prepared.failed:
            order = {n.machine: k for k, n in enumerate(self.prepared.networks)}
            texts = producer.profile_files(order)
            if self.comparing:
                self.comparing.profiles(texts, producer.briefs)
            elif self._stage(texts) and self.resume:
                for record in self.records.values():
                    record.remove()

    def _take(self, producer: "Producer", solutions: Sequence["Solution"]) -> None:
        """Render a part of the machines, and put it in place where that may be."""
        made = producer.machine_files(solutions)
        if self.comparing:
            for (profile, _), files in made.items():
                self.comparing.machine(profile, files)
            return
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

        key = digest(self.prepared.sources, self.effort, self.targets)
        producer.materials |= {n.profile.name: n.material for n in self.prepared.networks}
        for profile in producer.materials:
            record = self.records[profile] = Record(self.out, profile, key)
            producer.briefs[profile] = record.read()
