"""From statements to declarations: quantities, settings, grades, merits, and the tables of names."""

from collections.abc import Iterable
from fractions import Fraction
from math import lcm

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.fixing import write_for
from ..text.source import Span
from .model import BandDecl, GradeDecl, MeritDecl, QuantityDecl, SettingDecl
from .near import brief, suggest
from .units import DIMENSIONS, HARDNESS, Dimension, Unit, difference_unit
from .valuing import amount_of, base_of, mismatch, unit_of

MOST_STEPS = 100_000
"""Lattice points of the longest setting."""
MOST_DECIMALS = 12
"""Decimals of the finest lattice."""


def text_of(text: tree.Text | None) -> str:
    """Give a doc line, or nothing."""
    return text.text if text is not None else ""


def dimension_of(name: tree.Name, faults: list[Diagnostic]) -> Dimension | None:
    """Look a dimension up by its name."""
    dimension = DIMENSIONS.get(name.text)
    if dimension is None:
        known = f"the dimensions are {', '.join(sorted(DIMENSIONS))}"
        hint = suggest(name.text, name.span, DIMENSIONS, known)
        faults.append(diagnose("M216", name.span, name=brief(name.text), **hint))
    return dimension


def quantity(node: tree.Quantity, faults: list[Diagnostic]) -> QuantityDecl | None:
    """Check a quantity and its believable ranges."""
    doc, name = text_of(node.doc), node.name.text
    if node.dimension is None:
        listed_twice(node.words, faults)
        return QuantityDecl(name, node.owner, None, (), tuple(w.text for w in node.words), doc, node.name.span)
    dimension = dimension_of(node.dimension, faults)
    if dimension is None:
        return None
    ranges = []
    for written in node.ranges:
        amount = amount_of(written, faults)
        if amount is None:
            continue
        if amount.unit.dimension != dimension:
            faults.append(mismatch(name, dimension, amount, written.span))
        else:
            ranges.append((amount.low, amount.high, amount.unit))
    return QuantityDecl(name, node.owner, dimension, tuple(ranges), (), doc, node.name.span)


def listed_twice(names: Iterable[tree.Name], faults: list[Diagnostic]) -> None:
    """Report names that stand twice in a list."""
    first: dict[str, tree.Name] = {}
    for name in names:
        if name.text in first:
            related = [Related(first[name.text].span, "first listed here")]
            faults.append(diagnose("M244", name.span, name=name.text, related=related))
        first.setdefault(name.text, name)


def setting(node: tree.Setting, faults: list[Diagnostic]) -> SettingDecl | None:
    """Check a setting and its lattice."""
    dimension = dimension_of(node.dimension, faults)
    if not isinstance(node.range, tree.Range):
        why = f"setting {node.name.text} needs a range to choose from"
        faults.append(diagnose("M227", node.range.span, why=why))
        return None
    amount = amount_of(node.range, faults)
    step_unit = unit_of(node.step, faults)
    if dimension is None or amount is None or step_unit is None:
        return None
    if amount.unit.dimension != dimension:
        faults.append(mismatch(node.name.text, dimension, amount, node.range.span))
        return None
    unit = amount.unit
    fault = _lattice_unit_fault(node, node.range, unit, step_unit)
    if fault is not None:
        faults.append(fault)
        return None
    if base_of(node.step, step_unit, faults) is None:
        return None
    low, high, step = (Fraction(n.digits) for n in (node.range.low, node.range.high, node.step))
    why, advice, end = _lattice_fault(node.range, low, high, step)
    if why:
        number = node.range.high
        whole = f"{number.digits} {number.unit}".rstrip()
        fixes = [write_for(number.span, whole, f"{end} {number.unit}".rstrip())] if end else []
        faults.append(diagnose("M227", node.step.span, why=why, help=advice, fixes=fixes))
        return None
    last = int((high - low) / step)
    return SettingDecl(
        node.name.text,
        dimension,
        unit,
        low,
        step,
        last,
        node.given,
        node.rather,
        text_of(node.doc),
        node.name.span,
    )


def _lattice_fault(whole: tree.Range, low: Fraction, high: Fraction, step: Fraction) -> tuple[str, str, str]:
    """Say what is wrong with the numbers of a lattice, what to write, and a better end; nothing where they are good."""
    if step <= 0:
        return "a step must be more than zero", "write a number above zero", ""
    steps = (high - low) / step
    if steps > MOST_STEPS:
        return f"there are more than {MOST_STEPS:,} steps", "write a longer step", ""
    if 10**MOST_DECIMALS % lcm(low.denominator, step.denominator):
        return f"these numbers have more than {MOST_DECIMALS} decimals", "write them in a smaller unit", ""
    if steps.denominator != 1:
        end = f"{float(low + int(steps) * step):.12g}"
        why = f"{whole.high.digits} is not a whole number of steps above {whole.low.digits}"
        return why, f"end the range at {end}, or write another step", end
    return "", "", ""


def _lattice_unit_fault(node: tree.Setting, whole: tree.Range, unit: Unit, step_unit: Unit) -> Diagnostic | None:
    """A lattice is counted in one unit, so its ends and its step must share it."""
    if whole.low.unit not in ("", whole.high.unit):
        why = f"both ends of the range of {node.name.text} must be in one unit"
        return diagnose("M227", whole.span, why=why, help=f"write both in {whole.high.unit}")
    steps = difference_unit(unit)
    if step_unit.factor == unit.factor and step_unit.dimension in (unit.dimension, steps.dimension):
        return None
    digits = node.step.digits
    if not unit.symbol:
        return diagnose(
            "M227",
            node.step.span,
            why=f"the step of {node.name.text} must be a plain number, as its range is",
            help=f"write step {digits}",
            fixes=[write_for(node.step.span, f"{digits} {node.step.unit}", digits)],
        )
    why = f"the step of {node.name.text} must be in {steps.symbol}, the unit of its range"
    written, better = f"{digits} {node.step.unit}".rstrip(), f"{digits} {steps.symbol}"
    fix = write_for(node.step.span, written, better)
    return diagnose("M227", node.step.span, why=why, help=f"write: step {better}", fixes=[fix])


def grade(node: tree.Grade, wanted: Dimension | None, faults: list[Diagnostic]) -> GradeDecl | None:
    """Check a grade: limits in order and of the right dimension, the last band open."""
    bands, edges = [], []
    for band in node.bands:
        unit = unit_of(band.limit, faults) if band.limit else None
        limit = base_of(band.limit, unit, faults) if band.limit and unit else None
        if band.limit and unit and wanted is not None and unit.dimension != wanted:
            amount = amount_of(tree.Exact(band.limit, band.limit.span), [])
            if amount is not None:
                faults.append(mismatch(node.quantity.text, wanted, amount, band.limit.span))
            return None
        bands.append(BandDecl(band.name.text, limit, unit, text_of(band.doc), band.name.span))
        edges.append(band.edge)
    why = _grade_fault(node, bands, edges)
    if why:
        faults.append(diagnose("M228", node.name.span, why=why))
        return None
    rising = edges[0] == "from"
    return GradeDecl(node.name.text, node.quantity.text, rising, tuple(bands), text_of(node.doc), node.name.span)


def _grade_fault(node: tree.Grade, bands: list[BandDecl], edges: list[str]) -> str:
    name = node.name.text
    if len(bands) < 2:
        return f"grade {name} needs at least two bands"
    if len({b.name for b in bands}) < len(bands):
        return f"grade {name} has two bands of one name"
    if edges not in (["up_to"] * (len(edges) - 1) + ["above"], ["from"] * (len(edges) - 1) + ["below"]):
        return f"grade {name} mixes its edges: 'up to' goes with a last 'above', 'from' with a last 'below'"
    limits = [b.limit for b in bands[:-1]]
    if any(x is None for x in limits):
        return ""
    known = [x for x in limits if x is not None]
    in_order = sorted(known, reverse=edges[0] == "from")
    if known != in_order or len(set(known)) < len(known):
        return f"the limits of grade {name} are not in order from best to worst"
    return ""


def merit(node: tree.Merit) -> MeritDecl:
    """Take a merit over."""
    return MeritDecl(node.name.text, node.expression, text_of(node.doc), node.name.span)


def unique(
    named: Iterable[tuple[str, Span, str]], faults: list[Diagnostic], taken: dict[str, tuple[Span, str]]
) -> set[Span]:
    """Report names that stand twice; give the places to keep. ``taken`` maps names to place and kind."""
    keep = set()
    for name, span, kind in named:
        if name not in taken:
            taken[name] = (span, kind)
            keep.add(span)
            continue
        first, other = taken[name]
        related = [Related(first, "first defined here")]
        if other == kind:
            faults.append(diagnose("M210", span, kind=kind, name=name, related=related))
        else:
            faults.append(diagnose("M231", span, name=name, kind=other, related=related))
    return keep


def in_ranges(value: QuantityDecl, low: float, high: float, unit: Unit) -> bool:
    """Tell whether an amount is believable: inside the range of its scale."""
    tolerance = 1e-12
    for least, most, scale in value.ranges:
        if value.dimension == HARDNESS and scale.scale != unit.scale:
            continue
        if least - tolerance * abs(least) <= low and high <= most + tolerance * abs(most):
            return True
    return not value.ranges
