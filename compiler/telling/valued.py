"""What the parts of a condition or formula come to, where a report looks at it: values by place, to stand beneath."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

import numpy as np

from ..meaning.dimensions import Checker, names_in
from ..meaning.display import unit_for, with_unit
from ..meaning.functions import CONSTANTS
from ..meaning.model import Model, WantDecl
from ..meaning.units import Dimension, Unit
from ..network.graph import Network, Requirement
from ..solving.evaluating import Evaluator
from ..solving.problem import lattice
from ..solving.tape import Floats
from ..syntax import tree
from ..text.beneath import beneath
from ..text.diagnostic import Shown
from ..text.source import Span
from .common import number
from .sides import digits_apart, unit_of_name, unit_of_sides

Data = dict[str, Any]

DIGITS = 4

_CHAINS = ({"+", "-"}, {"*", "/"})
_ASKED = re.compile(r"\s+at\s+(?:most|least)\s+")


@dataclass(frozen=True, slots=True)
class Valued:
    """A part of a text with its value in base units, the unit it is shown in, and how it is shown."""

    span: Span
    value: float
    unit: Unit
    text: str

    @property
    def shown(self) -> Shown:
        """The place and the text."""
        return Shown(self.span, self.text)


class Point:
    """Settings (lattice indices) and inputs (base units) of one machine; gives what texts come to there."""

    def __init__(self, model: Model, network: Network, indices: Sequence[int], inputs: Floats) -> None:
        self._model = model
        self._network = network
        self._indices = {s.decl.name: int(k) for s, k in zip(network.settings, indices, strict=True)}
        self._given = {v.given.name: v.given for v in network.inputs}
        values = {s.decl.name: lattice(s.decl)[[k]] for s, k in zip(network.settings, indices, strict=True)}
        values |= {v.given.name: np.array([x]) for v, x in zip(network.inputs, inputs, strict=True)}
        self._evaluator = Evaluator(network.lets, values)
        self._checker = Checker(model.dimensions.get, dict.fromkeys(model.dimensions, "let"), [])

    def requirement(self, requirement: Requirement) -> list[Valued]:
        """Give the values beneath a requirement: the parts of its condition, or the name and the word of a want."""
        comparison, unit = requirement.comparison, unit_of_sides(self._network, requirement)
        if requirement.origin == "want":
            wants = self._network.profile.wants
            return self._want(next(w for w in wants if w.text == requirement.name), comparison, unit)
        # Whole sides have as many digits as it takes to tell them apart.
        digits = digits_apart(self._value(comparison.left), self._value(comparison.right), unit)
        return [v for side in (comparison.left, comparison.right) for v in self._parts(side, unit, digits)]

    def let(self, name: str) -> list[Valued]:
        """Give the values beneath a derived quantity where it is defined: its own, and those of its formula's parts."""
        decl = self._network.lets[name]
        own = self._name(name, decl.span, None)
        # The formula as a whole comes to what stands beneath the name.
        whole = decl.expression if not isinstance(decl.expression, tree.Reference) else None
        return [own, *(self._valued(e, own.unit, e.span, DIGITS) for e in parts(decl.expression) if e is not whole)]

    def _want(self, want: WantDecl, comparison: tree.Comparison, unit: Unit) -> list[Valued]:
        """Give what stands beneath a want: what its name comes to, and what a word of a grade asks for."""
        start, text = want.span.start, _text(self._model, want.span)
        digits = digits_apart(self._value(comparison.left), self._value(comparison.right), unit)
        found = [self._valued(comparison.left, unit, Span(want.span.file, start, start + len(want.name)), digits)]
        asked = _ASKED.search(text)
        if want.word and asked:
            place = Span(want.span.file, start + asked.end(), start + asked.end() + len(want.word))
            found.append(self._valued(comparison.right, unit, place, digits))
        return found

    def _parts(self, whole: tree.Expression, unit: Unit, digits: int = DIGITS) -> list[Valued]:
        """Give the parts of an expression; ``unit`` is for those of its dimension that have none of their own."""
        return [self._valued(e, unit, e.span, digits if e is whole else DIGITS) for e in parts(whole)]

    def _valued(self, e: tree.Expression, unit: Unit, place: Span, digits: int) -> Valued:
        if isinstance(e, tree.Reference):
            return self._name(e.name, place, unit, digits)
        dimension = self._checker.infer(e)
        value = self._value(e)
        shown_in = unit_for(dimension, unit) if dimension else unit
        return Valued(place, value, shown_in, _written(value, shown_in, digits))

    def _name(self, name: str, place: Span, unit: Unit | None, digits: int = DIGITS) -> Valued:
        value = self._value(tree.Reference(name))
        own = unit_of_name(self._model, name, self._given.get(name))
        if name in self._indices:
            text = f"{self._model.settings[name].text(self._indices[name])} {own.symbol}".rstrip()
            return Valued(place, value, own, text)
        if name not in self._given:
            own = _preferred(self._model.dimensions[name], unit, own)
        return Valued(place, value, own, _written(value, own, digits))

    def _value(self, e: tree.Expression) -> float:
        with np.errstate(all="ignore"):
            return float(np.ravel(self._evaluator.of(e))[0])


def _preferred(dimension: Dimension, unit: Unit | None, usual: Unit) -> Unit:
    return unit if unit is not None and unit.dimension == dimension else usual


def _written(value: float, unit: Unit, digits: int) -> str:
    if math.isfinite(value):
        return with_unit(value, unit, digits)
    return "undefined" if math.isnan(value) else "unbounded"


# ---- parts of an expression


def parts(e: tree.Expression, bound: frozenset[str] = frozenset()) -> Iterator[tree.Expression]:
    """List the parts of an expression that have a value of their own, itself last.

    A number and a constant of the language are read as they are, and so is what is made of them alone. Of ``a * b / c``
    the parts are ``a``, ``b``, ``c`` and the whole. What hangs on the variable of an integral has no one value.
    """
    if isinstance(e, tree.Literal) or not _has_quantities(e):
        return
    match e:
        case tree.Negation():
            yield from parts(e.operand, bound)
        case tree.Binary():
            for operand in _operands(e):
                yield from parts(operand, bound)
        case tree.Call():
            for argument in e.arguments:
                yield from parts(argument, bound)
        case tree.Integral():
            yield from parts(e.start, bound)
            yield from parts(e.stop, bound)
            yield from parts(e.body, bound | {e.variable.text})
    if not any(r.name in bound for r in names_in(e)):
        yield e


def _operands(e: tree.Binary) -> Iterator[tree.Expression]:
    """List the operands of a sum or a product as they are read, from left to right."""
    chain = next((c for c in _CHAINS if e.operator in c), {e.operator})
    if isinstance(e.left, tree.Binary) and e.left.operator in chain and e.operator != "^":
        yield from _operands(e.left)
    else:
        yield e.left
    yield e.right


def _has_quantities(e: tree.Expression) -> bool:
    return any(r.name not in CONSTANTS for r in names_in(e))


# ---- places


def condition_span(requirement: Requirement) -> Span:
    """Give the place of a requirement up to the end of its condition, or of a want."""
    if requirement.origin == "want":
        return requirement.span
    return Span(requirement.span.file, requirement.span.start, requirement.comparison.span.end)


def quoted(model: Model, span: Span, values: Sequence[Valued]) -> Data:
    """Give a stretch of text as it is written, without the indent of its statement, and the values of its parts.

    ``from`` and ``to`` count characters of that text.
    """
    text = _text(model, span)
    before = model.sources[span.file].line_text(model.sources[span.file].line_column(span.start)[0]) if text else ""
    indent = len(before) - len(before.lstrip())
    kept = [c for i, c in enumerate(text) if not _indented(text, i, indent)]
    gone = list(accumulate((int(_indented(text, i, indent)) for i in range(len(text))), initial=0))
    found = []
    for v in values:
        first, last = (at - span.start - gone[at - span.start] for at in (v.span.start, v.span.end))
        whole = "".join(kept)[first:last]
        told = {"value": number(v.value, v.unit), "unit": v.unit.symbol, "text": v.text}
        found.append({"part": " ".join(whole.split()), "from": first, "to": last, **told})
    return {"source": "".join(kept), "values": found}


def quoted_lines(data: Data) -> list[str]:
    """Write a quoted stretch with its values beneath."""
    return beneath(data["source"], [(v["from"], v["to"], v["text"]) for v in data["values"]])


def _indented(text: str, at: int, indent: int) -> bool:
    """Tell whether a character is part of the indent of a later line."""
    start = text.rfind("\n", 0, at) + 1
    return 0 < start <= at < start + indent and not text[start : at + 1].strip()


def _text(model: Model, span: Span) -> str:
    source = model.sources.get(span.file)
    return source.text[span.start : span.end] if source else ""
