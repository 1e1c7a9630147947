"""The terminal face: ``compile``, ``check`` and ``why``.

Exit codes: 0 good, 1 the text or the request is at fault (diagnostics on standard error), 2 misuse.
"""

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from . import __version__
from .text.diagnostic import Diagnostic, Related, diagnose, write
from .text.source import Source, Span

if TYPE_CHECKING:
    from .compiling import Compiled


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

    compile_ = commands.add_parser("compile", help="derive the settings and write the files")
    compile_.add_argument("files", nargs="+", type=Path, metavar="FILE")
    compile_.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder to write into")
    compile_.set_defaults(run=_compile)

    check = commands.add_parser("check", help="check the text, and that nothing is plainly impossible")
    check.add_argument("files", nargs="+", type=Path, metavar="FILE")
    check.set_defaults(run=_check)

    why = commands.add_parser("why", help="explain a setting")
    why.add_argument("file", type=Path, metavar="FILE")
    why.add_argument("setting", metavar="SETTING", help="a setting's name, with its group; or: not 'SETTING = VALUE'")
    why.add_argument("value", nargs="?", default="", metavar="'SETTING = VALUE'", help="after not: the value to try")
    why.add_argument("--machine", default="", metavar="NAME", help="only this machine of the profile")
    why.set_defaults(run=_why)
    for command in (compile_, check, why):
        command.add_argument("--effort", type=_effort, default=0, metavar="BOXES", help="how long to search, in boxes")
    return parser


def _effort(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 up")
    return int(text)


def _compile(options: argparse.Namespace) -> int:
    from .compiling import compile_file
    from .output.producing import produce, produced_names

    texts: dict[str, str] = {}
    taken: dict[str, Path] = {}
    failed = False
    for file in options.files:
        compiled = compile_file(file, effort=options.effort, progress=_progress())
        faults = list(compiled.diagnostics)
        spans = {s.network.profile.name: s.network.profile.span for s in compiled.solutions}
        for name in produced_names(compiled.solutions):
            if name in taken:
                faults.append(diagnose("M604", spans[name], name=name, other=_seen(taken[name])))
            taken[name] = file
        if not any(f.is_error for f in faults):
            texts |= produce(compiled.solutions, faults)
        failed |= _report(faults, compiled.sources, file)
    if failed:
        print("nothing was written", file=sys.stderr)
        return 1
    from .output.writing import write_files

    faults = []
    written = write_files(options.out, texts, faults)
    if _report(faults, {}, options.out):
        print("nothing was written", file=sys.stderr)
        return 1
    for path in written:
        print(path)
    return 0


def _check(options: argparse.Namespace) -> int:
    from .compiling import look_over

    failed = False
    for file in options.files:
        checked, machines = look_over(file, options.effort)
        if _report(checked.diagnostics, checked.sources, file):
            failed = True
        else:
            print(f"{file}: sound ({', '.join(machines)})")
    return 1 if failed else 0


def _why(options: argparse.Namespace) -> int:
    from .compiling import compile_file

    refused = options.setting == "not"
    if refused != bool(options.value):
        print("meltwright why: write SETTING, or: not 'SETTING = VALUE'", file=sys.stderr)
        return 2
    named = "" if refused else options.setting
    compiled = compile_file(options.file, options.machine, options.effort, _progress(), named)
    if _report(compiled.diagnostics, compiled.sources, options.file):
        return 1
    if refused:
        return _why_not(options.value, compiled, options.file)
    from .telling.bundle import bundle
    from .telling.why import why

    print(why([bundle(s) for s in compiled.solutions], options.setting), end="")
    return 0


def _why_not(text: str, compiled: "Compiled", file: Path) -> int:
    from .meaning.profiles import asked_pin
    from .telling.why_not import why_not

    faults: list[Diagnostic] = []
    pin, source = asked_pin(text, compiled.solutions[0].model, faults)
    if pin is None or faults:
        _report(faults, {**compiled.sources, source.name: source}, file)
        return 1
    print(why_not(list(compiled.solutions), pin), end="")
    return 0


def _report(diagnostics: Sequence[Diagnostic], sources: dict[str, Source], file: Path) -> bool:
    """Write diagnostics to standard error; tell whether any is an error."""
    if diagnostics:
        shown = {name: _seen(source.path) for name, source in sources.items()}
        shown[file.name] = _seen(file)
        at_hand = {shown[name]: source for name, source in sources.items()}
        print(write([_moved(d, shown) for d in diagnostics], at_hand), file=sys.stderr)
    errors = sum(d.is_error for d in diagnostics)
    if errors:
        print(f"{_seen(file)}: {errors} {'error' if errors == 1 else 'errors'}", file=sys.stderr)
    return errors > 0


def _moved(d: Diagnostic, shown: Mapping[str, str]) -> Diagnostic:
    """Name the places of a diagnostic as they are seen from the working folder."""

    def seen(span: Span) -> Span:
        return replace(span, file=shown.get(span.file, span.file))

    return replace(d, span=seen(d.span), related=tuple(Related(seen(r.span), r.role) for r in d.related))


def _seen(path: Path) -> str:
    """Give a path as it can be opened from the working folder; far files keep their whole path."""
    try:
        relative = os.path.relpath(path)
    except (OSError, ValueError):
        return str(path)
    far = relative.split(os.sep)[:3] == [os.pardir] * 3
    return os.path.abspath(path) if far else relative


class _Line:
    """A progress line on a terminal, shown once more than a second of work is seen to be left."""

    def __init__(self, stream: TextIO) -> None:
        from time import monotonic

        self._stream = stream
        self._clock = monotonic
        self._start = monotonic()
        self._shown = False

    def __call__(self, done: int, total: int) -> None:
        spent = self._clock() - self._start
        left = spent / done * (total - done) if done else 0.0
        if done == total:
            if self._shown:
                self._stream.write("\r\x1b[K")
        elif self._shown or left > 1.0:
            self._shown = True
            self._stream.write(f"\r\x1b[K{done} of {total} machines, about {left:.0f} s left")
        self._stream.flush()


def _progress() -> _Line | None:
    return _Line(sys.stderr) if sys.stderr.isatty() else None
