"""The library's measuring guides, read by their headings and marks: what is asked, and how it is measured.

A guide is the page ``README.md`` in the library's folder of an owner's entities. People read it as it is; the program
asks in its order and shows its words, so that nothing of it is said twice.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from ..meaning.loading import LIBRARY, library_folder

_ENTRY = re.compile(r"^### `(\w+)`\n(.*?)(?=^##|\Z)", re.MULTILINE | re.DOTALL)
_GROUP = re.compile(r"^## (.+)$", re.MULTILINE)
_FIELD = re.compile(r"^- \*\*(\w+)\*\* (.*(?:\n  .*)*)", re.MULTILINE)
_ROW = re.compile(r"^\| `(\w+)` \| `[\w.]+` \| (.+) \|$", re.MULTILINE)
_DRAWING = re.compile(r"\]\((\w+\.svg)\)")
_CAUTIONS = re.compile(r"^## Before you measure\n(.*?)(?=^## |\Z)", re.MULTILINE | re.DOTALL)
_BULLET = re.compile(r"^- (.*(?:\n  .*)*)", re.MULTILINE)
_EXAMPLE = re.compile(r"(\w+)\s+(.+?)(?:\s+(measured|published|typical|assumed) \"(.*)\")?")


@dataclass(frozen=True, slots=True)
class Entry:
    """How one quantity is measured. ``value`` and ``kind`` are of the guide's example: a value, and how it is known."""

    name: str
    group: str
    about: str
    drawing: str
    tool: str
    how: str
    value: str
    kind: str
    care: str

    @property
    def measurable(self) -> bool:
        """Whether it can be found out: even an example that is only assumed says that it cannot."""
        return self.kind != "assumed"

    @property
    def tool_named(self) -> str:
        """The first of the tools that may be used, as evidence names it; empty where there is none."""
        first = re.split(r"; |, or | or ", self.tool, maxsplit=1)[0]
        return "" if first == "none" else first


@dataclass(frozen=True, slots=True)
class Guide:
    """A guide: its entries in order, the cautions that come before them, and what each kind of entity is."""

    entries: Mapping[str, Entry]
    cautions: tuple[str, ...]
    kinds: Mapping[str, str]


@cache
def guide(owner: str) -> Guide:
    """Give the library's guide for an owner, ``material`` or ``machine``."""
    return parse((library_folder() / f"{owner}s" / "README.md").read_text(encoding="utf-8"), f"{owner}s")


def parse(text: str, folder: str) -> Guide:
    """Read a guide of a folder of the library; what is not marked as its part is left aside."""
    drawing = f"{LIBRARY}{folder}/{found[1]}" if (found := _DRAWING.search(text)) else ""
    groups = [(found.start(), found[1]) for found in _GROUP.finditer(text)]
    entries = {}
    for found in _ENTRY.finditer(text):
        group = [name for start, name in groups if start < found.start()][-1]
        fields = {name: _plain(said) for name, said in _FIELD.findall(found[2])}
        example = _EXAMPLE.fullmatch(fields["Write"])
        assert example is not None and example[1] == found[1], found[1]
        entries[found[1]] = Entry(
            found[1],
            group,
            _plain(found[2].split("\n- **")[0]),
            f"{fields['Drawing']} in {drawing}" if "Drawing" in fields else "",
            fields["Tool"],
            fields["How"],
            example[2],
            example[3] or "",
            fields.get("Care", ""),
        )
    before = _CAUTIONS.search(text)
    cautions = tuple(_plain(c) for c in _BULLET.findall(before[1])) if before else ()
    return Guide(entries, cautions, {name: _plain(said) for name, said in _ROW.findall(text)})


def _plain(text: str) -> str:
    """Take the marks and line ends out of a text."""
    return " ".join(text.replace("`", "").replace("**", "").split())
