"""From files to the checked model: every fault of a text is found in one run."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from ..syntax import tree
from ..syntax.collecting import without_collecting
from ..text.diagnostic import Diagnostic, Related, diagnose, order
from ..text.source import Source, Span
from . import declaring
from .causes import FORMULA_KINDS, broken, first_causes, within_broken
from .entities import resolve
from .functions import CONSTANTS
from .laws import Names, check_laws, declare_law
from .loading import DISK, LIBRARY, Disk, Loaded, load, load_library
from .memory import Memory
from .model import GradeDecl, LawDecl, LetDecl, MeritDecl, Model
from .near import LONGEST_NAME, brief, suggest
from .profiles import Surroundings, resolve_profiles
from .units import HARDNESS, Dimension

_S = TypeVar("_S", bound=tree.Statement)
_V = TypeVar("_V")

MOST_FAULTS = 100
"""Faults of one file that are reported."""
_INCOMPLETE = frozenset(["M225", "M228", "M241", "M402"])


def check_file(
    path: Path, library: Path | None = None, disk: Disk = DISK
) -> tuple[Model | None, tuple[Diagnostic, ...], dict[str, Source]]:
    """Read and check a file with all it uses.

    Returns the model (None where there are errors), all diagnostics in order, and the sources they point into.
    ``library`` is read instead of the installed one, and files from ``disk``, which may have some of them at hand.
    """
    return check_loaded(load(path, library, disk))


def check_library(extra: Sequence[Path] = ()) -> tuple[Model | None, tuple[Diagnostic, ...], dict[str, Source]]:
    """Read and check the installed library, and a shop's files beside it; gives what ``check_file`` gives."""
    return check_loaded(load_library(extra))


def check_loaded(loaded: Loaded) -> tuple[Model | None, tuple[Diagnostic, ...], dict[str, Source]]:
    """Check files that were read; gives what ``check_file`` gives."""
    model, found = look_at(loaded)
    return (None if any(d.is_error for d in found) else model), found, loaded.sources


def look_at(loaded: Loaded, memory: Memory | None = None) -> tuple[Model, tuple[Diagnostic, ...]]:
    """Check files that were read; gives the model as far as it is sound, and all diagnostics in order.

    ``memory`` is what an earlier check of much the same files found.
    """
    model, faults = check(loaded, memory)
    if not (faults or loaded.faults):
        return model, ()
    from .around import mended
    from .missing import told_once

    declared = (model.quantities, model.settings, model.grades, model.merits, model.lets)
    faults = told_once(faults, loaded, {name for table in declared for name in table})
    faults = first_causes(faults, loaded)
    return model, _first(order(mended([*loaded.faults, *faults], loaded)))


@without_collecting()
def check(loaded: Loaded, memory: Memory | None = None) -> tuple[Model, list[Diagnostic]]:
    """Build the model of all loaded files; parts at fault are left out and reported.

    ``memory`` is what an earlier check of much the same files found.
    """
    memory = Memory() if memory is None else memory
    faults: list[Diagnostic] = []
    statements = [s for name in sorted(loaded.files) for s in loaded.files[name].statements]
    lost_names = broken(loaded)
    lost = frozenset(n for kind, n in lost_names if kind in FORMULA_KINDS | {""})
    declaring_ones = [s for s in statements if not isinstance(s, tree.Entity | tree.Use)]
    d = memory.whole(declaring_ones, lost, lambda: _declared(declaring_ones, lost, memory))
    faults += d.faults
    entities: dict[str, dict[str, tree.Entity]] = {"material": {}, "machine": {}, "profile": {}}
    for s in _without_repeats([s for s in statements if isinstance(s, tree.Entity)], faults):
        entities[s.kind][s.name.text] = s
    materials = resolve(entities["material"], d.names, faults, memory)
    machines = resolve(entities["machine"], d.names, faults, memory)
    around = Surroundings(d.names, d.grades, d.merits, materials, machines, d.dimensions)
    profiles = resolve_profiles(entities["profile"], around, faults, memory)
    model = Model(
        dict(loaded.sources),
        d.names.quantities,
        d.names.settings,
        d.grades,
        d.merits,
        d.laws,
        d.names.lets,
        d.dimensions,
        materials,
        machines,
        profiles,
    )
    faults = [f for f in faults if not (f.code in _INCOMPLETE and within_broken(f.span, statements, loaded.faults))]
    unread = {n for kind, n in lost_names if kind not in FORMULA_KINDS}
    return model, [f for f in faults if not (f.code == "M212" and _written(f.span, loaded.sources) in unread)]


@dataclass(frozen=True, slots=True)
class _Declared:
    """All that is not an entity: names and formulas, checked, and what is at fault in them."""

    names: Names
    merits: Mapping[str, MeritDecl]
    laws: Mapping[str, LawDecl]
    grades: Mapping[str, GradeDecl]
    dimensions: Mapping[str, Dimension]
    faults: tuple[Diagnostic, ...]


def _declared(statements: Sequence[tree.Statement], lost: frozenset[str], memory: Memory) -> _Declared:
    """Check quantities, settings, grades, merits and laws; ``lost`` are names that lines at fault may declare."""
    faults: list[Diagnostic] = []
    statements = _without_repeats(statements, faults)

    def made(node: _S, make: Callable[[_S, list[Diagnostic]], _V]) -> _V:
        """Make a declaration of a statement alone, or recall it with its faults."""
        own: list[Diagnostic] = []
        value, found = memory.once(node, lambda s: (make(s, own), tuple(own)))
        faults.extend(found)
        return value

    quantities = {q.name: q for s in _of(statements, tree.Quantity) if (q := made(s, declaring.quantity))}
    settings = {d.name: d for s in _of(statements, tree.Setting) if (d := made(s, declaring.setting))}
    merits = {s.name.text: declaring.merit(s) for s in _of(statements, tree.Merit)}
    nodes = list(_of(statements, tree.Law))
    laws = [made(s, declare_law) for s in nodes]
    others = {s.name.text: type(s).__name__.lower() for s in statements if isinstance(s, tree.Grade | tree.Merit)}
    declared = {s.name.text for s in statements if isinstance(s, tree.Quantity | tree.Setting)}
    lets = _lets(laws, statements, faults)
    failed = (declared | lost) - (quantities.keys() | settings.keys() | others.keys() | lets.keys())
    names = Names(quantities, settings, lets, others, frozenset(failed))
    dimensions = check_laws(list(zip(nodes, laws, strict=True)), merits.values(), names, faults, memory)
    grades = _grades(_of(statements, tree.Grade), names, dimensions, faults)
    return _Declared(names, merits, {law.name: law for law in laws}, grades, dimensions, tuple(faults))


@without_collecting()
def check_entities(model: Model, statements: Iterable[tree.Statement]) -> tuple[Model, list[Diagnostic]]:
    """Build a model with other materials, machines and profiles, all of them among ``statements``.

    Everything else is as ``model`` says; names must not be defined twice. The faults are those of the entities.
    """
    faults: list[Diagnostic] = []
    entities: dict[str, dict[str, tree.Entity]] = {"material": {}, "machine": {}, "profile": {}}
    for s in _of(statements, tree.Entity):
        entities[s.kind][s.name.text] = s
    others = dict.fromkeys(model.grades, "grade") | dict.fromkeys(model.merits, "merit")
    names = Names(model.quantities, model.settings, model.lets, others, frozenset())
    materials = resolve(entities["material"], names, faults, Memory())
    machines = resolve(entities["machine"], names, faults, Memory())
    around = Surroundings(names, model.grades, model.merits, materials, machines, model.dimensions)
    profiles = resolve_profiles(entities["profile"], around, faults, Memory())
    return replace(model, materials=materials, machines=machines, profiles=profiles), faults


def _written(span: Span, sources: Mapping[str, Source]) -> str:
    return sources[span.file].text[span.start : span.end]


def _first(faults: tuple[Diagnostic, ...]) -> tuple[Diagnostic, ...]:
    """Keep as many faults of each file as anyone will read, and say where there are more."""
    counts: dict[str, int] = {}
    shown = []
    for fault in faults:
        file = fault.span.file
        counts[file] = counts.get(file, 0) + 1
        if counts[file] <= MOST_FAULTS or fault.code == "M121":
            shown.append(fault)
        elif counts[file] == MOST_FAULTS + 1:
            shown.append(diagnose("M121", shown[-1].span, limit=MOST_FAULTS, path=file))
    return tuple(shown)


def _lets(
    laws: Iterable[LawDecl], statements: Iterable[tree.Statement], faults: list[Diagnostic]
) -> dict[str, tuple[LetDecl, ...]]:
    """Gather the derivations of every name; report those of a name that cannot be derived."""
    taken = {
        s.name.text: s for s in statements if isinstance(s, tree.Setting | tree.Grade | tree.Merit)
    }  # A let of the name of a quantity holds where no value is given.
    lets: dict[str, tuple[LetDecl, ...]] = {}
    for law in laws:
        for let in law.lets:
            other = taken.get(let.name)
            if other is not None:
                kind = type(other).__name__.lower()
                related = [Related(other.name.span, f"the {kind}")]
                faults.append(diagnose("M231", let.span, name=let.name, kind=kind, related=related))
            elif _nameable(let.name, let.span, faults):
                lets[let.name] = (*lets.get(let.name, ()), let)
    return lets


def _derived_in_the_library(statements: Iterable[tree.Statement]) -> dict[str, Span]:
    """List what laws of the library derive, with the place of the first that does."""
    laws = [s for s in _of(statements, tree.Law) if s.span.file.startswith(LIBRARY)]
    lets = [item for law in laws for item in law.items if isinstance(item, tree.Let)]
    return {let.name.text: let.name.span for let in reversed(lets)}


def _free(s: tree.Statement, derived: Mapping[str, Span], faults: list[Diagnostic]) -> bool:
    """Tell whether an author's setting, grade or merit leaves the library's derived names alone; report if not."""
    if not isinstance(s, tree.Setting | tree.Grade | tree.Merit) or s.span.file.startswith(LIBRARY):
        return True
    place = derived.get(s.name.text)
    if place is None:
        return True
    related = [Related(place, "derived here")]
    faults.append(diagnose("M231", s.name.span, name=s.name.text, kind="derived quantity", related=related))
    return False


def _nameable(name: str, span: Span, faults: list[Diagnostic], in_formulas: bool = True) -> bool:
    """Tell whether a name may be declared; report where it may not."""
    if len(name) > LONGEST_NAME:
        faults.append(diagnose("M243", span, name=brief(name), length=len(name), limit=LONGEST_NAME))
    if in_formulas and name in CONSTANTS:
        faults.append(diagnose("M231", span, name=name, kind="constant"))
        return False
    return True


def _grades(
    nodes: Iterable[tree.Grade], names: Names, dimensions: Mapping[str, Dimension], faults: list[Diagnostic]
) -> dict[str, GradeDecl]:
    grades = {}
    for node in nodes:
        name = node.quantity.text
        wanted, kind = dimensions.get(name), names.kinds.get(name)
        if kind is None:
            hint = suggest(name, node.quantity.span, names.kinds, "a grade names bands of a derived quantity")
            faults.append(diagnose("M214", node.quantity.span, name=brief(name), **hint))
        elif kind in ("word", "merit", "grade") or wanted == HARDNESS:
            what = {"word": "words", "merit": "a merit", "grade": "another grade"}.get(kind, "a hardness")
            facts: dict[str, Any] = {
                "name": f"grade {node.name.text}",
                "wanted": "a number that a law derives",
                "found": what,
            }
            advice = "name what a let derives, after by"
            faults.append(diagnose("M232", node.quantity.span, advice=advice, **facts))
            wanted = None
        grade = declaring.grade(node, wanted, faults)
        if grade is not None:
            grades[grade.name] = grade
    return grades


def _of(statements: Iterable[tree.Statement], kind: type[_S]) -> Iterator[_S]:
    return (s for s in statements if isinstance(s, kind))


def _without_repeats(statements: Sequence[_S], faults: list[Diagnostic]) -> list[_S]:
    """Leave out what is defined a second time, with a report. Names in formulas share one table."""
    tables: dict[str, dict[str, tuple[Span, str]]] = {}
    kept: set[Span] = set()
    derived = _derived_in_the_library(statements)
    # Where an author defines anew what the library has, the author's is the second.
    for s in sorted(statements, key=lambda s: not s.span.file.startswith(LIBRARY)):
        if isinstance(s, tree.Use):
            continue
        kind = s.kind if isinstance(s, tree.Entity) else type(s).__name__.lower()
        table = kind if kind in ("material", "machine", "profile", "law") else "formula"
        taken = tables.setdefault(table, {})
        first = declaring.unique([(s.name.text, s.name.span, kind)], faults, taken)
        if first and _free(s, derived, faults) and _nameable(s.name.text, s.name.span, faults, table == "formula"):
            kept.add(s.span)
    return [s for s in statements if s.span in kept]
