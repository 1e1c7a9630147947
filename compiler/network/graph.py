"""The constraint network: nodes with dimension, law and place; settings, inputs, requirements, merits."""

from collections.abc import Mapping
from dataclasses import dataclass

from ..meaning.model import GivenValue, LetDecl, PinDecl, ProfileDecl, SettingDecl
from ..meaning.units import Dimension
from ..syntax import tree
from ..text.source import Span


@dataclass(frozen=True, slots=True)
class Node:
    """One operation. ``operator`` is ``constant``, ``setting``, ``input`` or the name of a numeric operator.

    Arguments stand before the node in the network. ``value`` is the constant's; ``name`` a variable's.
    """

    operator: str
    arguments: tuple[int, ...]
    value: float
    name: str
    dimension: Dimension
    span: Span
    law: str


@dataclass(frozen=True, slots=True)
class SettingVariable:
    """A setting and the lattice indices that it may take; a pin or a given value leaves one."""

    decl: SettingDecl
    node: int
    first: int
    last: int
    pin: PinDecl | None


@dataclass(frozen=True, slots=True)
class InputVariable:
    """An input with its range in base units."""

    given: GivenValue
    node: int
    stated: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Requirement:
    """``left <= right`` for all input values; ``slack`` is the node of ``right - left``.

    ``origin`` is ``law`` or ``want``; ``name`` is the law's, or the want's text.
    """

    name: str
    origin: str
    left: int
    right: int
    slack: int
    dimension: Dimension
    comparison: tree.Comparison
    otherwise: str
    remedies: tuple[tree.Remedy, ...]
    soft: bool
    span: Span

    @property
    def sides(self) -> tuple[int, int]:
        """The nodes of both sides."""
        return self.left, self.right


@dataclass(frozen=True, slots=True)
class Merit:
    """Something to maximise, at the stated values."""

    name: str
    node: int


@dataclass(frozen=True, slots=True)
class Notice:
    """A caution or a preparation; it is shown where every (left, right) pair may have left <= right."""

    kind: str
    text: str
    law: str
    tests: tuple[tuple[int, int], ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Validity:
    """The range of a law as ``left <= right``."""

    law: str
    text: str
    left: int
    right: int
    comparison: tree.Comparison
    span: Span


@dataclass(frozen=True, slots=True)
class Network:
    """A profile on a machine. ``derived`` gives the node of every derived name that something needs.

    ``consulted`` are the values that decided which laws apply.
    """

    profile: ProfileDecl
    material: str
    machine: str
    nodes: tuple[Node, ...]
    settings: tuple[SettingVariable, ...]
    inputs: tuple[InputVariable, ...]
    requirements: tuple[Requirement, ...]
    merits: tuple[Merit, ...]
    notices: tuple[Notice, ...]
    validities: tuple[Validity, ...]
    derived: Mapping[str, int]
    lets: Mapping[str, LetDecl]
    consulted: Mapping[str, GivenValue]
    grades: Mapping[str, int]

    @property
    def hard(self) -> list[int]:
        """The requirements that count whatever happens: all but wants that say 'if possible'."""
        return [r for r, q in enumerate(self.requirements) if not q.soft]
