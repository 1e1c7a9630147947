"""Checking laws: their parts, the names they use, and the dimension of everything they say."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from .declaring import text_of
from .dimensions import Checker, names_in
from .model import LawDecl, LetDecl, MeritDecl, QuantityDecl, SettingDecl
from .near import listed, near
from .units import HARDNESS, UNITS, Dimension, describe

_T = TypeVar("_T", tree.About, tree.SourceNote, tree.When)


def declare_law(node: tree.Law, faults: list[Diagnostic]) -> LawDecl:
    """Sort a law's items; report parts that are missing or said twice."""
    name = node.name.text
    about = _single(node, tree.About, "about", faults)
    source = _single(node, tree.SourceNote, "source", faults)
    when = _single(node, tree.When, "when", faults)
    if about is None:
        faults.append(diagnose("M225", node.name.span, law=name, part="about", advice='add: about "what it says"'))
    if source is None:
        advice = 'add: source published "where it comes from" (or textbook, practice, assumed)'
        faults.append(diagnose("M225", node.name.span, law=name, part="source", advice=advice))
    lets = tuple(
        LetDecl(i.name.text, i.expression, text_of(i.doc), name, i.name.span)
        for i in node.items
        if isinstance(i, tree.Let)
    )
    requires = tuple(i for i in node.items if isinstance(i, tree.Require))
    valids = tuple(i for i in node.items if isinstance(i, tree.Valid))
    notices = tuple(i for i in node.items if isinstance(i, tree.Notice))
    if node.items and not (lets or requires or notices):
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
        node.name.span,
    )


def _single(node: tree.Law, kind: type[_T], part: str, faults: list[Diagnostic]) -> _T | None:
    found = [i for i in node.items if isinstance(i, kind)]
    for extra in found[1:]:
        related = [Related(found[0].span, "first said here")]
        faults.append(diagnose("M226", extra.span, part=part, related=related))
    return found[0] if found else None


@dataclass(frozen=True, slots=True)
class Names:
    """What may be used in a formula, and what each name is."""

    quantities: Mapping[str, QuantityDecl]
    settings: Mapping[str, SettingDecl]
    lets: Mapping[str, tuple[LetDecl, ...]]

    @property
    def kinds(self) -> dict[str, str]:
        """Each name with its kind; a given quantity comes before a let of its name."""
        kinds = dict.fromkeys(self.lets, "let")
        kinds |= dict.fromkeys(self.settings, "setting")
        kinds |= {n: "quantity" if q.dimension is not None else "word" for n, q in self.quantities.items()}
        return kinds


def check_laws(
    laws: Iterable[LawDecl], merits: Iterable[MeritDecl], names: Names, faults: list[Diagnostic]
) -> dict[str, Dimension]:
    """Check every formula; give the dimension of every name that has one."""
    kinds = names.kinds
    dimensions: dict[str, Dimension | None] = {}
    for quantity in names.quantities.values():
        if quantity.dimension is not None:
            dimensions[quantity.name] = quantity.dimension
    dimensions |= {s.name: s.dimension for s in names.settings.values()}

    _break_circles(names.lets, dimensions, faults)

    def lookup(name: str) -> Dimension | None:
        if name not in dimensions:
            dimensions[name] = None
            checker = Checker(lookup, kinds, faults)
            found = [(let, checker.infer(let.expression)) for let in names.lets[name]]
            dimensions[name] = next((d for _, d in found if d is not None), None)
            for let, dimension in found:
                _same(let, dimension, dimensions[name], faults)
        return dimensions[name]

    for name in sorted(names.lets):
        if name in names.quantities or name in names.settings:
            _check_fallback(name, names, Checker(lookup, kinds, faults), faults)
        else:
            lookup(name)
    checker = Checker(lookup, kinds, faults)
    for merit in merits:
        dimensions[merit.name] = checker.infer(merit.expression)
    for law in laws:
        _check_law(law, checker, names, faults)
    return {n: d for n, d in dimensions.items() if d is not None}


def _same(let: LetDecl, found: Dimension | None, wanted: Dimension | None, faults: list[Diagnostic]) -> None:
    if found is not None and wanted is not None and found != wanted:
        advice = f"every derivation of {let.name} must give a {describe(wanted)}"
        faults.append(
            diagnose(
                "M301",
                let.span,
                name=let.name,
                wanted=describe(wanted),
                found=describe(found),
                found_text="this formula",
                advice=advice,
            )
        )


def _check_fallback(name: str, names: Names, checker: Checker, faults: list[Diagnostic]) -> None:
    for let in names.lets[name]:
        if name in names.settings:
            related = [Related(names.settings[name].span, "the setting")]
            faults.append(diagnose("M231", let.span, name=name, kind="setting", related=related))
        else:
            _same(let, checker.infer(let.expression), names.quantities[name].dimension, faults)


def _break_circles(
    lets: Mapping[str, tuple[LetDecl, ...]], dimensions: dict[str, Dimension | None], faults: list[Diagnostic]
) -> None:
    """Report names that are derived from themselves; their dimension counts as unknown from then on."""
    uses = {
        n: sorted({r.name for let in all_lets for r in names_in(let.expression)} & set(lets))
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
                    chain = [n for n, _ in stack][[n for n, _ in stack].index(following) :]
                    shown = " -> ".join([*chain, following])
                    faults.append(diagnose("M229", lets[following][0].span, name=following, chain=shown))
                    dimensions.setdefault(following, None)
                elif not state.get(following):
                    stack.append((following, 0))
            else:
                state[name] = 2


def _check_law(law: LawDecl, checker: Checker, names: Names, faults: list[Diagnostic]) -> None:
    if law.when is not None:
        _check_condition(law.when, checker, names, faults)
        for test in law.when.tests:
            if isinstance(test, tree.Comparison):
                for r in names_in(test.left) + names_in(test.right):
                    if r.name in names.settings or (r.name in names.lets and r.name not in names.quantities):
                        faults.append(diagnose("M230", r.span, name=r.name))
    for require in law.requires:
        checker.comparison(require.comparison)
        for remedy in require.remedies:
            if remedy.name.text not in names.quantities and remedy.name.text not in names.settings:
                advice = near(remedy.name.text, [*names.quantities, *names.settings], "name a quantity or a setting")
                faults.append(diagnose("M239", remedy.name.span, name=remedy.name.text, help=advice))
    for valid in law.valids:
        checker.comparison(valid.comparison)
    for notice in law.notices:
        if notice.where is not None:
            _check_condition(notice.where, checker, names, faults)


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
        faults.append(
            diagnose(
                "M217",
                test.scale.span,
                name=test.scale.text,
                quantity="a scale",
                words=listed(scales),
                near="",
            )
        )


def _check_word(test: tree.IsWord, names: Names, faults: list[Diagnostic]) -> None:
    quantity = _quantity(test.quantity, names, lambda q: bool(q.words), "a quantity that is one of some words", faults)
    if quantity is not None and test.word.text not in quantity.words:
        faults.append(unknown_word(test.word.text, quantity.name, quantity.words, test.word))


def unknown_word(word: str, name: str, words: Iterable[str], at: tree.Name | tree.Word) -> Diagnostic:
    """Report a word that is none of those a quantity or grade takes."""
    known = list(words)
    guess = near(word, known, "")
    return diagnose("M217", at.span, name=word, quantity=name, words=listed(known), near=f"; {guess}" if guess else "")


def _quantity(
    name: tree.Name, names: Names, fits: Callable[[QuantityDecl], bool], wanted: str, faults: list[Diagnostic]
) -> QuantityDecl | None:
    quantity = names.quantities.get(name.text)
    if quantity is None:
        advice = near(name.text, names.quantities, "conditions look at quantities")
        faults.append(diagnose("M214", name.span, name=name.text, near=advice))
        return None
    if not fits(quantity):
        advice = f"only {wanted} can be asked for this way"
        faults.append(
            diagnose(
                "M232",
                name.span,
                name=name.text,
                wanted="a number",
                found=f"what is asked of {wanted}",
                advice=advice,
            )
        )
        return None
    return quantity
