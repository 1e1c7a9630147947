"""The page of a code, for people and for programs: the headings are written here, once for all pages."""

from textwrap import indent
from typing import Any

from ..text.catalogue import CATALOGUE, GROUPS, general
from ..text.cells import wrapped
from ..text.page import DEFAULT_NAME, Fence, Page

MEANING, EXAMPLE, MENDING = "What it means", "An example", "How to mend it"

_SAYS = "Meltwright says:"
_BESIDE = ("The file that belongs to it:", "The files that belong to it:")
_WIDTH = 110

Data = dict[str, Any]
Part = tuple[str | Fence, ...]


def listing() -> str:
    """Write all codes by group: slug and sentence."""
    lines: list[str] = []
    width = max(len(entry.slug) for entry in CATALOGUE.values())
    for group, about in GROUPS.items():
        codes = sorted(code for code in CATALOGUE if code.startswith(group))
        if codes:
            lines.append(f"{group}  {about}")
            lines += [_row(f"  {code}  {CATALOGUE[code].slug:<{width}}  ", _says(code)) for code in codes]
    return "\n".join(lines) + "\n"


def _row(before: str, text: str) -> str:
    return "\n".join(wrapped(text, _WIDTH, before, " " * len(before)))


def listing_markdown() -> str:
    """Write all codes by group, as a page."""
    parts: list[str] = []
    for group, about in GROUPS.items():
        codes = sorted(code for code in CATALOGUE if code.startswith(group))
        if codes:
            rows = [f"| {c} | {CATALOGUE[c].slug} | {_cell(_says(c))} |" for c in codes]
            parts.append("\n".join([f"## {group}: {about}", "", "| code | slug | says |", "|---|---|---|", *rows]))
    return "\n\n".join(parts) + "\n"


def listing_data() -> Data:
    """Give all codes by group, for programs."""
    return {
        "groups": [
            {"group": group, "about": about, "codes": [_entry(c) for c in sorted(CATALOGUE) if c.startswith(group)]}
            for group, about in GROUPS.items()
        ]
    }


def page_text(code: str, page: Page | None, said: str) -> str:
    """Write a page for a terminal; ``said`` is what the program prints of the example."""
    entry = CATALOGUE[code]
    lines = [f"{code} {entry.slug}", f"  {entry.severity}: {_says(code)}"]
    if entry.help and page is None:
        lines.append(f"  help: {general(entry.help)}")
    for heading, part in _parts(page, said):
        lines += ["", heading]
        for piece in part:
            lines += ["", indent(piece, "  ") if isinstance(piece, str) else indent(_titled(piece), "      ").rstrip()]
    return "\n".join(lines) + "\n"


def page_markdown(code: str, page: Page | None, said: str = "") -> str:
    """Write a page as Markdown."""
    entry = CATALOGUE[code]
    lines = [f"# {code} {entry.slug}", "", f"{entry.severity}: {_escaped(_says(code))}"]
    for heading, part in _parts(page, said):
        lines += ["", f"## {heading}"]
        for piece in part:
            lines += ["", piece if isinstance(piece, str) else _fenced(piece)]
    return "\n".join(lines) + "\n"


def page_meaning(page: Page | None) -> str:
    """Write what a fault means, in one line; nothing where there is no page."""
    prose = [piece for piece in page.meaning if isinstance(piece, str)] if page is not None else []
    return " ".join(" ".join(prose).split())


def page_data(code: str, page: Page | None, said: str) -> Data:
    """Give a page for programs: its parts as Markdown."""
    parts = {"meaning": "", "example": "", "mending": ""}
    if page is not None:
        for key, (_, part) in zip(parts, _parts(page, said), strict=True):
            parts[key] = "\n\n".join(p if isinstance(p, str) else _fenced(p) for p in part)
    return {**_entry(code), **parts}


def _entry(code: str) -> Data:
    entry = CATALOGUE[code]
    return {
        "code": code,
        "slug": entry.slug,
        "severity": entry.severity,
        "says": _says(code),
        "help": general(entry.help),
    }


def _says(code: str) -> str:
    """Write the sentence for all cases, or the slug's words where each case says something else."""
    entry = CATALOGUE[code]
    return entry.slug.replace("-", " ") if entry.message == "{why}" else general(entry.message)


def _parts(page: Page | None, said: str) -> list[tuple[str, Part]]:
    if page is None:
        return []
    shown = [*page.example, *([Fence("text", "", said.rstrip("\n") + "\n")] if said else [])]
    beside = [piece for piece in shown if isinstance(piece, Fence) and piece.beside]
    example = [p for piece in shown if piece not in beside for p in ((_SAYS, piece) if _is_output(piece) else (piece,))]
    if beside:
        example += [_BESIDE[len(beside) > 1], *beside]
    return [(MEANING, page.meaning), (EXAMPLE, tuple(example)), (MENDING, page.mending)]


def _is_output(piece: str | Fence) -> bool:
    return isinstance(piece, Fence) and piece.kind == "text"


def _titled(fence: Fence) -> str:
    """Write a file below its name, where the name tells something."""
    return f"{fence.name}:\n\n{indent(fence.text, '  ')}" if _named(fence) else fence.text


def _fenced(fence: Fence) -> str:
    title = f"`{fence.name}`:\n\n" if _named(fence) else ""
    return f"{title}```{fence.kind}\n{fence.text}```"


def _named(fence: Fence) -> bool:
    return bool(fence.name) and fence.name != DEFAULT_NAME


def _escaped(text: str) -> str:
    return text.replace("<", "\\<")


def _cell(text: str) -> str:
    return _escaped(text).replace("|", "\\|")
