"""Replacing one file: whole or not at all, with the rights that it had."""

import os
import stat
from pathlib import Path

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Span
from .writing import stage_beside


def rewrite(path: Path, data: bytes, before: bytes | None = None, shown: str = "") -> Diagnostic | None:
    """Write bytes over a file; gives what kept it from being written.

    A link is followed, so that it stays one. Where ``before`` is given and the file holds something else by now, it was
    changed by somebody else and is left alone. ``shown`` is the name that a report uses and points to.
    """
    temporary = ""
    try:
        place = path.resolve()
        if not os.access(place, os.W_OK):
            return _failed(path, shown, "you may not write it")
        temporary = stage_beside(str(place), data)
        os.chmod(temporary, stat.S_IMODE(place.stat().st_mode))
        if before is not None and place.read_bytes() != before:
            Path(temporary).unlink()
            return _failed(path, shown, "it was changed meanwhile", "run the command again")
        os.replace(temporary, place)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        return _failed(path, shown, (error.strerror or "it failed").lower())
    return None


def _failed(path: Path, shown: str, reason: str, advice: str = "check who may write it and its folder") -> Diagnostic:
    span = Span(shown, 0, 0) if shown else NOWHERE
    return diagnose("M603", span, help=advice, path=shown or str(path), reason=reason)
