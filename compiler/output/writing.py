"""Writing files whole or not at all, and only below the output folder."""

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE


class _Outside(Exception):
    """Raised for a folder that a link leads out of the output folder."""


class Staging:
    """Files on their way: each is written beside its place first, and put there by one rename.

    As a context it leaves nothing behind: what is not put in place when it ends is removed again.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._staged: list[tuple[str, Path]] = []
        self._seen: set[Path] = set()
        self._made: list[Path] = []

    def __enter__(self) -> "Staging":
        return self

    def __exit__(self, *_: object) -> None:
        self.discard()

    def stage(self, texts: Mapping[str, str], faults: list[Diagnostic]) -> bool:
        """Write texts by relative path; tell whether that went well."""
        try:
            for relative, text in sorted(texts.items()):
                path = self._folder / relative
                self._make(path.parent)
                self._staged.append((stage_beside(str(path), text.encode("utf-8")), path))
        except _Outside as error:
            faults.append(diagnose("M626", NOWHERE, path=error))
            return False
        except OSError as error:
            faults.append(self._failed(error))
            return False
        return True

    def _make(self, folder: Path) -> None:
        """Make a folder, and remember those that were not there."""
        if folder in self._seen:
            return
        if not folder.resolve().is_relative_to(self._folder.resolve()):
            raise _Outside(folder)
        missing = [f for f in (folder, *folder.parents) if not f.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        self._seen.add(folder)
        self._made += reversed(missing)

    def put(self, faults: list[Diagnostic]) -> list[Path]:
        """Put all that is staged in its place; gives the files, or none where that fails."""
        done = []
        try:
            for temporary, path in self._staged:
                os.replace(temporary, path)
                done.append(path)
        except OSError as error:
            faults.append(self._failed(error))
            return []
        self._staged, self._made = [], []
        return sorted(done)

    def discard(self) -> None:
        """Remove what is staged."""
        for temporary, _ in self._staged:
            if os.path.exists(temporary):
                os.unlink(temporary)
        self._staged = []
        for folder in reversed(self._made):
            # One that has files by now is somebody's.
            with suppress(OSError):
                folder.rmdir()
        self._made, self._seen = [], set()

    def _failed(self, error: OSError) -> Diagnostic:
        shown = str(error.filename2 or error.filename or self._folder)
        return diagnose("M603", NOWHERE, path=shown, reason=(error.strerror or "it failed").lower())


def write_files(folder: Path, texts: Mapping[str, str], faults: list[Diagnostic]) -> list[Path]:
    """Write texts by relative path below ``folder``: all into temporary files first, then each by one rename."""
    with Staging(folder) as staging:
        return staging.put(faults) if staging.stage(texts, faults) else []


def stage_beside(path: str, data: bytes) -> str:
    """Write bytes into a new file beside their place, with the rights that a new file gets; gives its path."""
    folder, name = os.path.split(path)
    handle, temporary = -1, ""
    for attempt in range(100):
        temporary = os.path.join(folder, f".{name}.{os.getpid()}-{attempt}.part")
        try:
            handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
            break
        except FileExistsError:
            if attempt == 99:
                raise
    try:
        with os.fdopen(handle, "wb", buffering=0) as file:
            left = memoryview(data)
            while left:
                left = left[file.write(left) :]
    except OSError:
        os.unlink(temporary)
        raise
    return temporary
