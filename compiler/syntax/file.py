"""A file and its use lines, apart from all other nodes: of a file that was kept, often nothing else is needed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from ..text.source import NOWHERE, Span

if TYPE_CHECKING:
    from .tree import Statement


@dataclass(frozen=True, slots=True)
class Text:
    """A text in quotes, without them."""

    text: str
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Use:
    """An import of a file or of a library file."""

    path: Text
    library: bool
    span: Span = field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True)
class File:
    """All statements of a file."""

    name: str
    statements: tuple["Statement", ...]

    @classmethod
    def later(cls, name: str, uses: Sequence[Use], make: "Callable[[], tuple[Statement, ...]]") -> "File":
        """Give a file whose statements are made when they are asked for."""
        file = cls.__new__(cls)
        file.__dict__.update(name=name, uses=tuple(uses), _make=make)
        return file

    @cached_property
    def uses(self) -> tuple[Use, ...]:
        """The use lines among the statements."""
        return tuple(s for s in self.statements if isinstance(s, Use))

    def __getattr__(self, name: str) -> "tuple[Statement, ...]":
        """Make the statements, which are not there yet."""
        make = self.__dict__.get("_make")
        if name != "statements" or make is None:
            raise AttributeError(name)
        found: tuple[Statement, ...] = self.__dict__.setdefault(name, make())
        return found
