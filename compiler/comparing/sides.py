"""The two sides: a profile file, a folder of them, a revision of a repository, or files that ``compile`` wrote."""

import json
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..compiling import Prepared, wanted
from ..meaning.checking import check_loaded
from ..meaning.loading import LIBRARY, library_folder, load
from ..meaning.model import ProfileDecl
from ..meaning.near import brief
from ..syntax import tree
from ..telling.bundle import FORMAT
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Source, Span
from .revisions import Repository, repository

Data = dict[str, Any]

COMMAND_LINE = "command line"
"""Where faults of the request itself are placed."""

WORKING = "working tree"

_PROFILE = re.compile(r"^[ \t]*profile[ \t]", re.MULTILINE)
_NEEDED = ("profile", "machine", "holds", "settings", "wants", "merits", "grades", "requirements", "inputs", "sources")


@dataclass(frozen=True, slots=True)
class Text:
    """A file with profiles, checked and lowered. ``name`` is its path below its side."""

    name: str
    prepared: Prepared
    files: Mapping[str, tree.File]
    pairs: tuple[tuple[ProfileDecl, str], ...]

    @property
    def profiles(self) -> dict[str, ProfileDecl]:
        """The profiles of the file itself."""
        return {p.name: p for p, _ in self.pairs}


@dataclass(slots=True)
class Side:
    """One side: how it is named, and what it holds, either texts or bundles by profile and machine.

    ``kind`` is ``file``, ``folder``, ``revision`` or ``outputs``; ``base`` is the folder its places are told from.
    ``single`` tells that it is one written file, which says nothing of other machines.
    """

    name: str
    kind: str
    base: Path
    commit: str = ""
    single: bool = False
    texts: list[Text] = field(default_factory=list)
    bundles: dict[tuple[str, str], Data] = field(default_factory=dict)

    def shown(self, source: Source) -> str:
        """Name a file of this side: below its base, or in the library."""
        if source.name.startswith(LIBRARY):
            return source.name
        return _below(source.path, self.base)

    def place(self, text: Text, span: Span) -> str:
        """Write a place as ``file:line``; nothing for no place."""
        source = text.prepared.sources.get(span.file)
        return f"{self.shown(source)}:{source.line_column(span.start)[0]}" if source else ""


@dataclass(frozen=True, slots=True)
class Fault:
    """Diagnostics with the side and text they are of, if they are of any."""

    diagnostics: tuple[Diagnostic, ...]
    side: Side | None = None
    text: Text | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """What is to be compared, and the words of the command line for faults to point at."""

    old: Path
    new: Path
    since: str = ""
    until: str = ""
    machine: str = ""

    @property
    def line(self) -> Source:
        """The request as it was written."""
        words = [str(self.old)]
        words += [f"--from {self.since}"] if self.since else [str(self.new)]
        words += [f"--to {self.until}"] if self.until else []
        words += [f"--machine {self.machine}"] if self.machine else []
        return Source(COMMAND_LINE, Path(COMMAND_LINE), "compare " + " ".join(words))

    def at(self, word: str) -> Span:
        """Find a word of the request."""
        text = self.line.text
        start = text.rfind(word) if word == str(self.new) and not self.since else text.find(word, len("compare "))
        return Span(COMMAND_LINE, start, start + len(word)) if start >= 0 else Span(COMMAND_LINE, 0, len(text))


def read_sides(request: Request, scratch: Path, faults: list[Fault]) -> tuple[Side, Side] | None:
    """Read both sides; ``scratch`` is a folder to put revisions into. None where there are faults."""
    if request.since:
        found = _revisions(request, scratch, faults)
    else:
        both = (request.old, request.new)
        sides = [_read(Side(str(path), "file", path), path, request.at(str(path)), faults) for path in both]
        found = None if None in sides else sides
    if found is None or faults:
        return None
    old, new = found
    return (old, new) if old is not None and new is not None else None


# ---- files and folders


def _read(side: Side, path: Path, place: Span, faults: list[Fault], library: Path | None = None) -> Side | None:
    """Fill a side from what lies at a path."""
    if path.is_dir():
        side.base = path
        side.kind = side.kind if side.kind == "revision" else "folder"
        melts = [p for p in _files(path, ".melt") if _has_profile(p)]
        side.texts = [t for p in melts if (t := _text(side, p, library, faults)) is not None]
        if not melts:
            side.kind = "outputs"
            _bundles(side, _files(path, ".json"), False, faults)
            if not side.bundles and not faults:
                faults.append(Fault((diagnose("M709", place, path=side.name),)))
        return side
    side.base = path.parent
    if not os.path.lexists(path):
        faults.append(Fault((diagnose("M101", place, path=brief(str(path))),)))
        return None
    if path.suffix == ".json":
        side.kind, side.single = "outputs", True
        _bundles(side, [path], True, faults)
        return side
    text = _text(side, path, library, faults)
    side.texts = [text] if text is not None else []
    return side


def _files(folder: Path, ending: str) -> list[Path]:
    """List the files below a folder, but for hidden ones, in the order of their names."""
    found = [p for p in folder.rglob(f"*{ending}") if p.is_file()]
    shown = [p for p in found if not any(part.startswith(".") for part in p.relative_to(folder).parts)]
    return sorted(shown, key=lambda p: p.relative_to(folder).as_posix())


def _has_profile(path: Path) -> bool:
    """Tell whether a file of a folder is one to compare; others are read where they are used."""
    try:
        return _PROFILE.search(path.read_text(encoding="utf-8-sig")) is not None
    except (OSError, ValueError):
        # What cannot be read is reported as any file is.
        return True


def _text(side: Side, path: Path, library: Path | None, faults: list[Fault]) -> Text | None:
    """Check and lower a file; None where it has errors, which are reported with the side's name."""
    loaded = load(path, library)
    model, diagnostics, sources = check_loaded(loaded)
    prepared = Prepared(model, [], list(diagnostics), sources)
    pairs = wanted(model, path.name, "", prepared.faults) if model is not None else []
    text = Text(_below(path, side.base), prepared, loaded.files, tuple(pairs))
    if not prepared.failed and model is not None:
        # numpy is loaded only for texts without faults.
        from ..network.lowering import lower_all

        prepared.networks = [n for n in lower_all(model, pairs, prepared.faults) if n is not None]
    if prepared.failed:
        faults.append(at_fault(side, text))
        return None
    return text


def at_fault(side: Side, text: Text) -> Fault:
    """Report what keeps a text from being compared, with the name of its side."""
    found = text.prepared.compiled().diagnostics
    count = sum(d.is_error for d in found)
    counted = f"{count} {'error' if count == 1 else 'errors'}"
    advice = "mend the text" + (", or compare another revision" if side.kind == "revision" else "")
    whole = diagnose("M706", Span(COMMAND_LINE, 0, 0), side=named(side), count=counted, advice=advice)
    return Fault((*found, whole), side, text)


def named(side: Side) -> str:
    """Name a side in a sentence."""
    return (
        f"revision {side.name}" if side.kind == "revision" else f"the {WORKING}" if side.name == WORKING else side.name
    )


def _below(path: Path, base: Path) -> str:
    return Path(os.path.relpath(os.path.realpath(path), os.path.realpath(base))).as_posix()


# ---- outputs


def _bundles(side: Side, paths: Iterable[Path], every: bool, faults: list[Fault]) -> None:
    """Read bundles; with ``every``, a file that is none is a fault."""
    for path in paths:
        shown = path.name if every else _below(path, side.base)
        data, why = _bundle(path)
        ours = isinstance(data, dict) and isinstance(data.get("program"), dict)
        ours = ours and data["program"].get("name") == "meltwright"
        if not ours:
            if every:
                why = why or "no program meltwright stands in it"
                faults.append(Fault((diagnose("M710", Span(shown, 0, 0), path=shown, why=why),)))
        elif data.get("format") != FORMAT:
            facts: Data = {"path": shown, "found": brief(str(data.get("format"))), "wanted": FORMAT}
            faults.append(Fault((diagnose("M712", Span(shown, 0, 0), **facts),)))
        elif "machine" in data and (lacking := [n for n in _NEEDED if n not in data]):
            why = f"{', '.join(lacking)} is missing" if len(lacking) == 1 else f"{', '.join(lacking)} are missing"
            faults.append(Fault((diagnose("M710", Span(shown, 0, 0), path=shown, why=why),)))
        elif "machine" in data:
            side.bundles[str(data["profile"]), str(data["machine"])] = data


def _bundle(path: Path) -> tuple[Any, str]:
    try:
        return json.loads(path.read_text(encoding="utf-8"), parse_constant=_no_number), ""
    except OSError as error:
        return None, (error.strerror or "it cannot be opened").lower()
    except (ValueError, RecursionError):
        return None, "it is not JSON"


def _no_number(text: str) -> float:
    """Refuse what JSON has no form for."""
    raise ValueError(text)


# ---- revisions


def _revisions(request: Request, scratch: Path, faults: list[Fault]) -> list[Side | None] | None:
    own: list[Diagnostic] = []
    place = request.at(str(request.old))
    repo = repository(request.old, own, place)
    path = _within(repo, request.old) if repo else None
    if repo is not None and path is None:
        own.append(diagnose("M702", place, path=brief(str(request.old))))
    if repo is None or path is None:
        faults.append(Fault(tuple(own)))
        return None
    names = [request.since, *([request.until] if request.until else [])]
    commits = [_commit(repo, name, request, own) for name in names]
    folders = [scratch / str(k) for k in range(len(names))]
    for commit, folder in zip(commits, folders, strict=True):
        if commit and not own:
            _put(repo, commit, path, folder, own, request.at(names[0]))
    if own:
        faults.append(Fault(tuple(own)))
        return None
    sides = [Side(n, "revision", f, c) for n, f, c in zip(names, folders, commits, strict=True)]
    if not request.until:
        sides.append(Side(WORKING, "folder", repo.root))
        folders.append(repo.root)
    if not _there(request, path, sides, folders, faults):
        return None
    found: list[Side | None] = []
    for side, folder in zip(sides, folders, strict=True):
        library = _library(repo, folder) if side.commit else None
        read = _read(side, folder / path, request.at(str(request.old)), faults, library)
        if read is not None:
            read.base = folder
            read.texts = [Text(_name_below(t, folder, path), t.prepared, t.files, t.pairs) for t in read.texts]
        found.append(read)
    return found


def _name_below(text: Text, folder: Path, path: str) -> str:
    """Name a text by its path below the repository."""
    whole = folder / path
    return path if not whole.is_dir() else Path(path, text.name).as_posix()


def _within(repo: Repository, path: Path) -> str | None:
    """Give a path below the root of its repository; links in its last part are kept."""
    whole = Path(os.path.abspath(path))
    resolved = Path(os.path.realpath(whole)) if whole.is_dir() else Path(os.path.realpath(whole.parent), whole.name)
    try:
        return resolved.relative_to(os.path.realpath(repo.root)).as_posix()
    except ValueError:
        return None


def _commit(repo: Repository, name: str, request: Request, faults: list[Diagnostic]) -> str:
    commit = repo.commit(name)
    if not commit:
        code, _, _ = repo.git(["rev-parse", "--verify", "--quiet", "HEAD"])
        advice = "commit something first" if code else "see which there are: git log --oneline"
        faults.append(diagnose("M703", request.at(name), revision=brief(name), advice=advice))
    return commit


def _put(repo: Repository, commit: str, path: str, folder: Path, faults: list[Diagnostic], place: Span) -> None:
    """Put what may be read of a revision into a folder, which becomes the project that imports may not leave."""
    (folder / ".git").mkdir(parents=True)
    under = "" if path == "." else path + "/"

    def chosen(name: str) -> bool:
        return name == path or name.endswith(".melt") or (name.endswith(".json") and name.startswith(under))

    complaint = repo.put(commit, folder, chosen)
    if complaint:
        faults.append(diagnose("M708", place, why=complaint))


def _library(repo: Repository, folder: Path) -> Path | None:
    """Give the library of a revision, where the installed one lies in the repository and the revision has it."""
    below = _within(repo, library_folder())
    return folder / below if below is not None and (folder / below).is_dir() else None


def _there(request: Request, path: str, sides: Sequence[Side], folders: Sequence[Path], faults: list[Fault]) -> bool:
    """Report a path that one of the sides does not have."""
    old, new = (os.path.lexists(f / path) for f in folders)
    where = [f"at revision {s.name}" if s.commit else f"in the {WORKING}" for s in sides]
    place = request.at(str(request.old))
    if old and new:
        return True
    if old:
        found = diagnose("M705", place, path=path, before=where[0], after=where[1])
    else:
        advice = "it came later: compare a revision that has it" if new else "check the spelling of the path"
        where = where if not new else where[:1]
        found = diagnose("M704", place, path=path, where=" nor ".join(where), advice=advice)
    faults.append(Fault((found,)))
    return False
