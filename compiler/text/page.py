"""The page of each code: what a fault means, an example of it, and how to mend it.

A page is one small file, ``pages/CODE.md``: three parts, in that order, divided by lines of ``---``. Headings, code,
slug and sentence come from the program. A part is made of prose and of fences. A fence says what it holds and, where it
is a file, what the file is called (a ``melt`` without a name is ``example.melt``):

- ``melt``, ``toml``, ``jinja``, ``json``: a file. A line that ends in ``<--`` is where the fault is reported; the mark
  is no part of the file. ``beside`` after the name says that the file is needed, but is not what the page is about.
- ``sh``: the commands that show the fault, one a line. Without one the first file is checked.
- ``text``: what the commands print. Where there are no commands the program finds that out itself, when it is asked.

The files of the last part replace those of the example that have the same names.
"""

import re
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

DEFAULT_NAME = "example.melt"
MARK = "<--"
_FENCE = re.compile(r"^```(\w+)(?: (\S+))?( beside)?\n(.*?)^```$\n?", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Fence:
    """A text set apart: its ``kind``, the file that it is (or nothing), and the line that is marked (0: none)."""

    kind: str
    name: str
    text: str
    marked: int = 0
    beside: bool = False


@dataclass(frozen=True, slots=True)
class Page:
    """What is told of a code; each part is prose and fences in their order."""

    code: str
    meaning: tuple[str | Fence, ...]
    example: tuple[str | Fence, ...]
    mending: tuple[str | Fence, ...]

    @property
    def commands(self) -> tuple[str, ...]:
        """The commands that show the fault; none where checking the first file does."""
        return tuple(c for fence in of_kind(self.example, "sh") for c in fence.text.splitlines())

    @property
    def files(self) -> dict[str, Fence]:
        """The files of the example by name."""
        return {f.name: f for f in self.example if isinstance(f, Fence) and f.name}

    @property
    def mended(self) -> dict[str, Fence]:
        """The files of the example once it is mended."""
        return self.files | {f.name: f for f in self.mending if isinstance(f, Fence) and f.name}


def of_kind(part: tuple[str | Fence, ...], kind: str) -> list[Fence]:
    """List the fences of a kind."""
    return [f for f in part if isinstance(f, Fence) and f.kind == kind]


def page_codes() -> list[str]:
    """List the codes that have a page."""
    return sorted(p.name.removesuffix(".md") for p in _folder().iterdir() if p.name.endswith(".md"))


def page_of(code: str) -> Page | None:
    """Read the page of a code; None where there is none."""
    path = _folder() / f"{code}.md"
    return parse_page(code, path.read_text(encoding="utf-8")) if path.is_file() else None


def parse_page(code: str, text: str) -> Page:
    """Take a page apart; a ``ValueError`` says that it has not three parts."""
    parts = re.split(r"^---\n", text, flags=re.MULTILINE)
    if len(parts) != 3:
        raise ValueError(f"the page of {code} has {len(parts)} parts, not 3")
    meaning, example, mending = (_part(part) for part in parts)
    return Page(code, meaning, example, mending)


def _folder() -> Traversable:
    return files(__package__) / "pages"


def _part(text: str) -> tuple[str | Fence, ...]:
    found: list[str | Fence] = []
    done = 0
    for match in _FENCE.finditer(text):
        found += [text[done : match.start()].strip(), _fence(*match.groups())]
        done = match.end()
    return tuple(piece for piece in (*found, text[done:].strip()) if piece)


def _fence(kind: str, name: str | None, beside: str | None, text: str) -> Fence:
    lines = text.splitlines()
    marked = next((i for i, line in enumerate(lines, 1) if line.endswith(MARK)), 0)
    plain = "".join(line.removesuffix(MARK).rstrip() + "\n" if line.endswith(MARK) else line + "\n" for line in lines)
    return Fence(kind, name or (DEFAULT_NAME if kind == "melt" else ""), plain, marked, bool(beside))
