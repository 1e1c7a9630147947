"""What may be written next, the likeliest first."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from ..meaning.display import unit_for
from ..meaning.functions import CONSTANTS, FUNCTIONS
from ..meaning.loading import library_folder
from ..meaning.model import Model
from ..meaning.units import DIMENSIONS, HARDNESS, UNITS, Dimension, UnknownUnit, describe, parse_unit
from ..syntax.grammar import keywords
from ..syntax.parsing import accepted, parse
from ..syntax.tokens import Token
from .hovering import unit_told
from .keywords import KEYWORDS
from .places import GOES_ON_WITH, Place, place
from .positions import Position, Range
from .programs import Program
from .wanting import lacking
from .workspace import Workspace

FIRST, NEXT, THEN, LAST = "1", "2", "3", "4"
"""How likely something is; lists are sorted by it."""

_MORE_UNITS = (
    "mm2", "mm3", "mm4", "cm2", "cm3", "m2", "m3", "mm/s", "m/s", "mm/min", "mm/s2", "m/s2", "mm3/s", "cm3/min",
    "1/s", "1/K", "1/mm", "g/cm3", "kg/m3", "g/m", "g/min", "g/h", "kg/h", "N/mm", "N/m", "mN/m", "N*mm", "N*m",
    "mm/MPa", "1/MPa", "1/GPa", "MPa/mm", "Pa*s", "kPa*s", "J/g", "J/kg", "kJ/kg", "J/g/K", "J/kg/K", "J/K",
    "W/m/K", "W/m2/K", "W/K", "W/m2", "K/W", "mm2/s", "m2/s", "K/s", "K/min", "K/mm", "kJ/mol", "J/mol", "J/mol/K",
    "g/mol", "mol/m3", "cm3/g", "turn/min", "deg/s", "N*mm2", "Pa*s/mm3",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Offer:
    """Something to write in the place of ``range``; ``sort`` is how likely it is, ``kind`` what it is."""

    text: str
    kind: str
    sort: str
    range: Range
    detail: str = ""
    about: str = ""


def complete(workspace: Workspace, path: Path, position: Position) -> list[Offer]:
    """List what may be written at a place."""
    lines, program = workspace.lines(path), workspace.program(path)
    if lines is None or program is None:
        return []
    offset = lines.offset(position)
    found = place(lines.text, offset)
    if found is None:
        return []
    if found.path is not None:
        return [_offer(o, lines.range(found.at, offset)) for o in _paths(found, path, workspace)]
    offers: dict[str, _Said] = {}
    if found.unit_at >= 0:
        offers |= {o.text: o for o in _units(found, program)}
        offers = {t: o for t, o in offers.items() if found.at == found.unit_at or not found.part}
    if found.unit_at < 0 or not found.part:
        for o in (*_names(found, program), *_keywords(found)):
            offers.setdefault(o.text, o)
    place_of = lines.range(found.at, offset)
    return [_offer(o, place_of) for o in offers.values()]


@dataclass(frozen=True, slots=True)
class _Said:
    text: str
    kind: str
    sort: str
    detail: str = ""
    about: str = ""


def _offer(o: _Said, at: Range) -> Offer:
    return Offer(o.text, o.kind, o.sort, at, o.detail, o.about)


# ---- paths, units, keywords


def _paths(found: Place, path: Path, workspace: Workspace) -> Iterator[_Said]:
    if found.library:
        library = library_folder()
        for file in sorted(library.rglob("*.melt")):
            name = file.relative_to(library).with_suffix("").as_posix()
            if not name.startswith("demos/") and name.startswith(found.path or ""):
                yield _Said(name, "file", FIRST)
        return
    for file in sorted(workspace.files()):
        if file != path and file.is_relative_to(path.parent):
            yield _Said(file.relative_to(path.parent).as_posix(), "file", FIRST)


def _units(found: Place, program: Program) -> Iterator[_Said]:
    """Offer the units that fit, the usual one first."""
    wanted = _dimension(found, program.model)
    usual = unit_for(wanted).symbol if wanted is not None and wanted != HARDNESS else ""
    if usual:
        yield _unit(usual, FIRST)
    for symbol in (*UNITS, *_MORE_UNITS):
        try:
            unit = parse_unit(symbol)
        except UnknownUnit:
            continue
        if symbol != usual and (wanted is None or unit.dimension == wanted or _tolerance(found, wanted, symbol)):
            yield _unit(symbol, NEXT if wanted is not None else LAST)


def _tolerance(found: Place, wanted: Dimension, symbol: str) -> bool:
    """Tell whether a unit fits a tolerance alone: a share, or a difference of points."""
    after = any(str(t) in ("±", "+-") for t in found.tokens)
    return after and symbol == {"plain": "%", "point": "K"}.get(wanted.kind)


def _unit(symbol: str, sort: str) -> _Said:
    return _Said(symbol, "unit", sort, describe(parse_unit(symbol).dimension), unit_told(symbol))


def _dimension(found: Place, model: Model) -> Dimension | None:
    """Give the dimension of the value that is being written, where the item tells it."""
    words = [str(t) for t in found.tokens]
    if not words:
        return None
    if found.start == "statement":
        named = next((w for w in words[3:] if w in DIMENSIONS), None) if words[0] in ("quantity", "setting") else None
        return DIMENSIONS.get(named or "")
    if found.start == "grade_item":
        grade = model.grades.get(found.name)
        return model.dimensions.get(grade.quantity) if grade else None
    if found.start == "law_item":
        return None
    name = words[1] if words[0] == "pin" and len(words) > 1 else words[0]
    if words[0] == "prefer":
        return DIMENSIONS["share"]
    grade = model.grades.get(name)
    return model.dimensions.get(grade.quantity if grade else name)


def _keywords(found: Place) -> Iterator[_Said]:
    """Offer the keywords that can stand there."""
    possible = _possible(found.tokens, found.start)
    if found.before and found.start in ("law_item", "profile_item"):
        # A line that starts with one of these goes on with the item before.
        possible |= _possible(list(found.before), found.start) & GOES_ON_WITH
    for word in sorted(possible & keywords().keys()):
        if word in ("low", "high") and not any(str(t) == "rather" for t in found.tokens):
            continue
        yield _Said(word, "keyword", THEN, "", KEYWORDS.get(word, ""))


def _possible(tokens: list[Token], start: str) -> set[str]:
    """List the terminals that may follow, keywords by their text."""
    if isinstance(at := parse(tokens, start), int) and at < len(tokens):
        return set()
    texts = {terminal: word for word, terminal in keywords().items()}
    return {texts.get(t, t) for t in accepted(tokens, start)}


# ---- names


def _names(found: Place, program: Program) -> Iterator[_Said]:
    if "NAME" not in _possible(found.tokens, found.start):
        return
    words = [str(t) for t in found.tokens]
    model = program.model
    match found.start:
        case "statement":
            yield from _in_head(words, model)
        case "entity_item":
            yield from _in_entity(found, words, program)
        case "profile_item":
            yield from _in_profile(found, words, program)
        case "law_item":
            yield from _in_law(words, model)


def _in_head(words: list[str], model: Model) -> Iterator[_Said]:
    if len(words) < 2:
        return
    last = words[-1]
    if last == "from" and words[0] in ("material", "machine", "profile"):
        yield from (o for o in _entities(model, words[0]) if o.text != words[1])
    elif words[0] in ("quantity", "setting") and last == ":":
        yield from (_Said(d, "dimension", NEXT) for d in DIMENSIONS)
    elif words[0] == "grade" and last == "by":
        yield from _formula_names(model)
    elif words[0] == "merit" and len(words) > 2:
        yield from _formula_names(model)
        yield from _functions()


def _entities(model: Model, kind: str, sort: str = FIRST) -> Iterator[_Said]:
    of: Mapping[str, object] = {"material": model.materials, "machine": model.machines, "profile": model.profiles}[kind]
    for name in of:
        yield _Said(name, kind, sort, kind)


def _in_entity(found: Place, words: list[str], program: Program) -> Iterator[_Said]:
    model = program.model
    if len(words) == 1:
        quantity = model.quantities.get(words[0])
        yield from (_Said(w, "word", FIRST, words[0]) for w in (quantity.words if quantity else ()))
        return
    if words:
        return
    entity = (model.materials if found.kind == "material" else model.machines).get(found.name)
    own = {n for n, v in entity.values.items() if v.entity == found.name} if entity else set()
    missing = lacking(program, found.kind, found.name)
    for name in missing:
        yield _Said(name, "quantity", FIRST, "needed, and not given", model.quantities[name].doc)
    for q in model.quantities.values():
        if q.owner == found.kind and q.name not in own:
            given = entity.values.get(q.name) if entity else None
            detail = f"inherited: {given.text}" if given is not None else ""
            yield _Said(q.name, "quantity", THEN if given is not None else NEXT, detail, q.doc)


def _in_profile(found: Place, words: list[str], program: Program) -> Iterator[_Said]:
    model = program.model
    first = words[0] if words else ""
    if not words:
        yield from _profile_lines(found, program)
    elif first == "material":
        yield from _entities(model, "material")
    elif first in ("machine", "machines"):
        taken = set(words[1:])
        yield from (o for o in _entities(model, "machine") if o.text not in taken)
    elif first == "prefer":
        taken = set(words[1:])
        yield from (_Said(m.name, "merit", FIRST, "merit", m.doc) for m in model.merits.values() if m.name not in taken)
    elif words == ["pin"]:
        yield from (_Said(s.name, "setting", FIRST, "setting", s.doc) for s in model.settings.values() if not s.given)
    elif len(words) == 1 or words[1:] in (["at", "most"], ["at", "least"]):
        grade, quantity = model.grades.get(first), model.quantities.get(first)
        if grade is not None and len(words) > 1:
            yield from (_Said(b.name, "word", FIRST, first, b.doc) for b in grade.bands)
        elif quantity is not None:
            yield from (_Said(w, "word", FIRST, first) for w in quantity.words)


def _profile_lines(found: Place, program: Program) -> Iterator[_Said]:
    model = program.model
    for name in lacking(program, "profile", found.name):
        decl = model.settings.get(name) or model.quantities.get(name)
        kind = "setting" if name in model.settings else "quantity"
        yield _Said(name, kind, FIRST, "needed, and not given", decl.doc if decl else "")
    for g in model.grades.values():
        yield _Said(g.name, "grade", NEXT, "grade", g.doc)
    for q in model.quantities.values():
        if q.owner == "profile":
            yield _Said(q.name, "quantity", THEN, "quantity of the profile", q.doc)
    for m in model.merits.values():
        yield _Said(m.name, "merit", LAST, "merit", m.doc)
    for name, lets in model.lets.items():
        if name not in model.quantities:
            yield _Said(name, "let", LAST, f"derived by {lets[0].law}", lets[0].doc)


def _in_law(words: list[str], model: Model) -> Iterator[_Said]:
    if not words:
        return
    before = words[-2] if len(words) > 1 else ""
    if words[-1] in ("lower", "raise", "change") and before == "remedy":
        yield from _formula_names(model, lets=False)
        return
    if words[-1] == "is" and before in model.quantities:
        yield from (_Said(w, "word", FIRST, before) for w in model.quantities[before].words)
        return
    if words[-1] == "on":
        yield from (_Said(s, "unit", FIRST, "hardness scale") for s, u in UNITS.items() if u.scale is not None)
        return
    if words[0] in ("about", "source", "checked", "unchecked") or words == ["let"]:
        return
    if words[0] == "when":
        for q in model.quantities.values():
            yield _Said(q.name, "quantity", FIRST, f"quantity of a {q.owner}", q.doc)
        return
    yield from _formula_names(model)
    yield from _functions()


def _formula_names(model: Model, lets: bool = True) -> Iterator[_Said]:
    for q in model.quantities.values():
        yield _Said(q.name, "quantity", FIRST, f"quantity of a {q.owner}", q.doc)
    for s in model.settings.values():
        yield _Said(s.name, "setting", FIRST, "setting", s.doc)
    for name, found in model.lets.items() if lets else ():
        yield _Said(name, "let", FIRST, f"derived by {found[0].law}", found[0].doc)


def _functions() -> Iterable[_Said]:
    yield from (_Said(f.name, "function", NEXT, f"of {f.wants}") for f in FUNCTIONS.values())
    yield from (_Said(c, "constant", NEXT, "constant") for c in CONSTANTS)
