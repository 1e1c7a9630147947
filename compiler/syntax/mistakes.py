"""What to say about a mistake at each place: the sentences of ``grammar/mistakes.toml``, found by the place.

They are read when the first mistake is found; a sound file never needs them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from .grammar import lex
from .places import Place, place_of
from .tokens import Token

PARTS = {"value": ("entity_item", "gap "), "formula": ("law_item", "let push = ")}
"""Sections for parts that stand in many forms: the form in which their examples are read, and how it begins."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What to write after each of some beginnings, and a form or part that shows it; ``like`` may be empty."""

    section: str
    after: tuple[str, ...]
    write: str
    like: str

    @property
    def advice(self) -> str:
        """The sentence that people read."""
        return f"{self.write}, like: {self.like}" if self.like else self.write

    @property
    def start(self) -> str:
        """The form that its beginnings are beginnings of."""
        return PARTS[self.section][0] if self.section in PARTS else self.section

    def whole(self, words: str) -> str:
        """Give a beginning or an example as it stands in its form."""
        return PARTS[self.section][1] + words if self.section in PARTS else words


def advice(tokens: Sequence[Token], start: str) -> str:
    """Say what to write after tokens that can stand at the beginning of a form."""
    return entry(place_of(tokens, start), start).advice


def entry(place: Place, start: str) -> Entry:
    """Give the entry for a place; there is one for each."""
    found = find(place, start)
    assert found is not None, (start, place)
    return found


def find(place: Place, start: str) -> Entry | None:
    """Give the entry for a place of a form, or of a part that it shares with others."""
    for section in (start, *PARTS):
        known = _by_place(section)
        for name in place.names:
            if name in known:
                return known[name]
    return None


@cache
def entries() -> tuple[Entry, ...]:
    """Read the file."""
    import tomllib

    text = files("meltwright.grammar").joinpath("mistakes.toml").read_text(encoding="utf-8")
    return tuple(_entries(tomllib.loads(text).items()))


def _entries(sections: Iterable[tuple[str, list[dict[str, str | list[str]]]]]) -> Iterable[Entry]:
    for section, found in sections:
        for e in found:
            yield Entry(section, tuple(e["after"]), str(e["write"]), str(e.get("like", "")))


@cache
def _by_place(section: str) -> dict[tuple[int, int, int], Entry]:
    """Find the entries of a section by place. The first one for where a form goes on holds however it came there."""
    known = dict[tuple[int, int, int], Entry]()
    for e in entries():
        for beginning in e.after if e.section == section else ():
            for name in place_of(lex(e.whole(beginning)), e.start).names:
                known.setdefault(name, e)
    return known
