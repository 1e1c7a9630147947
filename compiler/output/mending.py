"""Applying the safe fixes of a file and of the project files that it uses, each written whole or not at all."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from ..meaning.checking import check_file
from ..meaning.loading import LIBRARY, Over, library_folder
from ..text.diagnostic import Diagnostic, diagnose
from ..text.fixing import Mended, Repair, mend, safe_fix
from ..text.source import Source, Span
from .rewriting import rewrite


def mendable(diagnostics: Sequence[Diagnostic], sources: Mapping[str, Source]) -> set[tuple[Path, int, str, str]]:
    """Give the faults that ``mend_files`` would mend: file, place, code and message, whichever file uses that file."""
    own = {name for name, source in sources.items() if may_write(source)}
    found = [d for d in diagnostics if safe_fix(d, own) is not None]
    return {(sources[d.span.file].path, d.span.start, d.code, d.message) for d in found}


def may_write(source: Source) -> bool:
    """Tell whether a file is the project's own: one of the library is never written."""
    return not source.name.startswith(LIBRARY) and not source.path.is_relative_to(library_folder().resolve())


def mend_files(path: Path) -> tuple[list[Repair], list[Diagnostic]]:
    """Apply the safe fixes of a file and of the project files that it uses.

    Gives what was done, in the texts' order, and what kept a file from being mended. A file that somebody changed in
    the meantime is left as it is.
    """

    def read(texts: Mapping[Path, str]) -> tuple[Sequence[Diagnostic], Mapping[str, Source]]:
        _, found, sources = check_file(path, disk=Over(texts))
        return found, sources

    mended = mend(read, may_write)
    faults = [diagnose("M629", Span(name, 0, 0), path=name) for name in sorted(mended.left)]
    failed: set[str] = set()
    for name in sorted(mended.texts):
        fault = _write(mended, name)
        if fault is not None:
            failed.add(name)
            faults.append(fault)
    done = [(d, fix) for d, fix in mended.done if not failed & {e.span.file for e in fix.edits}]
    repairs = [Repair(mended.before[d.span.file], d.span, d.code, fix.title) for d, fix in done]
    return sorted(repairs, key=lambda r: (r.span.file, r.span.start, r.span.end, r.code, r.title)), faults


def _write(mended: Mended, name: str) -> Diagnostic | None:
    """Write one mended text; a byte order mark stays."""
    old, new = mended.before[name], mended.texts[name]
    try:
        data = old.path.read_bytes()
    except OSError as error:
        return diagnose("M105", Span(name, 0, 0), path=name, reason=(error.strerror or "it failed").lower())
    # What was read is what must still be there: decoded here as it was when it was read.
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    before = mark + old.text.encode("utf-8")
    return rewrite(old.path, mark + new.text.encode("utf-8"), before, shown=name)
