"""Formatting: the layout of ``meltwright format``, as edits of the lines that it changes."""

from difflib import SequenceMatcher
from pathlib import Path

from ..syntax.formatting import format_text
from ..text.source import Source
from .positions import Lines
from .reports import TextEdit
from .workspace import Workspace


def layout_edits(workspace: Workspace, path: Path) -> list[TextEdit]:
    """Give the edits that lay a file out; none where it has faults, which the diagnostics tell."""
    lines = workspace.lines(path)
    if lines is None:
        return []
    formatted, faults = format_text(Source(path.name, path, lines.text))
    if faults or formatted == lines.text:
        return []
    return _changed(lines, formatted, path)


def _changed(lines: Lines, formatted: str, path: Path) -> list[TextEdit]:
    """Give an edit for each row of lines that differ, so that the cursor and folds of the others stay."""
    before, after = lines.text.splitlines(keepends=True), formatted.splitlines(keepends=True)
    edits, at = [], [0]
    for line in before:
        at.append(at[-1] + len(line))
    for tag, low, high, new_low, new_high in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if tag != "equal":
            place = lines.range(at[low], at[high])
            edits.append(TextEdit(path, place, "".join(after[new_low:new_high])))
    return edits
