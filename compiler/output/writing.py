"""Writing files whole or not at all, and only below the output folder."""

import os
from collections.abc import Mapping
from pathlib import Path

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE


def write_files(folder: Path, texts: Mapping[str, str], faults: list[Diagnostic]) -> list[Path]:
    """Write texts by relative path below ``folder``: all into temporary files first, then each by one rename."""
    staged: list[tuple[str, str]] = []
    made: set[str] = set()
    try:
        for relative, text in sorted(texts.items()):
            path = os.path.join(folder, relative)
            parent = os.path.dirname(path)
            if parent not in made:
                os.makedirs(parent, exist_ok=True)
                made.add(parent)
            staged.append((_stage(path, text), path))
        for temporary, path in staged:
            os.replace(temporary, path)
    except OSError as error:
        for temporary, _ in staged:
            if os.path.exists(temporary):
                os.unlink(temporary)
        shown = str(error.filename2 or error.filename or folder)
        reason = (error.strerror or "it failed").lower()
        faults.append(diagnose("M603", NOWHERE, path=shown, reason=reason))
        return []
    return [Path(path) for _, path in staged]


def _stage(path: str, text: str) -> str:
    """Write a text into a new file beside its place, with the rights that a new file gets; gives its path."""
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
            data = memoryview(text.encode("utf-8"))
            while data:
                data = data[file.write(data) :]
    except OSError:
        os.unlink(temporary)
        raise
    return temporary
