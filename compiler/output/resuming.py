"""What an interrupted run has made: a record beside the files, so that another run does only the rest.

The record counts only for the very same sources, program, targets and effort; it is removed when a profile is complete.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from .. import __version__
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Source
from .targets import Target, builtin_folder

Data = dict[str, Any]

NAME = ".made-so-far"


def digest(sources: Mapping[str, Source], effort: int, targets: Sequence[Target] = ()) -> str:
    """Tell apart runs that would not make the same files; ``targets`` are those that are written."""
    found = hashlib.sha256(f"{__version__}\n{effort}\n".encode())
    parts = {f"text {name}": source.text.encode("utf-8") for name, source in sources.items()}
    folder = builtin_folder()
    for path in sorted(
        p for p in folder.rglob("*") if p.is_file() and p.suffix in (".j2", ".toml", ".json", ".css", ".js")
    ):
        parts[f"target {path.relative_to(folder).as_posix()}"] = path.read_bytes()
    parts["targets"] = " ".join(t.name for t in targets).encode("utf-8")
    for source in (s for t in targets for s in t.texts.values()):
        parts[f"own {source.name}"] = source.text.encode("utf-8")
    for name, content in sorted(parts.items()):
        found.update(f"{name} {len(content)}\n".encode())
        found.update(content)
    return found.hexdigest()


class Record:
    """The machines of one profile that are complete, each with its brief."""

    def __init__(self, folder: Path, profile: str, key: str) -> None:
        self._folder = folder
        self._path = folder / profile / NAME
        self._key = key
        self._begun = False

    def read(self) -> dict[str, Data]:
        """Give the briefs of machines whose files are all there, if the record is of the same sources."""
        try:
            lines = self._path.read_text(encoding="utf-8").splitlines()
            entries = [json.loads(line) for line in lines if line.endswith("}")]
            if not entries or entries[0].get("key") != self._key:
                return {}
            found = {e["machine"]: e["brief"] for e in entries[1:] if self._all_there(e["files"])}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            # Whatever is wrong with it: then everything is made anew.
            return {}
        self._begun = True
        return found

    def _all_there(self, files: Iterable[str]) -> bool:
        return all((self._folder / f).is_file() for f in files)

    def add(self, made: Mapping[str, tuple[list[str], Data]], faults: list[Diagnostic]) -> None:
        """Note machines with their files and briefs."""
        entries: list[Data] = [] if self._begun else [{"key": self._key}]
        entries += [{"machine": m, "files": files, "brief": brief} for m, (files, brief) in made.items()]
        try:
            with self._path.open("a" if self._begun else "w", encoding="utf-8") as file:
                file.writelines(json.dumps(e, ensure_ascii=False) + "\n" for e in entries)
        except OSError as error:
            reason = (error.strerror or "it failed").lower()
            faults.append(diagnose("M603", NOWHERE, path=self._path, reason=reason))
        self._begun = True

    def remove(self) -> None:
        """Forget it: the profile is complete."""
        self._path.unlink(missing_ok=True)
