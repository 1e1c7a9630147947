"""What the solver says of a program, as plain data that goes from one process to another."""

from collections.abc import Mapping
from dataclasses import dataclass

from ..text.diagnostic import Diagnostic
from ..text.source import Source


@dataclass(frozen=True, slots=True)
class Chosen:
    """A setting as it was chosen on a machine: value and band with units, what ends the band, how it was chosen."""

    text: str
    band: str
    limits: str
    how: str


@dataclass(frozen=True, slots=True)
class Machine:
    """A profile on a machine: settings by name, other values by name, grades by name."""

    profile: str
    name: str
    settings: Mapping[str, Chosen]
    values: Mapping[str, str]
    grades: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found beyond the text; ``machines`` are those that have an answer. The last one is ``solved``."""

    found: tuple[Diagnostic, ...]
    machines: tuple[Machine, ...]
    solved: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """A finding with the texts that it was made of; a first look keeps the answers of an earlier text.

    ``final`` once nothing more will come of these texts.
    """

    sources: Mapping[str, Source]
    found: tuple[Diagnostic, ...]
    machines: tuple[Machine, ...]
    final: bool

    def of(self, sources: Mapping[str, Source]) -> bool:
        """Tell whether it is about these texts."""
        return {n: s.text for n, s in self.sources.items()} == {n: s.text for n, s in sources.items()}
