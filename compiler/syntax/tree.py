"""The syntax tree: frozen nodes with places. Equality ignores places, so trees compare by what they say."""

from dataclasses import dataclass, field

from ..text.source import NOWHERE, Span
from .file import File as File
from .file import Text as Text
from .file import Use as Use


@dataclass(frozen=True, slots=True)
class Name:
    """A name or a word."""

    text: str
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written, with its unit's text (empty for a plain number)."""

    digits: str
    unit: str = ""
    span: Span = field(default=NOWHERE, compare=False, repr=False)

    @property
    def unit_span(self) -> Span:
        """The place of the unit, which ends the number."""
        return Span(self.span.file, max(self.span.end - len(self.unit), self.span.start), self.span.end)


# ---- values


@dataclass(frozen=True, slots=True)
class Exact:
    """One number."""

    number: Number
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Spread:
    """A stated number and how far it may be off: ``85 ± 3 shore_a``."""

    number: Number
    tolerance: Number
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Range:
    """All values between two: ``12 .. 14 mm``."""

    low: Number
    high: Number
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Word:
    """A word as a value."""

    text: str
    span: Span = field(default=NOWHERE, compare=False, repr=False)


Value = Exact | Spread | Range | Word


EVIDENCE = ("measured", "published", "typical", "assumed")
"""How a value may be known, the surest first."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """How a value is known, one of ``EVIDENCE``, and the words for it."""

    kind: str
    text: Text
    span: Span = field(default=NOWHERE, compare=False, repr=False)


# ---- expressions


@dataclass(frozen=True, slots=True)
class Literal:
    """A number in an expression."""

    number: Number
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Reference:
    """A name in an expression."""

    name: str
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Negation:
    """Minus something."""

    operand: "Expression"
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Binary:
    """Two operands and one of ``+ - * / ^``."""

    operator: str
    left: "Expression"
    right: "Expression"
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Call:
    """A function of its arguments."""

    function: Name
    arguments: tuple["Expression", ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Integral:
    """A quadrature of ``body`` over ``variable`` with a fixed number of points."""

    body: "Expression"
    variable: Name
    start: "Expression"
    stop: "Expression"
    points: Number
    span: Span = field(default=NOWHERE, compare=False, repr=False)


Expression = Literal | Reference | Negation | Binary | Call | Integral


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two expressions and one of ``<= >= < >``."""

    left: Expression
    relation: str
    right: Expression
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class OnScale:
    """Whether a hardness is read on a scale."""

    quantity: Name
    scale: Name
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class IsWord:
    """Whether a quantity is a word."""

    quantity: Name
    word: Name
    span: Span = field(default=NOWHERE, compare=False, repr=False)


Test = Comparison | OnScale | IsWord


@dataclass(frozen=True, slots=True)
class Condition:
    """Tests that must all be true."""

    tests: tuple[Test, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


# ---- items


@dataclass(frozen=True, slots=True)
class Given:
    """A value in a material, machine or profile."""

    name: Name
    value: Value
    evidence: Evidence | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class UsesMaterial:
    """The material of a profile."""

    name: Name
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class UsesMachines:
    """The machines of a profile."""

    names: tuple[Name, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Want:
    """A bound that the author asks for; ``bound`` is ``most`` or ``least``."""

    name: Name
    bound: str
    value: Value
    soft: bool
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Prefer:
    """A preference list, and the share of an earlier merit that a later one may cost."""

    names: tuple[Name, ...]
    giving: Number | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Pin:
    """A setting fixed by the author, and why."""

    name: Name
    value: Value
    reason: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Band:
    """A band of a grade; ``edge`` is ``up_to``, ``from``, ``above`` or ``below``."""

    name: Name
    edge: str
    limit: Number | None
    doc: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class About:
    """What a law is about."""

    text: Text
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class SourceNote:
    """Where a law comes from and how sure it is."""

    status: str
    text: Text
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class When:
    """Where a law applies."""

    condition: Condition
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Let:
    """A derived quantity."""

    name: Name
    expression: Expression
    doc: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Remedy:
    """A change that may cure a broken requirement; ``direction`` is ``lower``, ``raise`` or ``change``."""

    direction: str
    name: Name
    text: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Require:
    """A limit, what to say where it breaks, and what may cure it."""

    comparison: Comparison
    otherwise: Text | None
    remedies: tuple[Remedy, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Valid:
    """The range in which a law is known to be sound."""

    comparison: Comparison
    otherwise: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Notice:
    """A ``caution`` or something to ``prepare``, shown where its condition may be true."""

    kind: str
    text: Text
    where: Condition | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Checked:
    """What of a law was checked against what, and ``by`` which test."""

    text: Text
    by: Text
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Unchecked:
    """Why there is no check of a law against anything outside."""

    text: Text
    span: Span = field(default=NOWHERE, compare=False, repr=False)


EntityItem = Given | UsesMaterial | UsesMachines | Want | Prefer | Pin
LawItem = About | SourceNote | When | Let | Require | Valid | Notice | Checked | Unchecked


# ---- statements


@dataclass(frozen=True, slots=True)
class Entity:
    """A ``material``, ``machine`` or ``profile``."""

    kind: str
    name: Name
    base: Name | None
    items: tuple[EntityItem, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A declared input: its owner, and either a dimension with believable ranges or a choice of words."""

    name: Name
    owner: str
    dimension: Name | None
    ranges: tuple[Value, ...]
    words: tuple[Name, ...]
    doc: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Setting:
    """A declared setting on its lattice; ``rather`` is ``low``, ``high`` or empty."""

    name: Name
    dimension: Name
    range: Value
    step: Number
    given: bool
    rather: str
    doc: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Grade:
    """Named bands of a derived quantity, best first."""

    name: Name
    quantity: Name
    doc: Text | None
    bands: tuple[Band, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Merit:
    """Something to have as much of as possible."""

    name: Name
    expression: Expression
    doc: Text | None
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Law:
    """A law and its parts."""

    name: Name
    items: tuple[LawItem, ...]
    span: Span = field(default=NOWHERE, compare=False, repr=False)


Statement = Use | Entity | Quantity | Setting | Grade | Merit | Law
