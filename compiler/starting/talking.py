"""Asking and being answered, a line at a time: over any lines and any writer, so that a terminal is one of several."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from ..text.cells import wrapped
from ..text.diagnostic import Diagnostic
from ..text.diagnostic import write as written
from ..text.source import Source
from .reading import one_line

_WIDTH = 100
_INDENT = "    "


class Said(Enum):
    """What can be said instead of an answer."""

    NOTHING = "nothing"
    UNKNOWN = "don't know"
    MORE = "?"
    BACK = "back"
    SKIP = "skip"
    STOP = "stop"


_WORDS = {
    "": Said.NOTHING,
    "don't know": Said.UNKNOWN,
    "dont know": Said.UNKNOWN,
    "do not know": Said.UNKNOWN,
    "unknown": Said.UNKNOWN,
    "?": Said.MORE,
    "help": Said.MORE,
    "back": Said.BACK,
    "skip": Said.SKIP,
    "stop": Said.STOP,
}

COMMANDS = (
    "Answer with a value, like 6 ± 0.5 mm or 300 .. 305 mm (+- is read as ±). Enter or don't know where you do not "
    "know it, ? for more help, back for the question before, skip to leave the rest of a part, stop to write what is "
    "known so far."
)


@dataclass(frozen=True, slots=True)
class Talk:
    """Lines that are typed, without their ends, and what writes what is said; the end of the lines means ``stop``."""

    lines: Iterator[str]
    write: Callable[[str], None]

    def ask(self, prompt: str) -> str | Said:
        """Ask for one line; gives it, or what is said instead of an answer."""
        self.write(f"{prompt} > ")
        line = next(self.lines, None)
        if line is None:
            self.write("\n")
            return Said.STOP
        text = one_line(line).strip()
        return _WORDS.get(text.casefold().replace("’", "'").rstrip("."), text)

    def say(self, text: str = "", first: str = "", more: str = "") -> None:
        """Write a text in lines; ``first`` and ``more`` are what the first and the others begin with."""
        self.write("".join(line + "\n" for line in wrapped(text, _WIDTH, first, more) or [""]))

    def explain(self, label: str, text: str) -> None:
        """Write a labelled text below a question, if there is any."""
        if text:
            self.say(f"{label}: {text}", _INDENT, f"{_INDENT}  ")

    def note(self, text: str) -> None:
        """Write a remark below an answer."""
        self.say(text, _INDENT, _INDENT)

    def report(self, faults: Sequence[Diagnostic], sources: Mapping[str, Source]) -> None:
        """Tell what is at fault, as it is told of a file."""
        self.write(written(faults, sources))


def numbered(names: Sequence[str], meanings: Mapping[str, str]) -> list[str]:
    """List choices by number, each with what it means."""
    width = max(map(len, names), default=0)
    digits = len(str(len(names)))
    more = " " * (len(_INDENT) + digits + width + 4)
    lines = [f"{_INDENT}{i:>{digits}}  {name:<{width}}  {meanings.get(name, '')}" for i, name in enumerate(names, 1)]
    return [part for line in lines for part in wrapped(line, _WIDTH, more=more)]


def picked(answer: str, names: Sequence[str]) -> str:
    """Give the choice whose number was typed, else what was typed."""
    if answer.isascii() and answer.isdecimal() and 1 <= int(answer[:6]) <= len(names):
        return names[int(answer) - 1]
    return answer
