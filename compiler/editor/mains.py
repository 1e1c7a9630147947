"""Which files of a workspace are checked as they would be on the command line, and bring the others with them.

A file with a profile is; so is a file that no other uses. Looked for in lines, not in trees, so that a broken text
keeps its part.
"""

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..meaning.loading import library_folder
from .texts import Texts

MOST_FILES = 5_000
"""Files of a workspace that are looked for; more are met as they are opened or used."""
MOST_FOLDERS = 20_000
"""Folders that are looked through."""

_PROFILE = re.compile(r"^[ \t]*profile[ \t]+[A-Za-z_]\w*[ \t]*(?:from\b|\{|#|\r?$)", re.MULTILINE)
_USE = re.compile(r'^[ \t]*use[ \t]+(library[ \t]+)?"([^"\r\n]*)"', re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Head:
    """What of a file decides which files are checked: whether it has a profile, and the files that it uses."""

    profile: bool
    uses: tuple[Path, ...]


def head_of(path: Path, texts: Texts) -> Head:
    """Look for the profiles and the use lines of a file."""
    text = texts.text(path) or ""
    uses = tuple(used_file(found[2], bool(found[1]), path, texts) for found in _USE.finditer(text))
    return Head(_PROFILE.search(text) is not None, uses)


def used_file(written: str, library: bool, user: Path, texts: Texts) -> Path:
    """Give the file that a use line names, whether it is there or not."""
    base = library_folder() if library else user.parent
    return texts.resolved(base / (written if written.endswith(".melt") else written + ".melt"))


def mains(heads: Mapping[Path, Head]) -> list[Path]:
    """Choose the files to check, so that each file is checked with at least one of them."""
    used = {u for path, head in heads.items() for u in head.uses if u != path}
    chosen = [p for p in sorted(heads) if heads[p].profile or p not in used]
    covered = set(_reached(chosen, heads))
    for path in sorted(heads):
        # What is left uses one another in circles.
        if path not in covered:
            chosen.append(path)
            covered |= set(_reached([path], heads))
    return chosen


def _reached(start: Iterable[Path], heads: Mapping[Path, Head]) -> Iterator[Path]:
    seen, waiting = set[Path](), list(start)
    while waiting:
        path = waiting.pop()
        if path not in seen:
            seen.add(path)
            yield path
            waiting += heads[path].uses if path in heads else ()


def melt_files(folders: Iterable[Path]) -> list[Path]:
    """List the files of some folders and all below them, but for hidden ones and virtual environments."""
    found: list[Path] = []
    looked = 0
    for folder in folders:
        for here, inner, names in os.walk(folder):
            looked += 1
            if looked > MOST_FOLDERS or len(found) > MOST_FILES:
                return found
            inner[:] = sorted(d for d in inner if not d.startswith(".") and d != "node_modules")
            if "pyvenv.cfg" in names:
                inner.clear()
                continue
            found += [Path(here, n).resolve() for n in sorted(names) if n.endswith(".melt")]
    return list(dict.fromkeys(found))
