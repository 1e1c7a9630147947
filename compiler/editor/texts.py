"""The texts of files as the editor has them: what is open there lies over what is on the disk."""

from dataclasses import dataclass, field
from pathlib import Path

from ..meaning.loading import Disk
from ..syntax import tree
from ..syntax.keeping import read_kept
from ..syntax.reading import read
from ..text.diagnostic import Diagnostic
from ..text.source import Source, Span

Stamp = tuple[object, ...]
"""Tells one state of a file from any other."""


@dataclass(slots=True)
class _Kept:
    """A file under one of its display names, as it was read last."""

    stamp: Stamp
    source: Source | None
    faults: list[Diagnostic]
    read: tuple[tree.File, list[Diagnostic]] | None = None


@dataclass(slots=True)
class Texts(Disk):
    """Reads open texts from memory, others from the disk, and keeps the trees of both.

    ``open`` has the text of each open file. What is on the disk is looked at anew after ``look_again``.
    """

    open: dict[Path, str] = field(default_factory=dict)
    _kept: dict[tuple[Path, str], _Kept] = field(default_factory=dict)
    _resolved: dict[Path, Path] = field(default_factory=dict)
    _stamps: dict[Path, Stamp] = field(default_factory=dict)

    def put(self, path: Path, text: str | None) -> bool:
        """Take the text of an open file, None once it is closed; tell whether that changes anything."""
        before = self.open.get(path)
        if text is None:
            self.open.pop(path, None)
        else:
            self.open[path] = text
        self._stamps.pop(path, None)
        return before != text

    def copy(self) -> "Texts":
        """Give other texts in the same state, to try edits in."""
        return Texts(dict(self.open), dict(self._kept), dict(self._resolved), dict(self._stamps))

    def look_again(self) -> None:
        """Take note that files on the disk may have changed."""
        self._stamps.clear()
        self._resolved.clear()

    def text(self, path: Path) -> str | None:
        """Give the text of a file; None where it cannot be read."""
        source = self.source(path, path.name, Span("", 0, 0), [])
        return None if source is None else source.text

    def resolved(self, path: Path) -> Path:
        """Follow links; what was followed once is remembered."""
        found = self._resolved.get(path)
        if found is None:
            found = self._resolved[path] = Disk.resolved(self, path)
        return found

    def exists(self, path: Path) -> bool:
        """Tell whether there is a file, if only in the editor."""
        return path in self.open or Disk.exists(self, path)

    def source(self, path: Path, name: str, user: Span, faults: list[Diagnostic]) -> Source | None:
        """Give the text of a file; what keeps it from being read is reported anew each time, at its user."""
        stamp = self._stamp(path)
        kept = self._kept.get((path, name))
        if kept is None or kept.stamp != stamp or kept.source is None:
            own: list[Diagnostic] = []
            text = self.open.get(path)
            source = Disk.source(self, path, name, user, own) if text is None else Source(name, path, text)
            kept = self._kept[path, name] = _Kept(stamp, source, own)
            faults += own
        return kept.source

    def tree(self, source: Source) -> tuple[tree.File, list[Diagnostic]]:
        """Give the tree of a file; that of an open text never goes to the disk."""
        kept = self._kept.get((source.path, source.name))
        if kept is None or kept.source is not source:
            return read_kept(source)
        if kept.read is None:
            kept.read = read(source) if source.path in self.open else read_kept(source)
        return kept.read

    def _stamp(self, path: Path) -> Stamp:
        stamp = self._stamps.get(path)
        if stamp is None:
            text = self.open.get(path)
            stamp = self._stamps[path] = ("disk", *_state(path)) if text is None else ("open", text)
        return stamp


def _state(path: Path) -> Stamp:
    try:
        found = path.stat()
    except (OSError, ValueError):
        return ()
    return found.st_mtime_ns, found.st_size, found.st_ino
