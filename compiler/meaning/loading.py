"""Reading a file and all that it uses, within the project and the library."""

import os
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from ..syntax import tree
from ..syntax.reading import read
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.source import NOWHERE, Source, Span
from .near import near

LARGEST = 1_000_000
"""Bytes of the largest file that is read."""


@dataclass(slots=True)
class Loaded:
    """All files of one compilation by display name; ``files`` in the order in which they were finished."""

    main: str
    sources: dict[str, Source] = field(default_factory=dict)
    files: dict[str, tree.File] = field(default_factory=dict)
    faults: list[Diagnostic] = field(default_factory=list)


def library_folder() -> Path:
    """Give the folder of the library that is installed with the program."""
    return Path(str(files("meltwright.library")))


def project_root(path: Path) -> Path:
    """Give the folder that imports may not leave: the enclosing repository, or the file's own folder."""
    folder = path.resolve().parent
    for candidate in (folder, *folder.parents):
        if (candidate / ".git").exists():
            return candidate
    return folder


def load(path: Path) -> Loaded:
    """Read ``path`` and everything it uses; faults are collected, never raised."""
    folder = path.resolve().parent
    loader = _Loader(folder, project_root(path), library_folder().resolve())
    loaded = Loaded(path.name)
    loader.visit(path.resolve(), path.name, NOWHERE, loaded, [])
    return loaded


@dataclass(frozen=True, slots=True)
class _Loader:
    folder: Path
    root: Path
    library: Path

    def visit(self, path: Path, name: str, user: Span, loaded: Loaded, chain: list[str]) -> None:
        if name in chain:
            shown = " -> ".join([*chain[chain.index(name) :], name])
            loaded.faults.append(diagnose("M201", user, chain=shown))
            return
        if name in loaded.sources:
            return
        text = _text(path, name, user, loaded.faults)
        if text is None:
            return
        source = Source(name, path, text)
        loaded.sources[name] = source
        file, faults = read(source)
        loaded.faults += faults
        for statement in file.statements:
            if isinstance(statement, tree.Use):
                found = self._resolve(statement, path, name, loaded.faults)
                if found is not None:
                    self.visit(found, self._name(found), statement.path.span, loaded, [*chain, name])
        loaded.files[name] = file

    def _name(self, path: Path) -> str:
        if path.is_relative_to(self.library) and not self.folder.is_relative_to(self.library):
            return "library/" + path.relative_to(self.library).as_posix()
        if path.is_relative_to(self.library) and not path.is_relative_to(self.folder):
            return "library/" + path.relative_to(self.library).as_posix()
        return Path(os.path.relpath(path, self.folder)).as_posix()

    def _resolve(self, use: tree.Use, user: Path, name: str, faults: list[Diagnostic]) -> Path | None:
        written = use.path.text
        within_library = use.library or name.startswith("library/")
        base = self.library if use.library else user.parent
        limit = self.library if within_library else self.root
        with_ending = written if written.endswith(".melt") else written + ".melt"
        if os.path.isabs(written) or "\\" in written or "\0" in written:
            faults.append(diagnose("M202", use.path.span, path=written, root=_shown_root(within_library)))
            return None
        path = (base / with_ending).resolve()
        if not path.is_relative_to(limit):
            faults.append(diagnose("M202", use.path.span, path=written, root=_shown_root(within_library)))
            return None
        if not path.is_file():
            what = "library file" if use.library else "file"
            others = (p.relative_to(base).with_suffix("").as_posix() for p in sorted(base.rglob("*.melt")))
            advice = near(written.removesuffix(".melt"), others if use.library else _beside(user))
            faults.append(diagnose("M203", use.path.span, what=what, path=written, near=advice))
            return None
        return path


def _shown_root(library: bool) -> str:
    return "the library" if library else "the project's folder"


def _beside(user: Path) -> list[str]:
    return [p.name for p in sorted(user.parent.glob("*.melt")) if p != user]


def _text(path: Path, name: str, user: Span, faults: list[Diagnostic]) -> str | None:
    """Read a file as UTF-8; report what keeps it from being read."""
    place = user if user != NOWHERE else Span(name, 0, 0)
    try:
        size = path.stat().st_size
        if size > LARGEST:
            limit = f"{LARGEST:,}"
            faults.append(diagnose("M103", place, path=name, size=f"{size:,}", limit=limit))
            return None
        data = path.read_bytes()
    except FileNotFoundError:
        faults.append(diagnose("M101", place, path=name))
        return None
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        faults.append(diagnose("M105", place, path=name, reason=reason))
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        related = [Related(Span(name, 0, 0), "this file")] if user != NOWHERE else []
        faults.append(diagnose("M102", place, path=name, offset=error.start, related=related))
        return None
