"""What is known of the thing under the pointer."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..meaning.display import unit_for, with_unit
from ..meaning.entities import shown_ranges
from ..meaning.functions import CONSTANTS, FUNCTIONS
from ..meaning.model import Amount, GivenValue, GradeDecl, LawDecl, Model, QuantityDecl, SettingDecl
from ..meaning.units import DIMENSIONS, Dimension, UnknownUnit, coherent_unit, describe, parse_unit
from ..syntax import tree
from ..syntax.grammar import lex
from ..syntax.printing import print_comparison, print_condition, print_expression
from .finding import at_position
from .keywords import KEYWORDS
from .occurrences import DIMENSION, FILE, FORMULA, FUNCTION, LAW, UNIT, VALUE, WORD, Occurrence
from .positions import Lines, Position, Range
from .programs import Program
from .verdicts import Verdict
from .workspace import Workspace


@dataclass(frozen=True, slots=True)
class Hover:
    """Markdown about a stretch of a text."""

    range: Range
    markdown: str


def hover(workspace: Workspace, path: Path, position: Position) -> Hover | None:
    """Tell what is known of a place; nothing where nothing is."""
    lines, found = workspace.lines(path), at_position(workspace, path, position)
    if lines is None:
        return None
    if found is not None:
        told = _told(found.program, found.occurrence, workspace.verdicts.get(found.program.main))
        if told:
            span = found.occurrence.span
            return Hover(lines.range(span.start, span.end), told)
    return _keyword(lines, lines.offset(position))


def _keyword(lines: Lines, offset: int) -> Hover | None:
    for token in lex(lines.text):
        if token.start_pos <= offset < token.end_pos:
            line = KEYWORDS.get(str(token))
            return Hover(lines.range(token.start_pos, token.end_pos), f"**{token}**: {line}") if line else None
    return None


def _told(program: Program, o: Occurrence, verdict: Verdict | None) -> str:
    model, table = program.model, o.table
    if table == FORMULA:
        return "\n\n".join([*_named(model, o), *_answers(o.name, verdict)])
    if table in (UNIT, VALUE):
        return _number(model, o)
    if table == WORD:
        return _word(model, o)
    if table == DIMENSION:
        return _dimension(o.name)
    if table == FUNCTION:
        function = FUNCTIONS.get(o.name)
        return f"**{o.name}**: a function of {function.wants}" if function else ""
    if table == LAW:
        law = model.laws.get(o.name)
        return "\n\n".join(_law(law)) if law else ""
    return _entity(model, o) if table != FILE else ""


# ---- names in formulas, values and wants


def _named(model: Model, o: Occurrence) -> Iterator[str]:
    name = o.name
    quantity, setting, grade = model.quantities.get(name), model.settings.get(name), model.grades.get(name)
    merit, lets = model.merits.get(name), model.lets.get(name, ())
    if quantity is not None:
        yield f"**{name}**: {_sort(quantity)} of a {quantity.owner}" + _doc(quantity.doc)
        if quantity.ranges:
            yield f"believable: {shown_ranges(quantity)}"
        given = _given(model, o)
        if given is not None:
            yield from told_value(given)
    elif setting is not None:
        yield f"**{name}**: setting, {_dimensioned(setting.dimension)}" + _doc(setting.doc)
        yield _lattice(setting)
    elif grade is not None:
        yield f"**{name}**: grade of `{grade.quantity}`" + _doc(grade.doc)
        yield bands(grade)
    elif merit is not None:
        yield f"**{name}**: merit" + _doc(merit.doc)
        yield _code(f"{name} = {print_expression(merit.expression)}")
    elif name in CONSTANTS:
        yield f"**{name}**: a constant"
    for let in lets:
        dimension = model.dimensions.get(name)
        if quantity is None:
            sort = f", {_dimensioned(dimension)}" if dimension is not None else ""
            yield f"**{name}**: derived by law `{let.law}`{sort}" + _doc(let.doc)
        else:
            yield f"where it is not given, derived by law `{let.law}`:" + _doc(let.doc)
        yield _code(f"{name} = {print_expression(let.expression)}")
        law = model.laws.get(let.law)
        if law is not None:
            yield from _cited(law)


def _doc(doc: str) -> str:
    return f"  \n{doc}" if doc else ""


def _code(text: str) -> str:
    return f"```melt\n{text}\n```"


def _sort(quantity: QuantityDecl) -> str:
    if quantity.dimension is None:
        return "one of " + ", ".join(f"`{w}`" for w in quantity.words)
    return _dimensioned(quantity.dimension)


def _dimensioned(dimension: Dimension) -> str:
    unit = unit_for(dimension).symbol
    return describe(dimension) + (f" (shown in {unit})" if unit else "")


def _lattice(setting: SettingDecl) -> str:
    unit = setting.unit.symbol
    low, high = setting.text(0), setting.text(setting.last)
    how = "the profile gives it" if setting.given else "chosen by the compiler"
    if setting.rather:
        how += f", rather {setting.rather} where the preferences leave it open"
    return f"{low} .. {high} {unit}".rstrip() + f" in steps of {float(setting.step):g} {unit}".rstrip() + f"; {how}"


def bands(grade: GradeDecl) -> str:
    """Write the bands of a grade as a list."""
    rows = []
    for band in grade.bands:
        if band.limit is None or band.unit is None:
            edge = "below" if grade.more_is_better else "above"
        else:
            edge = f"{'from' if grade.more_is_better else 'up to'} {with_unit(band.limit, band.unit, 6)}"
        rows.append(f"- `{band.name}` {edge}" + (f": {band.doc}" if band.doc else ""))
    return "\n".join(rows)


def _given(model: Model, o: Occurrence) -> GivenValue | None:
    """Find the value that a line of a material, machine or profile gives."""
    if o.entity is None:
        return None
    of = {"material": model.materials, "machine": model.machines}.get(o.entity.kind)
    if of is not None:
        entity = of.get(o.entity.name.text)
        return entity.values.get(o.name) if entity else None
    profile = model.profiles.get(o.entity.name.text)
    return profile.values.get(o.name) if profile else None


def told_value(given: GivenValue) -> Iterator[str]:
    """Tell a value: as written, its ends, how it is known, and what it replaced."""
    yield f"here: `{given.text}`" + (f", {ends(given.amount)}" if given.amount else "")
    yield _known(given)
    replaced = given.replaced
    while replaced is not None:
        yield f"instead of `{replaced.text}` of {replaced.entity}; {_known(replaced)}"
        replaced = replaced.replaced


def ends(amount: Amount) -> str:
    """Write the ends of an amount in the unit in which it is shown, and in base units where these are others."""
    units = [unit_for(amount.unit.dimension, amount.unit), coherent_unit(amount.unit.dimension)]
    if amount.unit.scale:
        units = [amount.unit]
    said = []
    for unit in units:
        low, high = with_unit(amount.low, unit, 6), with_unit(amount.high, unit, 6)
        said.append(high if amount.exact else f"{low} to {high}")
    return " = ".join(dict.fromkeys(said))


def _known(given: GivenValue) -> str:
    if not given.evidence.stated:
        return "no evidence given: it counts as assumed"
    return f"{given.evidence.kind}: {given.evidence.text}"


def _answers(name: str, verdict: Verdict | None) -> list[str]:
    """Tell what the solver found for a name on each machine."""
    if verdict is None or not verdict.machines:
        return []
    rows = []
    for m in verdict.machines:
        chosen = m.settings.get(name)
        if chosen is not None:
            ended = f"; {chosen.limits}" if chosen.limits else ""
            rows.append(f"- {m.profile} on {m.name}: **{chosen.text}**, {chosen.how}; holds in {chosen.band}{ended}")
        elif name in m.grades:
            rows.append(f"- {m.profile} on {m.name}: {m.grades[name]}")
        elif name in m.values:
            rows.append(f"- {m.profile} on {m.name}: {m.values[name]}")
    return ["\n".join(rows)] if rows else []


# ---- laws, words, units, entities


def _law(law: LawDecl) -> Iterator[str]:
    yield f"**{law.name}**: law" + _doc(law.about)
    yield from _cited(law)
    if law.when is not None:
        yield f"applies when `{print_condition(law.when)}`"
    for require in law.requires:
        yield _code(f"require {print_comparison(require.comparison)}")
    for check in law.checks:
        yield f"checked: {check.text}"
    if law.unchecked:
        yield f"unchecked: {law.unchecked}"


def _cited(law: LawDecl) -> Iterator[str]:
    if law.source:
        yield f"{law.status}: {law.source}"


def _word(model: Model, o: Occurrence) -> str:
    owner, _, word = o.name.partition(":")
    grade, quantity = model.grades.get(owner), model.quantities.get(owner)
    if grade is not None:
        return f"**{word}**: a band of grade `{owner}`" + _doc(grade.doc) + f"\n\n{bands(grade)}"
    if quantity is not None:
        return f"**{word}**: a word of `{owner}`" + _doc(quantity.doc) + f"\n\n{_sort(quantity)}"
    return ""


def _number(model: Model, o: Occurrence) -> str:
    parts = [unit_told(o.name)] if o.table == UNIT else []
    if isinstance(o.node, tree.Given):
        given = _given(model, Occurrence(o.span, FORMULA, o.node.name.text, False, o.node, o.entity))
        if given is not None:
            parts += told_value(given)
    return "\n\n".join(p for p in parts if p)


def unit_told(symbol: str) -> str:
    """Tell what a unit measures and its size in base units."""
    try:
        unit = parse_unit(symbol)
    except UnknownUnit:
        return ""
    if unit.scale:
        return f"**{symbol}**: a reading on this hardness scale"
    base = coherent_unit(unit.dimension)
    if unit.offset:
        return f"**{symbol}**: a temperature; 0 {symbol} is {unit.offset:g} K"
    size = "" if base.symbol == symbol else f"; 1 {symbol} = {unit.factor:.10g} {base.symbol}".rstrip()
    return f"**{symbol}**: {describe(unit.dimension)}{size}"


def _dimension(name: str) -> str:
    dimension = DIMENSIONS.get(name)
    if dimension is None:
        return ""
    shown, base = unit_for(dimension).symbol, coherent_unit(dimension).symbol
    units = ", ".join(dict.fromkeys(u for u in (shown, base) if u))
    return f"**{name}**: a dimension" + (f"; units like {units}" if units else "; written without a unit, or in %")


def _entity(model: Model, o: Occurrence) -> str:
    if o.table == "profile":
        profile = model.profiles.get(o.name)
        if profile is None:
            return ""
        on = ", ".join(m.text for m in profile.machines[:12]) + (" and more" if len(profile.machines) > 12 else "")
        return f"**{o.name}**: profile of {profile.material} on {on}"
    of = model.materials if o.table == "material" else model.machines
    entity = of.get(o.name)
    if entity is None:
        return ""
    line = " from ".join(f"`{n}`" for n in entity.line)
    rows = [
        f"- {v.name} `{v.text}`" + (f", from {v.entity}" if v.entity != o.name else "") + f"; {_known(v)}"
        for v in entity.values.values()
    ]
    return f"**{o.name}**: {o.table}, {line}\n\n" + "\n".join(rows)
