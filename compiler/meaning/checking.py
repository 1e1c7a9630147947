"""From files to the checked model: every fault of a text is found in one run."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic, diagnose, order
from ..text.source import Source, Span
from . import declaring
from .entities import resolve
from .laws import Names, check_laws, declare_law
from .loading import Loaded, load
from .model import LetDecl, Model
from .near import near
from .profiles import Surroundings, resolve_profiles

_S = TypeVar("_S", bound=tree.Statement)


def check_file(path: Path) -> tuple[Model | None, tuple[Diagnostic, ...], dict[str, Source]]:
    """Read and check a file with all it uses.

    Returns the model (None where there are errors), all diagnostics in order, and the sources they point into.
    """
    loaded = load(path)
    model, faults = check(loaded)
    found = order([*loaded.faults, *faults])
    return (None if any(d.is_error for d in found) else model), found, loaded.sources


def check(loaded: Loaded) -> tuple[Model, list[Diagnostic]]:
    """Build the model of all loaded files; parts at fault are left out and reported."""
    faults: list[Diagnostic] = []
    statements = [s for name in sorted(loaded.files) for s in loaded.files[name].statements]
    statements = list(_without_repeats(statements, faults))

    quantities = [q for s in _of(statements, tree.Quantity) if (q := declaring.quantity(s, faults))]
    settings = [d for s in _of(statements, tree.Setting) if (d := declaring.setting(s, faults))]
    laws = [declare_law(s, faults) for s in _of(statements, tree.Law)]
    merits = [declaring.merit(s) for s in _of(statements, tree.Merit)]
    lets: dict[str, list[LetDecl]] = {}
    for law in laws:
        for let in law.lets:
            lets.setdefault(let.name, []).append(let)
    names = Names(
        {q.name: q for q in quantities},
        {s.name: s for s in settings},
        {n: tuple(all_lets) for n, all_lets in lets.items()},
    )
    if _declarations_failed(statements, names):
        # Every use of a name that failed to be declared would be reported as unknown: say the cause only.
        hidden = {s.name.text for s in statements if isinstance(s, tree.Quantity | tree.Setting)}
    else:
        hidden = set()
    found: list[Diagnostic] = []
    dimensions = check_laws(laws, merits, names, found)
    grades = []
    for s in _of(statements, tree.Grade):
        wanted = dimensions.get(s.quantity.text)
        if wanted is None and s.quantity.text not in names.kinds:
            advice = near(s.quantity.text, names.kinds, "a grade names bands of a derived quantity")
            found.append(diagnose("M214", s.quantity.span, name=s.quantity.text, near=advice))
        grade = declaring.grade(s, wanted, faults)
        if grade is not None:
            grades.append(grade)
    entities = {
        kind: {s.name.text: s for s in _of(statements, tree.Entity) if s.kind == kind}
        for kind in ("material", "machine", "profile")
    }
    materials = resolve(entities["material"], names, found)
    machines = resolve(entities["machine"], names, found)
    around = Surroundings(
        names, {g.name: g for g in grades}, {m.name: m for m in merits}, materials, machines, dimensions
    )
    profiles = resolve_profiles(entities["profile"], around, found)
    undeclared = hidden - set(names.kinds)
    faults += [d for d in found if not (d.code == "M214" and any(f"called {u}" in d.message for u in undeclared))]
    model = Model(
        dict(loaded.sources),
        names.quantities,
        names.settings,
        around.grades,
        around.merits,
        {law.name: law for law in laws},
        names.lets,
        dimensions,
        materials,
        machines,
        profiles,
    )
    return model, faults


def _of(statements: Iterable[tree.Statement], kind: type[_S]) -> Iterator[_S]:
    return (s for s in statements if isinstance(s, kind))


def _declarations_failed(statements: Iterable[tree.Statement], names: Names) -> bool:
    return any(isinstance(s, tree.Quantity | tree.Setting) and s.name.text not in names.kinds for s in statements)


def _without_repeats(statements: list[tree.Statement], faults: list[Diagnostic]) -> Iterator[tree.Statement]:
    """Leave out what is defined a second time, with a report. Names in formulas share one table."""
    tables: dict[str, dict[str, tuple[Span, str]]] = {}
    for s in statements:
        if isinstance(s, tree.Use):
            continue
        kind = s.kind if isinstance(s, tree.Entity) else type(s).__name__.lower()
        table = kind if kind in ("material", "machine", "profile", "law") else "formula"
        taken = tables.setdefault(table, {})
        if declaring.unique([(s.name.text, s.name.span, kind)], faults, taken):
            yield s
