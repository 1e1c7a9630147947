"""At most one report a cause: what follows from a fault that is reported already is left out, or told along with it."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Edit, Fix, Related
from ..text.source import Source, Span
from .loading import Loaded

SYNTAX = ("M11", "M12")
_IMPORT_FAULTS = frozenset(["M101", "M102", "M103", "M105", "M106", "M202", "M203", "M204"])
UNKNOWN_NAMES = frozenset(["M212", "M214", "M237", "M239"])
"""Faults that may come of a name that is not known here; what is told of them hangs on files that are not used, too."""
_NAMED_ALIKE = frozenset(["M212", "M214", "M216", "M218", "M237"])
"""Faults of a name that are the same wherever it stands."""
_MOST_RELATED = 8
_INDENT = 2
"""Blanks from which on a line is taken for one of a block."""
FORMULA_KINDS = frozenset(["quantity", "setting", "grade", "merit", "let"])
_DECLARES = re.compile(r"\b(quantity|setting|grade|merit|let|material|machine|profile)[ \t]+([A-Za-z_][\w.]*)")
_NAME = re.compile(r"[A-Za-z_][\w.]*")
_LIKE_USE = re.compile(r' *(?:use|library)\b|\w+ +library\b| ?(?:\w+ *)?"')


def first_causes(faults: Iterable[Diagnostic], loaded: Loaded) -> list[Diagnostic]:
    """Leave out faults that follow from others, and tell those of one name together."""
    faults = list(faults)
    if any(_import_failed(f, loaded.sources) for f in loaded.faults):
        # What the missing file would have defined cannot be told from what is misspelt.
        faults = [f for f in faults if f.code not in UNKNOWN_NAMES]
    headless = {f.span.file for f in loaded.faults if f.code == "M115" or _in_head(f, loaded.sources)}
    unclosed = {_line(f.span, loaded.sources) for f in loaded.faults if f.code == "M114"}
    faults = [
        f
        for f in faults
        # A head that is at fault, or missing before a brace that closes nothing: the name may be the one in it.
        if not (f.code == "M212" and f.span.file in headless and not f.fixes)
        # A block that is not closed was hardly meant to be one.
        and not (f.code == "M210" and f.related and _line(f.related[0].span, loaded.sources) in unclosed)
    ]
    return _told_together(faults)


def _told_together(faults: list[Diagnostic]) -> list[Diagnostic]:
    """Tell a name that is unknown at several places of a file once, at the first."""
    groups: dict[tuple[str, ...], list[Diagnostic]] = {}
    for f in faults:
        if f.code in _NAMED_ALIKE:
            groups.setdefault((f.code, f.span.file, f.message, f.help), []).append(f)
    first: dict[int, Diagnostic] = {}
    rest: set[int] = set()
    for group in groups.values():
        group.sort(key=lambda f: f.span.start)
        first[id(group[0])] = _joined(group)
        rest |= {id(f) for f in group[1:]}
    return [first.get(id(f), f) for f in faults if id(f) not in rest]


def _joined(group: list[Diagnostic]) -> Diagnostic:
    one = group[0]
    if len(group) == 1:
        return one
    related = [Related(f.span, "and here") for f in group[1 : 1 + _MOST_RELATED]]
    fixes = []
    for fix in one.fixes:
        alike = [other for f in group for other in f.fixes if other.title == fix.title]
        if len(alike) == len(group):
            edits: dict[Edit, None] = dict.fromkeys(e for other in alike for e in other.edits)
            # Where several lines agree on a name that is not defined, the definition may as well be the slip.
            safe = one.code != "M212" and all(other.safe for other in alike)
            fixes.append(Fix(fix.title, tuple(edits), safe))
    return replace(one, related=(*one.related, *related), fixes=tuple(fixes))


def _line(span: Span, sources: Mapping[str, Source]) -> tuple[str, int]:
    source = sources.get(span.file)
    return span.file, source.line_column(span.start)[0] if source else 0


def _import_failed(fault: Diagnostic, sources: Mapping[str, Source]) -> bool:
    """Tell whether a fault keeps a file from being used: one of reading it, or a use line that cannot be read."""
    source = sources.get(fault.span.file)
    if fault.code[:3] not in SYNTAX or source is None:
        return fault.code in _IMPORT_FAULTS
    line, _ = source.line_column(fault.span.start)
    return _LIKE_USE.match(source.line_text(line)) is not None


def _in_head(fault: Diagnostic, sources: Mapping[str, Source]) -> bool:
    """Tell whether a fault is one of writing in a line that stands where statements start."""
    source = sources.get(fault.span.file)
    if source is None or fault.code[:3] not in SYNTAX:
        return False
    return source.line_text(source.line_column(fault.span.start)[0])[:_INDENT].strip() != ""


def within_broken(span: Span, statements: Iterable[tree.Statement], faults: Iterable[Diagnostic]) -> bool:
    """Tell whether a statement holds lines that could not be read, which may be those that it seems to lack."""
    later = [s.span.start for s in statements if s.span.file == span.file and s.span.start > span.start]
    end = min(later, default=float("inf"))
    return any(f.code[:3] in SYNTAX and f.span.file == span.file and span.start <= f.span.start < end for f in faults)


def broken(loaded: Loaded) -> set[tuple[str, str]]:
    """List what files with syntax faults may declare in their broken lines, by kind and name.

    The kind is empty where a head is at fault itself: any of its names may be the one that it declares.
    """
    found: set[tuple[str, str]] = set()
    files = set()
    for fault in loaded.faults:
        source = loaded.sources.get(fault.span.file)
        if source is None or fault.code[:3] not in SYNTAX:
            continue
        files.add(source.name)
        if _in_head(fault, loaded.sources):
            text = source.line_text(source.line_column(fault.span.start)[0])
            found |= {("", name) for name in _NAME.findall(text)}
    for file in files:
        found |= {(m[1], m[2]) for m in _DECLARES.finditer(loaded.sources[file].text)}
    return found
