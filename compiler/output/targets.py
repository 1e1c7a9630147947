"""Targets: folders with a manifest, templates and perhaps a schema."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE

MANIFEST = "target.toml"


@dataclass(frozen=True, slots=True)
class TargetFile:
    """One file a target writes: ``each`` machine or profile, where, and from which template."""

    each: str
    path: str
    template: str


@dataclass(frozen=True, slots=True)
class Target:
    """A target folder that was read."""

    name: str
    folder: Path
    about: str
    files: tuple[TargetFile, ...]
    schema: str


def builtin_folder() -> Path:
    """Give the folder of the targets that are installed with the program."""
    return Path(str(files("meltwright.targets")))


def read_targets(folder: Path, faults: list[Diagnostic]) -> list[Target]:
    """Read every target below ``folder``, in the order of their names."""
    found = []
    for manifest in sorted(folder.glob(f"*/{MANIFEST}")):
        target = _read(manifest, faults)
        if target is not None:
            found.append(target)
    return found


def _read(manifest: Path, faults: list[Diagnostic]) -> Target | None:
    name = manifest.parent.name
    try:
        data = tomllib.loads(manifest.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        faults.append(_bad(name, f"its manifest cannot be read ({error})", "targets/README.md shows a manifest"))
        return None
    entries = []
    for entry in data.get("file", []):
        problem = _problem(entry, manifest.parent)
        if problem:
            faults.append(_bad(name, problem, "targets/README.md shows a manifest"))
            return None
        entries.append(TargetFile(entry["each"], entry["path"], entry["template"]))
    if not entries:
        faults.append(_bad(name, "its manifest lists no file", "add a [[file]] table"))
        return None
    return Target(name, manifest.parent, str(data.get("about", "")), tuple(entries), str(data.get("schema", "")))


def _problem(entry: Any, folder: Path) -> str:
    if not isinstance(entry, dict) or not all(isinstance(entry.get(k), str) for k in ("each", "path", "template")):
        return "a [[file]] table needs each, path and template as texts"
    if entry["each"] not in ("machine", "profile"):
        return f"each is {entry['each']!r}, not machine or profile"
    parts = Path(entry["path"]).parts
    if not parts or Path(entry["path"]).is_absolute() or ".." in parts or "\\" in entry["path"]:
        return f"the path {entry['path']!r} leaves the output folder"
    if "{machine}" not in entry["path"] and entry["each"] == "machine":
        return f"the path {entry['path']!r} is the same for every machine"
    if Path(entry["template"]).name != entry["template"] or not (folder / entry["template"]).is_file():
        return f"there is no template {entry['template']!r} in its folder"
    return ""


def _bad(name: str, why: str, advice: str) -> Diagnostic:
    return diagnose("M601", NOWHERE, name=name, why=why, advice=advice)
