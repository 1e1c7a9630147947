"""What was worked out before, kept by digest in the user's cache folder; all of it can be worked out again.

``key`` digests all that a thing hangs on, the program itself included; ``keep`` writes it and ``recall`` gives it back,
or None. Nothing here raises, and nothing is ever out of date: another text, program or Python has another key. The
folder can be emptied, spoilt or shared by processes at any time: a file is written whole, by a rename, and begins with
a digest of its name and content, so that a cut or changed file is noticed before anything of it is used. What is kept
are pickles, and a pickle can run code: files and folder must belong to the user, and nobody else may write to them.

``MELTWRIGHT_CACHE`` names another folder, or is ``off``.
"""

import io
import os
import pickle
import stat
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from functools import cache
from hashlib import sha256
from importlib.util import find_spec
from operator import attrgetter
from pathlib import Path
from typing import Any

LARGEST = 64_000_000
"""Bytes that all kept files may have together; beyond, those that were used longest ago are removed."""
LEAST = 16_000
"""Bytes that every file counts for at least, so that their number is bounded too."""
DAY = 86_400.0
"""Seconds after which a file that is used is marked as used again."""

_ENDING = ".kept"
_UNFINISHED = ".new"
_SEALED = sha256().digest_size
_STARTED = time.time()
_HOME = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def key(kind: str, *parts: str | bytes) -> str:
    """Name what hangs on ``parts`` and on the program; ``""``, under which nothing is kept, where that may change."""
    program = _program()
    if not program:
        return ""
    found = sha256(program)
    for part in parts:
        data = part.encode("utf-8", "surrogatepass") if isinstance(part, str) else part
        found.update(b"%d:" % len(data) + data)
    return f"{kind}-{found.hexdigest()[:40]}"


def recall(key: str) -> Any:
    """Give what was kept; None where nothing was, or it cannot be used."""
    place = folder() if key else None
    if place is None:
        return None
    path = place / (key + _ENDING)
    try:
        found = path.stat()
        if not (stat.S_ISREG(found.st_mode) and _private(found) and found.st_size <= LARGEST):
            return None
        seal, data = _parted(path.read_bytes())
    except OSError:
        return None
    if seal != _seal(key, data):
        return None
    if time.time() - found.st_mtime > DAY:
        with suppress(OSError):
            os.utime(path)
    return load(data)


def keep(key: str, value: object) -> None:
    """Keep something; what cannot be pickled or written is not kept."""
    place = folder() if key else None
    data = dump(value) if place else None
    if place is None or data is None or len(data) > LARGEST // 8:
        return
    try:
        handle, unfinished = tempfile.mkstemp(_UNFINISHED, "", place)
    except OSError:
        return
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(_seal(key, data) + data)
        os.replace(unfinished, place / (key + _ENDING))
    except OSError:
        with suppress(OSError):
            os.unlink(unfinished)
        return
    _make_room(place, len(data))


def folder() -> Path | None:
    """Give the folder, made where it is missing; None where there is none that is the user's alone."""
    chosen = os.environ.get("MELTWRIGHT_CACHE", "")
    if chosen == "off":
        return None
    base = os.environ.get("XDG_CACHE_HOME", "")
    if not os.path.isabs(base):
        base = os.path.join(os.path.expanduser("~"), ".cache")
    place = Path(chosen or os.path.join(base, "meltwright"), "kept")
    if not (chosen or place.is_absolute()):  # nobody knows the user's own folder
        return None
    try:
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            place.mkdir(mode=0o700, exist_ok=True)
        return place if _private(place.stat()) and os.access(place, os.W_OK) else None
    except (OSError, ValueError):
        return None


def dump(value: object) -> bytes | None:
    """Pickle something; None where that cannot be done."""
    stream = io.BytesIO()
    try:
        _Pickler(stream).dump(value)
    except Exception:  # pickling tells its troubles by errors of many kinds
        return None
    return stream.getvalue()


def load(data: bytes) -> Any:
    """Give what was pickled; None where it cannot be made."""
    try:
        return pickle.loads(data)
    except Exception:  # the seal is right, so this cannot be; but if it were, the thing would be worked out anew
        return None


def _parted(content: bytes) -> tuple[bytes, bytes]:
    """Part what a file holds into its seal and what was pickled."""
    return content[:_SEALED], content[_SEALED:]


def _seal(key: str, data: bytes) -> bytes:
    return sha256(key.encode() + b"\0" + data).digest()


def _private(found: os.stat_result) -> bool:
    """Tell whether a file or folder belongs to the user, and nobody else may write to it."""
    if not hasattr(os, "geteuid"):  # where rights are told in another way, the user's own folder is trusted
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


@cache
def _program() -> bytes:
    """Tell this program, what it stands on and its Python from any other; nothing where it may be changing.

    A file's time of change is set by the system alone, so that no other content comes by the same stamp.
    """
    code = [os.path.join(top, name) for top, _, names in os.walk(_HOME) for name in names if name.endswith(".py")]
    if not code:
        return b""
    for package, names in (("meltwright.grammar", ["melt.lark"]), ("lark", []), ("numpy", ["version.py"])):
        spec = find_spec(package)
        if spec and spec.origin:
            code += [spec.origin, *(os.path.join(os.path.dirname(spec.origin), name) for name in names)]
    try:
        found = [(path, os.stat(path)) for path in sorted(code)]
    except OSError:  # a link that leads nowhere, as some editors make for a file that is open, or one that just went
        return b""
    if any(s.st_ctime > _STARTED - 1.0 for _, s in found):
        # What runs may be what the file held before.
        return b""
    stamps = [f"{path} {s.st_size} {s.st_mtime_ns} {s.st_ctime_ns}" for path, s in found]
    return sha256("\n".join([sys.version, *stamps]).encode("utf-8", "surrogatepass")).digest()


_unseen = [LARGEST]
"""Bytes that this process has written since it last looked over the folder."""


def _make_room(place: Path, written: int) -> None:
    """Remove what was used longest ago where there is too much; another process may do the same."""
    _unseen[0] += written
    if _unseen[0] < LARGEST // 16:
        return
    _unseen[0] = 0
    files = []
    for name in _listed(place):
        if name.endswith((_ENDING, _UNFINISHED)):
            with suppress(OSError):
                found = os.lstat(place / name)
                files.append((found.st_mtime, name, max(found.st_size, LEAST)))
    total = sum(size for _, _, size in files)
    if total <= LARGEST:
        return
    for _, name, size in sorted(files):
        if total <= LARGEST * 3 // 4:
            return
        total -= size
        with suppress(OSError):
            os.unlink(place / name)


def _listed(place: Path) -> list[str]:
    try:
        return os.listdir(place)
    except OSError:
        return []


class _Pickler(pickle.Pickler):
    """Writes a data class as a call of it: a state to be set after making it takes three times as long to load."""

    def __init__(self, stream: io.BytesIO) -> None:
        super().__init__(stream, protocol=pickle.HIGHEST_PROTOCOL)

    def reducer_override(self, value: Any) -> Any:
        """Tell how a value is made."""
        kind: Any = type(value)
        parts = _parts(kind)
        return (kind, parts(value)) if parts else NotImplemented


@cache
def _parts(kind: type) -> Callable[[Any], Any] | None:
    """Give what lists the arguments of which a data class makes its value; None for other classes."""
    if not is_dataclass(kind):
        return None
    names = [f.name for f in fields(kind) if f.init]
    if len(names) > 1:
        return attrgetter(*names)
    return lambda value: tuple(getattr(value, name) for name in names)
