"""Trees of files that were read before, kept by the digest of their text in the user's cache folder.

A tree is kept only where the file had no fault. The folder can be emptied or spoilt at any time: what cannot be used
is read anew. Files are written whole, by a rename, so that two processes never see half a tree.
"""

import hashlib
import os
import pickle
import sys
import tempfile
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.resources import files
from operator import attrgetter
from pathlib import Path
from typing import IO, Any

from .. import __version__
from ..text.diagnostic import Diagnostic
from ..text.source import Source
from . import tree


def read_kept(source: Source) -> tuple[tree.File, list[Diagnostic]]:
    """Give what ``reading.read`` gives, from the cache where it can be had."""
    folder = cache_folder()
    path = folder / f"tree-{_digest(source)}.bin" if folder else None
    kept = _load(path) if path else None
    if kept is not None:
        return kept, []
    # The parser and its tables are loaded only for a text that is new.
    from .reading import read

    file, faults = read(source)
    if path and not faults:
        _store(path, file)
    return file, faults


@cache
def cache_folder() -> Path | None:
    """Give the program's folder in the user's cache; None where there is none that can be written."""
    base = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    folder = Path(base) / "meltwright"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


def _digest(source: Source) -> str:
    """Digest all that a tree hangs on: the text, the name in its places, and the reader itself."""
    parts = (source.name, source.text, _reader())
    return hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()[:40]


@cache
def _reader() -> str:
    """Tell this version of the reader from any other."""
    code = [*Path(__file__).parent.glob("*.py"), Path(str(files("meltwright.grammar").joinpath("melt.lark")))]
    stamps = sorted(f"{p.name} {s.st_size} {s.st_mtime_ns}" for p in code for s in [p.stat()])
    return "\n".join([__version__, sys.version, *stamps])


def _load(path: Path) -> tree.File | None:
    try:
        found = pickle.loads(path.read_bytes())
    except Exception:  # whatever a spoilt file makes the loader raise, the text can be read anew
        return None
    return found if isinstance(found, tree.File) else None


def _store(path: Path, file: tree.File) -> None:
    try:
        handle, temporary = tempfile.mkstemp(prefix=".tree-", dir=path.parent)
    except OSError:
        return
    try:
        with os.fdopen(handle, "wb") as stream:
            _Pickler(stream).dump(file)
        os.replace(temporary, path)
    except (OSError, RecursionError):
        Path(temporary).unlink(missing_ok=True)


class _Pickler(pickle.Pickler):
    """Writes every node as a call of its class: a state to be set after making it takes three times as long to load."""

    def __init__(self, stream: IO[bytes]) -> None:
        super().__init__(stream, protocol=pickle.HIGHEST_PROTOCOL)
        self.dispatch_table = _reductions()


@cache
def _reductions() -> dict[type, Callable[[Any], Any]]:
    classes = [c for c in vars(tree).values() if isinstance(c, type) and is_dataclass(c)]
    return {c: _reduction(c, attrgetter(*(f.name for f in fields(c)))) for c in classes}


def _reduction(kind: type, parts: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda node: (kind, parts(node))
