"""The checked model: what the files say, with every name resolved and every dimension known.

All numbers are in coherent base units (metre, kilogram, second, kelvin, mole) unless a field says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from ..syntax import tree
from ..text.source import Source, Span
from .units import Dimension, Unit


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that may be known only to a range; ``text`` is how it was written."""

    stated: float
    low: float
    high: float
    unit: Unit
    text: str

    @property
    def exact(self) -> bool:
        """Whether the range is a single value."""
        return self.low == self.high


@dataclass(frozen=True, slots=True)
class Evidence:
    """How a value is known. ``stated`` is false where the author gave none and it counts as assumed."""

    kind: str
    text: str
    stated: bool = True


@dataclass(frozen=True, slots=True)
class QuantityDecl:
    """A declared input. ``ranges`` are (low, high, unit) in base units, one for each hardness scale."""

    name: str
    owner: str
    dimension: Dimension | None
    ranges: tuple[tuple[float, float, Unit], ...]
    words: tuple[str, ...]
    doc: str
    span: Span


@dataclass(frozen=True, slots=True)
class SettingDecl:
    """A setting on its lattice: ``(low + i * step)`` in ``unit``, for i from 0 to ``last``."""

    name: str
    dimension: Dimension
    unit: Unit
    low: Fraction
    step: Fraction
    last: int
    given: bool
    rather: str
    doc: str
    span: Span

    def number(self, index: int) -> Fraction:
        """Give the lattice value at an index, exactly, in ``unit``."""
        return self.low + index * self.step

    @property
    def decimals(self) -> int:
        """How many decimals show every lattice value exactly."""
        denominator = lcm(self.step.denominator, self.low.denominator)
        places = 0
        while 10**places % denominator and places < 12:
            places += 1
        return places

    def text(self, index: int) -> str:
        """Give the lattice value at an index as people write it, without its unit."""
        return f"{float(self.number(index)):.{self.decimals}f}"


@dataclass(frozen=True, slots=True)
class BandDecl:
    """A band of a grade; ``limit`` is in base units, or None for the last one."""

    name: str
    limit: float | None
    unit: Unit | None
    doc: str
    span: Span


@dataclass(frozen=True, slots=True)
class GradeDecl:
    """Named bands of a derived quantity, best first; ``more_is_better`` tells which way they run."""

    name: str
    quantity: str
    more_is_better: bool
    bands: tuple[BandDecl, ...]
    doc: str
    span: Span


@dataclass(frozen=True, slots=True)
class MeritDecl:
    """Something to have as much of as possible."""

    name: str
    expression: tree.Expression
    doc: str
    span: Span


@dataclass(frozen=True, slots=True)
class LetDecl:
    """A derived quantity of a law."""

    name: str
    expression: tree.Expression
    doc: str
    law: str
    span: Span


@dataclass(frozen=True, slots=True)
class CheckDecl:
    """What of a law was checked against what; ``by`` is the path of a test, with ``::name`` where one is named."""

    text: str
    by: str
    span: Span


@dataclass(frozen=True, slots=True)
class LawDecl:
    """A law with its parts; ``unchecked`` says why it has no check, and is empty where nothing is said."""

    name: str
    about: str
    status: str
    source: str
    when: tree.Condition | None
    lets: tuple[LetDecl, ...]
    requires: tuple[tree.Require, ...]
    valids: tuple[tree.Valid, ...]
    notices: tuple[tree.Notice, ...]
    checks: tuple[CheckDecl, ...]
    unchecked: str
    span: Span


@dataclass(frozen=True, slots=True)
class GivenValue:
    """A value of an input: an amount or a word, how it is known, where it stands, and what it replaced."""

    name: str
    amount: Amount | None
    word: str
    evidence: Evidence
    entity: str
    span: Span
    replaced: "GivenValue | None" = None

    @property
    def text(self) -> str:
        """The value as it was written."""
        return self.amount.text if self.amount is not None else self.word


@dataclass(frozen=True, slots=True)
class EntityDecl:
    """A material or machine with its inherited values; ``line`` lists it and what it inherits from."""

    kind: str
    name: str
    line: tuple[str, ...]
    values: Mapping[str, GivenValue]
    span: Span


@dataclass(frozen=True, slots=True)
class WantDecl:
    """A bound that the author asks for: a word of a grade, or an amount."""

    name: str
    bound: str
    word: str
    amount: Amount | None
    soft: bool
    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class PinDecl:
    """A setting fixed by the author; ``reason`` is empty where the setting is declared ``given``."""

    name: str
    amount: Amount
    reason: str
    span: Span


@dataclass(frozen=True, slots=True)
class ProfileDecl:
    """What is wanted: a material, machines, given and pinned settings, wants and preferences."""

    name: str
    material: str
    machines: tuple[tree.Name, ...]
    values: Mapping[str, GivenValue]
    pins: Mapping[str, PinDecl]
    wants: tuple[WantDecl, ...]
    prefer: tuple[tree.Name, ...]
    share: float
    span: Span


@dataclass(frozen=True, slots=True)
class Model:
    """Everything that the files say. ``lets`` lists all derivations of a name."""

    sources: Mapping[str, Source]
    quantities: Mapping[str, QuantityDecl]
    settings: Mapping[str, SettingDecl]
    grades: Mapping[str, GradeDecl]
    merits: Mapping[str, MeritDecl]
    laws: Mapping[str, LawDecl]
    lets: Mapping[str, tuple[LetDecl, ...]]
    dimensions: Mapping[str, Dimension]
    materials: Mapping[str, EntityDecl]
    machines: Mapping[str, EntityDecl]
    profiles: Mapping[str, ProfileDecl]
