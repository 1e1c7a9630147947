"""Reading a file and all that it uses, within the project and the library."""

import os
import stat
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from ..syntax.collecting import without_collecting
from ..syntax.file import File, Use
from ..syntax.keeping import read_kept
from ..text import store
from ..text.diagnostic import Diagnostic, Fix, Related, diagnose
from ..text.fixing import write_for
from ..text.source import NOWHERE, Source, Span
from .near import brief, close_to, name_fixes, near, surely_meant

LARGEST = 1_000_000
"""Bytes of the largest file that is read."""
DEEPEST = 64
"""Length of the longest chain of files that use one another."""


@dataclass(slots=True)
class Loaded:
    """All files of one compilation by display name; ``files`` in the order in which they were finished."""

    main: str
    sources: dict[str, Source] = field(default_factory=dict)
    files: dict[str, File] = field(default_factory=dict)
    faults: list[Diagnostic] = field(default_factory=list)

    def key(self, kind: str, *parts: str) -> str:
        """Name what hangs on these texts and on ``parts``; ``""``, as for the store, where reading them had faults.

        Which files are missing, or cannot be read, is not told by the texts.
        """
        if self.faults:
            return ""
        texts = [part for source in self.sources.values() for part in (source.name, source.text)]
        return store.key(kind, str(len(parts)), *parts, self.main, *texts)


def library_folder() -> Path:
    """Give the folder of the library that is installed with the program."""
    return Path(str(files("meltwright.library")))


def project_root(path: Path) -> Path:
    """Give the folder that imports may not leave: the enclosing repository, or the file's own folder."""
    folder = _resolved(path).parent
    for candidate in (folder, *folder.parents):
        if (candidate / ".git").exists():
            return candidate
    return folder


class Disk:
    """Where files are read from; an editor puts the texts that are open over it."""

    def resolved(self, path: Path) -> Path:
        """Follow links; a path that leads nowhere is kept."""
        return _resolved(path)

    def exists(self, path: Path) -> bool:
        """Tell whether anything is there; what cannot be read is reported when it is read."""
        return _exists(path)

    def source(self, path: Path, name: str, user: Span, faults: list[Diagnostic]) -> Source | None:
        """Read a file; report what keeps it from being read at ``user``, the place that names it."""
        data = read_bytes(path, name, user, faults)
        text = None if data is None else decoded(data, name, user, faults)
        return None if text is None else Source(name, path, text)

    def tree(self, source: Source) -> tuple[File, list[Diagnostic]]:
        """Give the tree of a file that ``source`` gave, and the faults of its text."""
        return read_kept(source)


DISK = Disk()


class Over(Disk):
    """Reads some files from texts that are at hand, by their resolved path."""

    def __init__(self, texts: Mapping[Path, str]) -> None:
        self._texts = texts

    def source(self, path: Path, name: str, user: Span, faults: list[Diagnostic]) -> Source | None:
        """Give a text that is at hand; read other files."""
        text = self._texts.get(path)
        return super().source(path, name, user, faults) if text is None else Source(name, path, text)


@without_collecting()
def load(path: Path, library: Path | None = None, disk: Disk = DISK) -> Loaded:
    """Read ``path`` and everything it uses; faults are collected, never raised.

    ``library`` is read instead of the installed one: that of another revision. Files are read from ``disk``.
    """
    resolved = disk.resolved(path)
    loader = _Loader(resolved.parent, project_root(path), (library or library_folder()).resolve(), disk)
    loaded = Loaded(path.name)
    loader.visit(resolved, path.name, NOWHERE, loaded, [])
    return loaded


_OF_TEXT = ("M104", "M11", "M12")
"""Codes of the faults that a file's own text gives."""


def reread(loaded: Loaded, names: Iterable[str], disk: Disk) -> Loaded | None:
    """Give what loading anew would, after edits of some files alone; None where other files may belong to it now."""
    if any(not f.code.startswith(_OF_TEXT) for f in loaded.faults):
        return None
    after = Loaded(loaded.main, dict(loaded.sources), dict(loaded.files), list(loaded.faults))
    for name in names:
        before = loaded.files.get(name)
        source = disk.source(loaded.sources[name].path, name, NOWHERE, []) if before is not None else None
        if before is None or source is None:
            return None
        file, faults = disk.tree(source)
        if file.uses != before.uses:
            return None
        after.sources[name], after.files[name] = source, file
        after.faults = [f for f in after.faults if f.span.file != name] + faults
    return after


@without_collecting()
def load_library(extra: Sequence[Path] = ()) -> Loaded:
    """Read all of the installed library but its demonstrations, and the files of a shop beside it.

    A shop's files are named from the folder that holds them all.
    """
    library = library_folder().resolve()
    own = [_resolved(path) for path in extra]
    folder = Path(os.path.commonpath([path.parent for path in own])) if own else library.parent
    loaded = Loaded(own[0].name if own else library.name)
    for path in sorted(library.rglob("*.melt")):
        if DEMOS not in path.relative_to(library).parts[:1]:
            loader = _Loader(folder, library, library)
            loader.visit(path, loader.name(path), NOWHERE, loaded, [])
    for given, path in zip(extra, own, strict=True):
        loader = _Loader(folder, project_root(given), library)
        loader.visit(path, loader.name(path), NOWHERE, loaded, [])
    return loaded


def _resolved(path: Path) -> Path:
    """Follow links; a path that leads nowhere is kept, and is reported when it is read."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):
        return Path(os.path.abspath(path))


@dataclass(frozen=True, slots=True)
class _Loader:
    folder: Path
    root: Path
    library: Path
    disk: Disk = DISK

    def visit(self, path: Path, name: str, user: Span, loaded: Loaded, chain: list[str]) -> None:
        if name in chain:
            shown = " -> ".join([*chain[chain.index(name) :], name])
            loaded.faults.append(diagnose("M201", user, chain=shown))
            return
        if name in loaded.sources:
            return
        if len(chain) > DEEPEST:
            loaded.faults.append(diagnose("M204", user, limit=DEEPEST))
            return
        source = self.disk.source(path, name, user, loaded.faults)
        if source is None:
            return
        loaded.sources[name] = source
        file, faults = self.disk.tree(source)
        loaded.faults += faults
        used: dict[Path, Span] = {}
        for use in file.uses:
            found = self._resolve(use, path, name, loaded.faults)
            if found in used:
                related = [Related(used[found], "used here")]
                loaded.faults.append(diagnose("M205", use.span, related=related, path=brief(use.path.text)))
            elif found is not None:
                used[found] = use.span
                self.visit(found, self.name(found), use.path.span, loaded, [*chain, name])
        loaded.files[name] = file

    def name(self, path: Path) -> str:
        """Give the display name of a file."""
        own = self.folder.is_relative_to(self.library) and path.is_relative_to(self.folder)
        if path.is_relative_to(self.library) and not own:
            return LIBRARY + path.relative_to(self.library).as_posix()
        name = Path(os.path.relpath(path, self.folder)).as_posix()
        # A shop may have a folder of this name itself.
        return f"./{name}" if name.startswith(LIBRARY) else name

    def _resolve(self, use: Use, user: Path, name: str, faults: list[Diagnostic]) -> Path | None:
        written = use.path.text
        within_library = use.library or name.startswith(LIBRARY)
        base = self.library if use.library else user.parent
        limit = self.library if within_library else self.root
        with_ending = written if written.endswith(".melt") else written + ".melt"
        path = self.disk.resolved(base / with_ending)
        if "\\" not in written and (os.path.isabs(written) or not path.is_relative_to(limit)):
            facts: dict[str, Any] = {"path": brief(written), "root": "the library" if within_library else "the project"}
            advice = self._inside(within_library)
            faults.append(diagnose("M202", use.path.span, advice=advice, **facts))
            return None
        if "\\" in written or not self.disk.exists(path):
            what = "library file" if use.library else "file"
            advice, fixes = _others(use, base, user)
            if "\\" in written:
                turned = written.replace("\\", "/")
                there = _exists(_resolved(base / with_ending.replace("\\", "/")))
                advice = "write the path with / between its parts"
                fixes = [write_for(use.path.span, f'"{written}"', f'"{turned}"', safe=True)] if there else []
            facts = {"what": what, "path": brief(written) or '""', "near": advice}
            faults.append(diagnose("M203", use.path.span, fixes=fixes, **facts))
            return None
        return path

    def _inside(self, within_library: bool) -> str:
        if within_library:
            return "name a file of the library"
        if self.root == self.folder:
            return "copy the file into the folder of the compiled file, or below it, and use it from there"
        return f"copy the file into the project, below its folder {self.root.name}, and use it from there"


LIBRARY = "library/"
"""What the display names of library files start with."""
DEMOS = "demos"
"""The folder of the library that holds what is only shown."""


def _exists(path: Path) -> bool:
    """Tell whether anything is there; what cannot be read is reported when it is read."""
    try:
        path.stat()
    except FileNotFoundError:
        return False
    except (OSError, ValueError):
        return os.path.lexists(path)
    return True


def _others(use: Use, base: Path, user: Path) -> tuple[str, Sequence[Fix]]:
    """Say which file may have been meant, and write it."""
    if use.library:
        names = [p.relative_to(base).with_suffix("").as_posix() for p in base.rglob("*.melt")]
        where, written = "the library has", use.path.text.removesuffix(".melt")
    else:
        names = [p.name for p in user.parent.glob("*.melt") if p != user]
        where, written = "beside this file there is", use.path.text
    names.sort(key=lambda n: (n.count("/"), n))
    if not names:
        return "there is no other .melt file beside this one; check the path", []
    otherwise = f"{where} {', '.join(names[:8])}{' and more' if len(names) > 8 else ''}"
    stems = {name.removesuffix(".melt"): name for name in names}
    sure = stems.get(surely_meant(written.removesuffix(".melt"), stems), "")
    close = close_to(written, names)
    quoted = [f'"{n}"' for n in dict.fromkeys([sure, *close] if sure else close)]
    fixes = name_fixes(f'"{written}"', use.path.span, quoted, f'"{sure}"')
    return near(written, names, otherwise), fixes


_DOCUMENTS = {
    b"{\\rtf": "a document with formatting (RTF)",
    b"%PDF-": "a PDF document",
    b"PK\x03\x04": "an archive, or a document of a word processor",
    b"\xd0\xcf\x11\xe0": "a document of a word processor",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
}
"""What files begin with that are surely no text, by the published signatures of their formats."""


def read_bytes(path: Path, name: str, user: Span, faults: list[Diagnostic]) -> bytes | None:
    """Read a file; report what keeps it from being read at ``user``, the place that names it."""
    place = _place(name, user)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            faults.append(_no_file(path, name, place, stat.S_ISDIR(found.st_mode)))
            return None
        if found.st_size > LARGEST:
            limit = f"{LARGEST:,}"
            faults.append(diagnose("M103", place, path=name, size=f"{found.st_size:,}", limit=limit))
            return None
        return path.read_bytes()
    except FileNotFoundError:
        faults.append(diagnose("M101", place, path=name))
        return None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", "") or "it cannot be opened").lower()
        faults.append(diagnose("M105", place, path=brief(name), reason=reason))
        return None


def text_of(path: Path) -> str:
    """Read a file that nothing uses, to see what is in it; one that cannot be read says nothing."""
    unread: list[Diagnostic] = []
    data = read_bytes(path, path.name, NOWHERE, unread)
    return (data is not None and decoded(data, path.name, NOWHERE, unread)) or ""


def _no_file(path: Path, name: str, place: Span, folder: bool) -> Diagnostic:
    """Report what is no file; of a folder, say which files it has."""
    named = name or str(path)
    if not folder:
        return diagnose("M105", place, path=named, reason="it is not a file")
    try:
        inside = sorted(p.name for p in path.glob("*.melt"))
    except OSError:
        inside = []
    more = " and more" if len(inside) > 4 else ""
    help = (
        f"name a file in it: {', '.join(inside[:4])}{more}" if inside else "name a file: this folder has no .melt file"
    )
    return diagnose("M105", place, path=named, reason="it is a folder", help=help)


def decoded(data: bytes, name: str, user: Span, faults: list[Diagnostic]) -> str | None:
    """Read bytes as UTF-8, without a byte order mark; report where they are not."""
    kind = next((kind for start, kind in _DOCUMENTS.items() if data.startswith(start)), None)
    if kind is not None:
        faults.append(diagnose("M106", _place(name, user), path=name, kind=kind))
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = _place(name, user)
        related = [Related(Span(name, 0, 0), "this file")] if user != NOWHERE else []
        faults.append(diagnose("M102", place, path=name, offset=error.start, related=related))
        return None


def _place(name: str, user: Span) -> Span:
    return user if user != NOWHERE else Span(name, 0, 0)
