"""Checking laws: their parts, the names they use, and the dimension of everything they say."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any, TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.fixing import put_in
from ..text.joining import listed
from .declaring import text_of
from .dimensions import Checker, names_in
from .memory import Memory
from .model import CheckDecl, LawDecl, LetDecl, MeritDecl, QuantityDecl, SettingDecl
from .near import brief, suggest
from .units import HARDNESS, UNITS, Dimension, with_article

_V = TypeVar("_V")
_T = TypeVar("_T", tree.About, tree.SourceNote, tree.When, tree.Unchecked)


def declare_law(node: tree.Law, faults: list[Diagnostic]) -> LawDecl:
    """Sort a law's items; report parts that are missing or said twice."""
    name = node.name.text
    about = _single(node, tree.About, "about", faults)
    source = _single(node, tree.SourceNote, "source", faults)
    when = _single(node, tree.When, "when", faults)
    if about is None:
        fix = put_in(node.span, '\n  about "..."', "say what it is about")
        advice = 'add: about "what it says"'
        faults.append(diagnose("M225", node.name.span, name=name, part="about", advice=advice, fixes=[fix]))
    if source is None:
        advice = 'add: source published "where it comes from" (or textbook, practice, assumed)'
        fix = put_in(node.span, '\n  source assumed "..."', "say where it comes from")
        faults.append(diagnose("M225", node.name.span, name=name, part="source", advice=advice, fixes=[fix]))
    lets = _lets(node, faults)
    requires = tuple(i for i in node.items if isinstance(i, tree.Require))
    valids = tuple(i for i in node.items if isinstance(i, tree.Valid))
    notices = tuple(i for i in node.items if isinstance(i, tree.Notice))
    checks, unchecked = _checks(node, faults)
    if about is not None and source is not None and not (lets or requires or notices):
        faults.append(diagnose("M241", node.name.span, name=name))
    return LawDecl(
        name,
        about.text.text if about else "",
        source.status if source else "",
        source.text.text if source else "",
        when.condition if when else None,
        lets,
        requires,
        valids,
        notices,
        checks,
        unchecked,
        node.name.span,
    )


def _checks(node: tree.Law, faults: list[Diagnostic]) -> tuple[tuple[CheckDecl, ...], str]:
    """Give what a law was checked against, or why it was not; it cannot say both."""
    checks: dict[tuple[str, str], CheckDecl] = {}
    for i in node.items:
        if not isinstance(i, tree.Checked):
            continue
        said = i.text.text, i.by.text
        if said in checks:
            related = [Related(checks[said].span, "first said here")]
            faults.append(diagnose("M226", i.span, part="check", related=related))
        else:
            checks[said] = CheckDecl(*said, i.span)
    unchecked = _single(node, tree.Unchecked, "unchecked", faults)
    if checks and unchecked is not None:
        related = [Related(c.span, "checked here") for c in list(checks.values())[:4]]
        faults.append(diagnose("M260", unchecked.span, name=node.name.text, related=related))
    return tuple(checks.values()), unchecked.text.text if unchecked else ""


def _lets(node: tree.Law, faults: list[Diagnostic]) -> tuple[LetDecl, ...]:
    lets: dict[str, LetDecl] = {}
    for i in node.items:
        if not isinstance(i, tree.Let):
            continue
        name = i.name.text
        if name in lets:
            related = [Related(lets[name].span, "first derived here")]
            faults.append(diagnose("M210", i.name.span, kind="let", name=name, related=related))
        else:
            lets[name] = LetDecl(name, i.expression, text_of(i.doc), node.name.text, i.name.span)
    return tuple(lets.values())


def _single(node: tree.Law, kind: type[_T], part: str, faults: list[Diagnostic]) -> _T | None:
    found = [i for i in node.items if isinstance(i, kind)]
    for extra in found[1:]:
        related = [Related(found[0].span, "first said here")]
        faults.append(diagnose("M226", extra.span, part=part, related=related))
    return found[0] if found else None


@dataclass(frozen=True)
class Names:
    """What formulas, values and wants may name.

    ``others`` are merits and grades with their kind, ``failed`` the names whose declaration is at fault: a use of
    one is not reported again.
    """

    quantities: Mapping[str, QuantityDecl]
    settings: Mapping[str, SettingDecl]
    lets: Mapping[str, tuple[LetDecl, ...]]
    others: Mapping[str, str] = field(default_factory=dict)
    failed: frozenset[str] = frozenset()

    def dimension(self, name: str) -> Dimension | tuple[str, ...] | None:
        """Give the dimension of a quantity or setting, or the words that it takes."""
        quantity = self.quantities.get(name)
        if quantity is not None:
            return quantity.dimension or quantity.words
        return self.settings[name].dimension if name in self.settings else None

    @cached_property
    def kinds(self) -> dict[str, str]:
        """Each name with its kind; a given quantity comes before a let of its name."""
        kinds = dict.fromkeys(self.failed, "failed") | dict(self.others)
        kinds |= dict.fromkeys(self.lets, "let")
        kinds |= dict.fromkeys(self.settings, "setting")
        kinds |= {n: "quantity" if q.dimension is not None else "word" for n, q in self.quantities.items()}
        return kinds

    def told(self, name: str) -> object:
        """Tell all that a check reads of a name but the dimension of what is derived."""
        q = self.quantities.get(name)
        declared = None if q is None else (q.owner, q.dimension, q.ranges, q.words)
        return self.kinds.get(name), declared, name in self.settings, name in self.lets


def check_laws(
    laws: Iterable[tuple[tree.Law, LawDecl]],
    merits: Iterable[MeritDecl],
    names: Names,
    faults: list[Diagnostic],
    memory: Memory,
) -> dict[str, Dimension]:
    """Check every formula; give the dimension of every name that has one."""
    kinds = names.kinds
    dimensions: dict[str, Dimension | None] = {}
    for quantity in names.quantities.values():
        if quantity.dimension is not None:
            dimensions[quantity.name] = quantity.dimension
    dimensions |= {s.name: s.dimension for s in names.settings.values()}

    told = cache(names.told)

    def known(name: str) -> object:
        return dimensions.get(name), told(name)

    def infer(expression: tree.Expression, own: list[Diagnostic]) -> Dimension | None:
        return Checker(dimensions.get, kinds, own).infer(expression)

    decls = {node.name.text: decl for node, decl in laws}

    def check_law(law: tree.Law, own: list[Diagnostic]) -> None:
        _check_law(decls[law.name.text], Checker(dimensions.get, kinds, own), names, own)

    for name in _in_order(names, faults, memory):
        found = [
            (let, memory.recall(let.expression, infer, faults, known, _same_elsewhere)) for let in names.lets[name]
        ]
        if name not in names.quantities:
            dimensions[name] = next((d for _, d in found if d is not None), None)
        for let, dimension in found:
            _same(let, dimension, dimensions.get(name), faults)
    for merit in merits:
        dimensions[merit.name] = memory.recall(merit.expression, infer, faults, known, _same_elsewhere)
    for law, _ in laws:
        memory.recall(law, check_law, faults, known, _same_elsewhere)
    return {n: d for n, d in dimensions.items() if d is not None}


def _same_elsewhere(node: object, found: _V) -> _V:
    """Give what was found of a formula that says the same at another place: no place is in it."""
    return found


def _same(let: LetDecl, found: Dimension | None, wanted: Dimension | None, faults: list[Diagnostic]) -> None:
    if found is not None and wanted is not None and found != wanted:
        advice = f"every derivation of {let.name} must give {with_article(wanted)}"
        facts: dict[str, Any] = {"name": let.name, "wanted": with_article(wanted), "found": with_article(found)}
        faults.append(diagnose("M301", let.span, found_text="this formula", advice=advice, **facts))


def _in_order(names: Names, faults: list[Diagnostic], memory: Memory) -> list[str]:
    """List derived names, each after those that it is derived from; report names derived from themselves.

    A declared quantity may be given, so a circle through one is looked for on each machine.
    """
    lets = names.lets
    ordered: list[str] = []
    inner = lets.keys() - names.quantities.keys()
    uses = {
        n: sorted({r.name for let in all_lets for r in memory.once(let.expression, names_in)} & inner)
        for n, all_lets in lets.items()
    }
    state: dict[str, int] = {}
    for root in sorted(lets):
        stack: list[tuple[str, int]] = [(root, 0)]
        while stack:
            name, at = stack.pop()
            if at == 0:
                if state.get(name):
                    continue
                state[name] = 1
            if at < len(uses[name]):
                stack.append((name, at + 1))
                following = uses[name][at]
                if state.get(following) == 1:
                    path = [n for n, _ in stack]
                    faults.append(circle([lets[n][0] for n in path[path.index(following) :]]))
                elif not state.get(following):
                    stack.append((following, 0))
            else:
                state[name] = 2
                ordered.append(name)
    return ordered


def circle(lets: list[LetDecl]) -> Diagnostic:
    """Report lets of which each uses the next and the last uses the first."""
    first = lets[0]
    chain = " -> ".join(let.name for let in [*_shortened(lets), first])
    related = [Related(let.span, f"derives {let.name}") for let in lets[1:6]]
    return diagnose("M229", first.span, name=first.name, chain=chain, related=related)


def _shortened(lets: list[LetDecl]) -> list[LetDecl]:
    return lets if len(lets) <= 8 else [*lets[:4], *lets[-4:]]


def _check_law(law: LawDecl, checker: Checker, names: Names, faults: list[Diagnostic]) -> None:
    if law.when is not None:
        _check_condition(law.when, checker, names, faults)
        for test in law.when.tests:
            if isinstance(test, tree.Comparison):
                _check_when(test, names, faults)
    for require in law.requires:
        checker.comparison(require.comparison)
        for remedy in require.remedies:
            if remedy.name.text not in names.quantities and remedy.name.text not in names.settings:
                if remedy.name.text in names.failed:
                    continue
                known = [*names.quantities, *names.settings]
                hint = suggest(remedy.name.text, remedy.name.span, known, "name a quantity or a setting")
                facts: dict[str, Any] = {"name": brief(remedy.name.text), "help": hint["near"], "fixes": hint["fixes"]}
                faults.append(diagnose("M239", remedy.name.span, **facts))
    for valid in law.valids:
        checker.comparison(valid.comparison)
    for notice in law.notices:
        if notice.where is not None:
            _check_condition(notice.where, checker, names, faults)


def _check_when(test: tree.Comparison, names: Names, faults: list[Diagnostic]) -> None:
    """A when is decided for whole ranges of inputs, so it compares plain inputs and numbers only."""
    inputs = [r for side in (test.left, test.right) for r in names_in(side)]
    derived = [r for r in inputs if r.name in names.settings or r.name in names.lets]
    derived = [r for r in derived if r.name not in names.quantities]
    for r in derived:
        faults.append(diagnose("M230", r.span, name=r.name))
    if derived or any(r.name not in names.kinds for r in inputs):
        return
    for side in (test.left, test.right):
        bare = side.operand if isinstance(side, tree.Negation) else side
        if not isinstance(bare, tree.Literal | tree.Reference):
            faults.append(diagnose("M242", side.span, found="a formula"))
    if not inputs:
        faults.append(diagnose("M242", test.span, found="numbers alone", help="name a quantity on one side"))


def _check_condition(condition: tree.Condition, checker: Checker, names: Names, faults: list[Diagnostic]) -> None:
    for test in condition.tests:
        match test:
            case tree.Comparison():
                checker.comparison(test)
            case tree.OnScale():
                _check_scale(test, names, faults)
            case tree.IsWord():
                _check_word(test, names, faults)


def _check_scale(test: tree.OnScale, names: Names, faults: list[Diagnostic]) -> None:
    quantity = _quantity(test.quantity, names, lambda q: q.dimension == HARDNESS, "a hardness", faults)
    unit = UNITS.get(test.scale.text)
    if quantity is not None and (unit is None or unit.scale is None):
        scales = sorted(s for s, u in UNITS.items() if u.scale is not None)
        faults.append(unknown_word(test.scale.text, "hardness scales", scales, test.scale))


def _check_word(test: tree.IsWord, names: Names, faults: list[Diagnostic]) -> None:
    quantity = _quantity(test.quantity, names, lambda q: bool(q.words), "a quantity that is one of some words", faults)
    if quantity is not None and test.word.text not in quantity.words:
        faults.append(unknown_word(test.word.text, quantity.name, quantity.words, test.word))


def unknown_word(word: str, name: str, words: Iterable[str], at: tree.Name | tree.Word) -> Diagnostic:
    """Report a word that is none of those a quantity or grade takes."""
    known = list(words)
    hint = suggest(word, at.span, known, "")
    guess = hint["near"]
    facts: dict[str, Any] = {
        "name": brief(word),
        "quantity": name,
        "words": listed(known),
        "near": f"; {guess}" if guess else "",
        "fixes": hint["fixes"],
    }
    return diagnose("M217", at.span, **facts)


def _quantity(
    name: tree.Name, names: Names, fits: Callable[[QuantityDecl], bool], wanted: str, faults: list[Diagnostic]
) -> QuantityDecl | None:
    quantity = names.quantities.get(name.text)
    if quantity is None:
        kind = names.kinds.get(name.text, "")
        if kind in ("setting", "let"):
            faults.append(diagnose("M230", name.span, name=name.text))
        elif kind != "failed":
            known = [q.name for q in names.quantities.values()]
            hint = suggest(
                name.text, name.span, known, "conditions look at quantities", lambda n: fits(names.quantities[n])
            )
            faults.append(diagnose("M214", name.span, name=brief(name.text), **hint))
        return None
    if not fits(quantity):
        if quantity.words:
            takes, advice = "a word", f"ask: {name.text} is {quantity.words[0]}"
        else:
            takes, advice = "a number", f"compare it: {name.text} > NUMBER UNIT"
        if quantity.dimension == HARDNESS:
            takes, advice = "a reading", f"ask: {name.text} on shore_a"
        facts: dict[str, Any] = {"name": name.text, "wanted": takes, "found": f"what is asked of {wanted}"}
        faults.append(diagnose("M232", name.span, advice=advice, **facts))
        return None
    return quantity
