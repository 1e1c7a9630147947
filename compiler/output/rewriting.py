"""Replacing one file: whole or not at all, with the rights that it had."""

import os
import stat
from pathlib import Path

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE
from .writing import stage_beside


def rewrite(path: Path, data: bytes) -> Diagnostic | None:
    """Write bytes over a file; gives what kept it from being written.

    A link is followed, so that it stays one.
    """
    temporary = ""
    try:
        place = path.resolve()
        if not os.access(place, os.W_OK):
            return _failed(path, "you may not write it")
        temporary = stage_beside(str(place), data)
        os.chmod(temporary, stat.S_IMODE(place.stat().st_mode))
        os.replace(temporary, place)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        return _failed(path, (error.strerror or "it failed").lower())
    return None


def _failed(path: Path, reason: str) -> Diagnostic:
    advice = "check who may write it and its folder"
    return diagnose("M603", NOWHERE, help=advice, path=str(path), reason=reason)
