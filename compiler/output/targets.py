"""Targets: folders with a manifest, templates, and perhaps a name map and a schema."""

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from ..meaning.near import near
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Source, Span
from .naming import NameMap, read_names
from .toml_places import place, read_toml, schema_faults, whole

MANIFEST = "target.toml"
KINDS = (".j2", ".toml", ".json")
LARGEST = 1_000_000
"""Bytes of the largest text of a target."""
MOST_TEXTS = 200

ADVICE = "targets/README.md shows a manifest, and targets/schemas/manifest.json says what it may hold"

Sources = dict[str, Source]


@dataclass(frozen=True, slots=True)
class TargetFile:
    """One file a target writes: ``each`` machine or profile, where, and from which template."""

    each: str
    path: str
    template: str


@dataclass(frozen=True, slots=True)
class Target:
    """A target folder that was read.

    One of somebody's own keeps its ``texts`` by file name, and its templates run under guard; those that are
    installed with the program are ``neutral``, and their templates are read from their folder.
    """

    name: str
    folder: Path
    about: str
    files: tuple[TargetFile, ...]
    schema: str
    names: NameMap | None = None
    texts: Mapping[str, Source] = field(default_factory=dict)
    neutral: bool = False


def builtin_folder() -> Path:
    """Give the folder of the targets that are installed with the program."""
    return Path(str(files("meltwright.targets")))


def neutral_targets(faults: list[Diagnostic]) -> list[Target]:
    """Read the targets that are installed with the program, in the order of their names."""
    found = []
    for manifest in sorted(builtin_folder().glob(f"*/{MANIFEST}")):
        name = manifest.parent.name
        try:
            data = tomllib.loads(manifest.read_text(encoding="utf-8"))
            entries = [TargetFile(e["each"], e["path"], e["template"]) for e in data["file"]]
        except (OSError, ValueError, KeyError, TypeError) as error:
            why = f"its manifest cannot be used ({error})"
            faults.append(diagnose("M601", NOWHERE, name=name, why=why, advice=ADVICE))
            continue
        about, schema = str(data.get("about", "")), str(data.get("schema", ""))
        found.append(Target(name, manifest.parent, about, tuple(entries), schema, neutral=True))
    return found


def choose_targets(
    folders: Sequence[Path], only: Sequence[str], faults: list[Diagnostic], sources: Sources
) -> list[Target]:
    """Gather the neutral targets and those of folders, or of all these the ones that ``only`` names.

    Texts that places may point to are added to ``sources``.
    """
    found = neutral_targets(faults)
    for folder in folders:
        for target in read_targets(folder, faults, sources):
            if any(t.name == target.name for t in found):
                at = Span(f"{target.name}/{MANIFEST}", 0, 0)
                faults.append(diagnose("M611", at, name=target.name))
            else:
                found.append(target)
    names = [t.name for t in found]
    if not any(f.is_error for f in faults):
        for name in only:
            if name not in names:
                advice = near(name, names, f"the targets are {', '.join(sorted(names))}")
                faults.append(diagnose("M612", NOWHERE, name=name, near=advice))
    chosen = [t for t in found if not only or t.name in only]
    clashes(chosen, faults)
    return chosen


def clashes(targets: Iterable[Target], faults: list[Diagnostic]) -> None:
    """Report files that two targets would write; paths count as the same whatever their case."""
    taken: dict[str, str] = {}
    for target in targets:
        for i, file in enumerate(target.files):
            key = file.path.casefold()
            if key in taken:
                manifest = target.texts.get(MANIFEST)
                at = place(manifest, "file", i, "path") if manifest else NOWHERE
                faults.append(diagnose("M613", at, path=file.path, name=target.name, other=taken[key]))
            taken[key] = target.name


def read_targets(folder: Path, faults: list[Diagnostic], sources: Sources | None = None) -> list[Target]:
    """Read a target of somebody's own, or every one in a folder of them, in the order of their names."""
    try:
        manifests = [folder / MANIFEST] if (folder / MANIFEST).is_file() else sorted(folder.glob(f"*/{MANIFEST}"))
    except OSError:
        manifests = []
    if not manifests:
        faults.append(diagnose("M610", NOWHERE, path=folder))
    found = [_read(m.parent, faults, sources if sources is not None else {}) for m in manifests]
    return [t for t in found if t is not None]


def _read(folder: Path, faults: list[Diagnostic], sources: Sources) -> Target | None:
    name = folder.resolve().name
    texts = _texts(folder, name, faults)
    if texts is None:
        return None
    sources |= {s.name: s for s in texts.values()}
    manifest = texts[MANIFEST]
    data, span, why = read_toml(manifest)
    problems = [(span, why)] if why else schema_faults(data, "manifest", manifest) or list(_problems(data, texts))
    for at, sentence in problems:
        faults.append(diagnose("M601", at, name=name, why=sentence, advice=ADVICE))
    if problems:
        return None
    names = None
    if "names" in data:
        names = read_names(name, texts[data["names"]], faults)
        if names is None:
            return None
    entries = tuple(TargetFile(e["each"], e["path"], e["template"]) for e in data["file"])
    return Target(name, folder, data["about"], entries, data.get("schema", ""), names, texts)


def _texts(folder: Path, name: str, faults: list[Diagnostic]) -> dict[str, Source] | None:
    """Read the texts of a target: nothing outside of its folder, and nothing beyond measure."""
    found: dict[str, Source] = {}
    problem = ""
    root = folder.resolve()
    for path in sorted(p for p in folder.iterdir() if p.suffix in KINDS and not p.name.startswith(".")):
        try:
            if path.resolve().parent != root or not path.is_file():
                problem = f"{path.name} is no file of its folder"
            elif path.stat().st_size > LARGEST:
                problem = f"{path.name} has more than {LARGEST:,} bytes"
            else:
                found[path.name] = Source(f"{name}/{path.name}", path, path.read_bytes().decode("utf-8-sig"))
        except OSError as error:
            problem = f"{path.name} cannot be read: {(error.strerror or 'it failed').lower()}"
        except UnicodeDecodeError:
            problem = f"{path.name} is not UTF-8 text"
        if len(found) > MOST_TEXTS:
            problem = f"it has more than {MOST_TEXTS} texts"
        if problem:
            facts: dict[str, Any] = {"why": problem, "advice": "a target is a folder of a few small texts"}
            faults.append(diagnose("M601", Span(f"{name}/{path.name}", 0, 0), name=name, **facts))
            return None
    return found


def _problems(data: dict[str, Any], texts: Mapping[str, Source]) -> Iterator[tuple[Span, str]]:
    """List what is wrong with a manifest of the right form."""
    manifest = texts[MANIFEST]
    for key in ("names", "schema"):
        if key in data and data[key] not in texts:
            yield place(manifest, key), f"there is no {data[key]!r} in its folder"
    for i, entry in enumerate(data["file"]):
        why = _path_problem(entry["path"], entry["each"])
        if why:
            yield place(manifest, "file", i, "path"), why
        if entry["template"] not in texts:
            at = place(manifest, "file", i, "template")
            yield at, f"there is no template {entry['template']!r} in its folder"
    if not data["file"]:
        yield whole(manifest), "its manifest lists no file"


def _path_problem(path: str, each: str) -> str:
    parts = path.split("/")
    bare = path.replace("{profile}", "p").replace("{machine}", "m")
    if Path(path).is_absolute() or path.startswith("/") or ".." in parts or "\\" in path or ":" in path:
        return f"the path {path!r} leaves the output folder"
    if any(p in ("", ".") for p in parts) or not bare.isprintable() or any(p != p.strip() for p in parts):
        return f"the path {path!r} is none that a file can have everywhere"
    if "{" in bare or "}" in bare:
        return f"the path {path!r} may hold {{profile}} and {{machine}}, and nothing else in braces"
    if parts[-1].startswith("."):
        return f"the path {path!r} names a hidden file"
    if each == "machine" and "{machine}" not in path:
        return f"the path {path!r} is the same for every machine"
    if each == "profile" and "{machine}" in path:
        return f"the path {path!r} names a machine, and the file is of a whole profile"
    if "{profile}" not in path:
        return f"the path {path!r} is the same for every profile"
    return ""
