"""Writing files whole or not at all, and only below the output folder."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE


def write_files(folder: Path, texts: Mapping[str, str], faults: list[Diagnostic]) -> list[Path]:
    """Write texts by relative path below ``folder``: all into temporary files first, then each by one rename."""
    staged: list[tuple[str, Path]] = []
    try:
        for relative, text in sorted(texts.items()):
            path = folder / relative
            path.parent.mkdir(parents=True, exist_ok=True)
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
    return [path for _, path in staged]


def _stage(path: Path, text: str) -> str:
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
        os.chmod(temporary, 0o666 & ~_umask())
    except OSError:
        os.unlink(temporary)
        raise
    return temporary


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
