"""Comparing what the sources give with the outputs that are kept: nothing is written."""

import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ..text.diagnostic import Diagnostic, diagnose, order
from ..text.source import Source, Span
from .reports import relative as relative_path

Data = dict[str, Any]

LARGEST = 50_000_000
"""Bytes of the largest file that is looked into."""
MADE_FROM = ("format", "program", "sources", "work")
"""Fields of a bundle that differ whenever it was made from another text, by another program or with other options."""


class Comparing:
    """Takes the texts of files instead of writing them, and finds where the folder differs from them.

    ``command`` is what would write them; it is told in the help. ``sources`` holds the texts that places point to.
    """

    def __init__(self, folder: Path, command: str) -> None:
        self._folder = folder
        self._command = command
        self._known: set[Path] = set()
        self._changed: dict[str, bool] = {}
        self._found: list[Diagnostic] = []
        self.compared: list[str] = []
        self.sources: dict[str, Source] = {}

    def machine(self, profile: str, texts: Mapping[str, str]) -> None:
        """Compare the files of a machine."""
        bundles = {path: text for path, text in sorted(texts.items()) if _may_be_bundle(path, text)}
        # Without a bundle nothing tells what the kept files were made from.
        changed = not bundles or any(self._made_from_others(path, text) for path, text in bundles.items())
        self._changed[profile] = self._changed.get(profile, False) or changed
        self._compare(texts, changed)

    def profiles(self, texts: Mapping[str, str], profiles: Iterable[str]) -> None:
        """Compare the files of whole profiles."""
        self._compare(texts, any(self._changed.get(p, True) for p in profiles))

    def findings(self, besides: Iterable[Path] = ()) -> tuple[Diagnostic, ...]:
        """List all that was found, and what is superfluous, in order of the paths; ``besides`` are left alone."""
        apart = {p.resolve() for p in besides}
        for path in sorted(self._files()):
            if path not in self._known and path.resolve() not in apart:
                shown = relative_path(path)
                self.compared.append(shown)
                self._found.append(diagnose("M608", Span(shown, 0, 0), path=shown))
        return order(self._found)

    def _files(self) -> Iterable[Path]:
        """List what is in the folder; hidden files are somebody's own."""
        for at, folders, names in os.walk(self._folder):
            folders[:] = sorted(f for f in folders if not f.startswith("."))
            yield from (Path(at) / n for n in names if not n.startswith("."))

    def _made_from_others(self, relative: str, text: str) -> bool:
        """Tell whether a file is a bundle that was made from other sources than these; false for other files."""
        kept, _ = self._read(self._folder / relative)
        if kept == text:
            return False
        try:
            ours = json.loads(text)
            if not isinstance(ours, dict) or not all(key in ours for key in MADE_FROM):
                return False
            theirs = json.loads(kept or "")
            return _origin(theirs) != _origin(ours)
        except (ValueError, TypeError, AttributeError, RecursionError):
            # Whoever spoilt it: what it was made from is not known any more.
            return True

    def _compare(self, texts: Mapping[str, str], changed: bool) -> None:
        for relative, text in sorted(texts.items()):
            path = self._folder / relative
            self._known.add(path)
            self.compared.append(relative_path(path))
            kept, reason = self._read(path)
            if kept != text:
                self._found.append(self._differs(path, text, kept, reason, changed))

    def _read(self, path: Path) -> tuple[str | None, str]:
        """Give the text of a file, or why there is none; an empty reason where there is no file."""
        try:
            if path.stat().st_size > LARGEST:
                return None, f"it has more than {LARGEST:,} bytes"
            return path.read_bytes().decode("utf-8"), ""
        except (FileNotFoundError, NotADirectoryError):
            return None, ""
        except OSError as error:
            return None, (error.strerror or "it cannot be read").lower()
        except UnicodeDecodeError:
            return None, "it is not UTF-8 text"

    def _differs(self, path: Path, text: str, kept: str | None, reason: str, changed: bool) -> Diagnostic:
        shown = relative_path(path)
        facts: dict[str, Any] = {"path": shown, "command": self._command}
        if kept is None:
            code = "M609" if reason else "M605"
            return diagnose(code, Span(shown, 0, 0), reason=reason, **facts)
        source = self.sources[shown] = Source(shown, path, kept)
        span = _first_difference(source, text)
        if kept.replace("\r\n", "\n") == text:
            advice = "only its ends of lines differ: tell the version control to leave them as they are"
            return diagnose("M606", span, help=advice, **facts)
        return diagnose("M606" if changed else "M607", span, **facts)


def _may_be_bundle(relative: str, text: str) -> bool:
    """Tell bundles from most other files without reading them as JSON, which takes long for a fleet."""
    return relative.endswith(".json") and all(f'"{key}"' in text for key in MADE_FROM)


def _origin(bundle: Data) -> list[Any]:
    """Give what a bundle was made from: all that is not an answer."""
    return [*(bundle.get(key) for key in MADE_FROM[:3]), (bundle.get("work") or {}).get("limit")]


def _first_difference(source: Source, text: str) -> Span:
    """Give the first line that is not what it should be."""
    kept, wanted = source.text.splitlines(True), text.splitlines(True)
    line = next((i for i, (a, b) in enumerate(zip(kept, wanted, strict=False)) if a != b), min(len(kept), len(wanted)))
    start = sum(len(a) for a in kept[:line])
    length = len(kept[line].rstrip()) if line < len(kept) else 0
    return Span(source.name, min(start, len(source.text)), min(start + length, len(source.text)))
