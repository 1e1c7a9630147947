"""Trees of files that were read before, kept in the store by the digest of name and text.

A tree is kept only where the file had no fault. Its use lines are at hand at once; the statements are made when they
are asked for, since of a file that did not change often nothing else is needed.
"""

from typing import TYPE_CHECKING

from ..text import store
from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .file import File

if TYPE_CHECKING:
    from .tree import Statement


def read_kept(source: Source) -> tuple[File, list[Diagnostic]]:
    """Give what ``reading.read`` gives, from the store where it can be had."""
    key = store.key("tree", source.name, source.text)
    kept = store.recall(key)
    if kept is not None:
        uses, pickled = kept
        return File.later(source.name, uses, lambda: _statements(pickled, source)), []
    file, faults = _read(source)
    if not faults:
        pickled = store.dump(file.statements)
        if pickled is not None:
            store.keep(key, (file.uses, pickled))
    return file, faults


def _statements(pickled: bytes, source: Source) -> tuple["Statement", ...]:
    found: tuple[Statement, ...] | None = store.load(pickled)
    return _read(source)[0].statements if found is None else found


def _read(source: Source) -> tuple[File, list[Diagnostic]]:
    # The parser and its tables are loaded only for a text that is new.
    from .reading import read

    return read(source)
