"""Reading a revision of a git repository, through the ``git`` program; nothing in the repository is changed."""

import os
import subprocess
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from ..meaning.loading import LARGEST
from ..meaning.near import brief
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import Span

LONGEST_WAIT = 120
"""Seconds after which git is given up."""

_LINK = "120000"


@dataclass(frozen=True, slots=True)
class Repository:
    """A git repository by the folder of its working tree."""

    root: Path

    def git(self, arguments: Sequence[str], given: bytes = b"") -> tuple[int, bytes, str]:
        """Run git; gives its exit code, its output, and the last line of its complaint."""
        return _git(["-C", str(self.root), *arguments], given)

    def commit(self, revision: str) -> str:
        """Give the full name of the commit that a revision means; empty where there is none."""
        if not revision or revision.startswith("-") or "\0" in revision:
            return ""
        code, out, _ = self.git(["rev-parse", "--verify", "--quiet", "--end-of-options", revision + "^{commit}"])
        return out.decode("ascii", "replace").strip() if code == 0 else ""

    def put(self, commit: str, folder: Path, chosen: Callable[[str], bool]) -> str:
        """Write the chosen files of a commit below a folder; gives git's complaint where it failed.

        ``chosen`` is asked with paths relative to the root. Links are made only where they stay inside. A file that is
        larger than any that is read is put as an empty one of its size.
        """
        code, out, complaint = self.git(["ls-tree", "-r", "-z", "-l", "--full-tree", commit])
        if code:
            return complaint
        wanted, links = [], []
        for entry in out.split(b"\0"):
            head, _, name = entry.partition(b"\t")
            path = os.fsdecode(name)
            mode, kind, identity, size = (head.decode("ascii").split() + [""] * 4)[:4]
            if kind == "blob" and mode == _LINK:
                links.append((identity, path))
            elif kind == "blob" and chosen(path):
                if int(size) > LARGEST:
                    _write(folder / path, b"", int(size))
                else:
                    wanted.append((identity, path))
        texts, complaint = self._blobs([identity for identity, _ in (*wanted, *links)])
        for identity, path in wanted if not complaint else ():
            _write(folder / path, texts[identity])
        for identity, path in links if not complaint else ():
            _link(folder, path, os.fsdecode(texts[identity]))
        return complaint

    def _blobs(self, identities: Sequence[str]) -> tuple[Mapping[str, bytes], str]:
        """Read the contents of blobs."""
        if not identities:
            return {}, ""
        asked = "".join(f"{i}\n" for i in dict.fromkeys(identities)).encode("ascii")
        code, out, complaint = self.git(["cat-file", "--batch"], asked)
        found, at = {}, 0
        while code == 0 and at < len(out):
            end = out.index(b"\n", at)
            head = out[at:end].decode("ascii", "replace").split()
            if len(head) != 3:
                return {}, f"{head[0]} is missing from the repository"
            start, size = end + 1, int(head[2])
            found[head[0]] = out[start : start + size]
            at = start + size + 1
        return found, complaint if code else ""


def repository(path: Path, faults: list[Diagnostic], place: Span) -> Repository | None:
    """Find the repository that encloses a path; report where there is none, or no git to read it with."""
    folder = Path(os.path.abspath(path))
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    code, out, complaint = _git(["-C", str(folder), "rev-parse", "--show-toplevel"])
    if code == 0 and out.strip():
        return Repository(Path(os.fsdecode(out).rstrip("\n")))
    if code < 0:
        faults.append(diagnose("M701", place))
    elif code == 0 or "not a git repository" in complaint:
        faults.append(diagnose("M702", place, path=brief(str(path))))
    else:
        faults.append(diagnose("M708", place, why=complaint))
    return None


def _git(arguments: Sequence[str], given: bytes = b"") -> tuple[int, bytes, str]:
    """Run git with no shell, no questions and no locks; the code is -1 where it is not installed."""
    around = {k: v for k, v in os.environ.items() if k not in ("GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE")}
    around |= {"LC_ALL": "C", "GIT_TERMINAL_PROMPT": "0", "GIT_OPTIONAL_LOCKS": "0", "GIT_NO_LAZY_FETCH": "1"}
    try:
        ran = subprocess.run(
            ["git", "--no-pager", *arguments], input=given, capture_output=True, env=around, timeout=LONGEST_WAIT
        )
    except FileNotFoundError:
        return -1, b"", ""
    except (OSError, subprocess.TimeoutExpired) as error:
        return 1, b"", f"git did not run: {type(error).__name__}"
    complaints = ran.stderr.decode("utf-8", "replace").strip().splitlines()
    told = complaints[-1].removeprefix("fatal: ") if complaints else f"git ended with code {ran.returncode}"
    return abs(ran.returncode), ran.stdout, told


def _write(path: Path, data: bytes, size: int = 0) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as stream:
        stream.write(data)
        if size:
            stream.truncate(size)


def _link(folder: Path, path: str, target: str) -> None:
    """Make a link, unless it leads out of the folder; what would use it then reports that it is not there."""
    led = os.path.normpath(PurePosixPath(path).parent / target)
    if os.path.isabs(target) or led.startswith(".."):
        return
    link = folder / path
    link.parent.mkdir(parents=True, exist_ok=True)
    if not os.path.lexists(link):
        link.symlink_to(target)
