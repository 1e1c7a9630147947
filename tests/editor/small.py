"""A small workspace: the three files of the language reference, and places in them written with a mark."""

import re
from pathlib import Path

from meltwright.editor.positions import Lines, Position
from meltwright.editor.workspace import Workspace

REFERENCE = Path(__file__).parents[2] / "grammar" / "README.md"
MARK = "‸"


def texts() -> dict[str, str]:
    """Give the files of the reference by name: ``trade.melt``, ``shop.melt`` and ``job.melt``."""
    found = {}
    for block in re.findall(r"```melt\n(.*?)```", REFERENCE.read_text(encoding="utf-8"), re.DOTALL):
        named = re.match(r"# (\w+\.melt)\n\n", block)
        if named:
            found[named[1]] = block[named.end() :]
    assert {"trade.melt", "shop.melt", "job.melt"} <= found.keys()
    return found


class Small:
    """A workspace in a folder, with its files open."""

    def __init__(self, folder: Path, files: dict[str, str] | None = None) -> None:
        self.folder = folder.resolve()
        self.files = files or texts()
        for name, text in self.files.items():
            (self.folder / name).write_text(text, encoding="utf-8")
        self.workspace = Workspace([self.folder])
        self.workspace.settle()

    def path(self, name: str) -> Path:
        return self.folder / name

    def put(self, name: str, text: str) -> None:
        self.files[name] = text
        self.workspace.put(self.path(name), text)
        self.workspace.settle()

    def at(self, name: str, snippet: str) -> tuple[Workspace, Path, Position]:
        """Give the place of the mark in a snippet that stands in a file, as features take it."""
        text = self.files[name]
        start = text.index(snippet.replace(MARK, ""))
        position = Lines(text).position(start + snippet.index(MARK))
        return self.workspace, self.path(name), position

    def typed(self, name: str, old: str, new: str) -> tuple[Workspace, Path, Position]:
        """Put a text with a mark in the place of another, and give the place of the mark."""
        text = self.files[name].replace(old, new, 1)
        assert MARK in text
        offset = text.index(MARK)
        text = text.replace(MARK, "")
        self.put(name, text)
        return self.workspace, self.path(name), Lines(text).position(offset)

    def codes(self) -> dict[str, list[str]]:
        """Give the codes of what is reported, by file."""
        return {p.name: [r.code for r in found] for p, found in sorted(self.workspace.reports().items()) if found}
