"""Names that are unknown because a use line is missing: which file declares them, told once a file."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Edit, Fix, Related
from ..text.source import Span
from .causes import UNKNOWN_NAMES
from .loading import DEMOS, LIBRARY, Loaded, library_folder, text_of

_DECLARES = re.compile(
    r"^(?:(quantity|setting|grade|merit|material|machine)|[ \t]+let)[ \t]+([A-Za-z_][\w.]*)", re.MULTILINE
)
_ENTITIES = frozenset(["material", "machine"])
_MOST_RELATED = 4
_LIBRARY = "use library "


@dataclass(frozen=True, slots=True)
class _Home:
    """A file that declares a name: its use line, and whether it declares an entity of that name."""

    line: str
    entity: bool


def told_once(faults: Iterable[Diagnostic], loaded: Loaded, declared: Iterable[str]) -> list[Diagnostic]:
    """Say of unknown names which use line brings them, in one report for each line that is missing.

    A file of materials or machines brings the words of the trade along, so these are not told beside it. ``declared``
    are the names that formulas may use; where a project declares some of the library's itself, it means to do without.
    """
    faults = list(faults)
    unknown = [f for f in faults if f.code in UNKNOWN_NAMES and not f.span.file.startswith(LIBRARY)]
    if not unknown:
        return faults
    homes = _homes(loaded, library_folder())
    if any(name in homes and homes[name].line.startswith(_LIBRARY) for name in declared):
        homes = {name: home for name, home in homes.items() if not home.line.startswith(_LIBRARY)}
    dropped: set[int] = set()
    told: dict[int, Diagnostic] = {}
    for file in sorted({f.span.file for f in unknown}):
        groups: dict[_Home, list[Diagnostic]] = {}
        for f in sorted((f for f in unknown if f.span.file == file), key=lambda f: f.span.start):
            home = homes.get(loaded.sources[file].text[f.span.start : f.span.end])
            if home is not None and home.entity == (f.code == "M212"):
                groups.setdefault(home, []).append(f)
        brought = any(home.entity and home.line.startswith(_LIBRARY) for home in groups)
        for home, group in groups.items():
            if brought and not home.entity:
                dropped |= {id(f) for f in group}
                continue
            told[id(group[0])] = _told(group, home.line, loaded)
            dropped |= {id(f) for f in group[1:]}
    return [told.get(id(f), f) for f in faults if id(f) not in dropped]


def _told(group: list[Diagnostic], line: str, loaded: Loaded) -> Diagnostic:
    first = group[0]
    related = [Related(f.span, "unknown for the same reason") for f in group[1 : 1 + _MOST_RELATED]]
    fix = Fix(f"add: {line}", (_added(line, first.span.file, loaded),))
    return replace(first, help=f"add: {line}", related=(*first.related, *related), fixes=(fix, *first.fixes))


def _added(line: str, file: str, loaded: Loaded) -> Edit:
    """Put a use line after the last one, or before all else."""
    statements = loaded.files[file].statements
    uses = [s for s in statements if isinstance(s, tree.Use)]
    if uses:
        end = uses[-1].span.end
        return Edit(Span(file, end, end), f"\n{line}")
    start = statements[0].span.start if statements else 0
    return Edit(Span(file, start, start), f"{line}\n\n")


def _homes(loaded: Loaded, library: Path) -> Mapping[str, _Home]:
    """Index the names that files declare which are not used: those beside the main file, and those of the library."""
    known = {source.path for source in loaded.sources.values()}
    main = loaded.sources[loaded.main].path
    homes: dict[str, _Home] = {}
    library = library.resolve()
    inside = sorted(p for p in library.rglob("*.melt") if DEMOS not in p.relative_to(library).parts[:1])
    whole = [p for p in inside if p.parent == library]
    for path in inside:
        for kind, name in _declared(path, known):
            entity = kind in _ENTITIES
            # The words of the trade are spread over many files, and one that uses them all is what an author uses.
            home = path if entity or len(whole) != 1 else whole[0]
            line = f'use library "{home.relative_to(library).with_suffix("").as_posix()}"'
            homes.setdefault(name, _Home(line, entity))
    if not main.is_relative_to(library):
        for path in sorted(main.parent.glob("*.melt")):
            for kind, name in _declared(path, known):
                if kind in _ENTITIES:
                    homes[name] = _Home(f'use "{path.name}"', True)
    return homes


def _declared(path: Path, known: set[Path]) -> list[tuple[str, str]]:
    """List what a file that is not used declares, by kind and name."""
    text = "" if path in known else text_of(path)
    return [(m[1] or "let", m[2]) for m in _DECLARES.finditer(text)]
