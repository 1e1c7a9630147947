"""What the tests of starting share: the command in a folder, and a conversation over given lines."""

import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from meltwright.cli import main
from meltwright.starting import beginning
from meltwright.starting.conversing import converse
from meltwright.starting.flags import Flags
from meltwright.starting.sheet import Draft
from meltwright.starting.talking import Talk
from meltwright.syntax.formatting import format_text
from meltwright.text.source import Source

_VALUE = re.compile(r"^  # (?!To give)(\w+ .* (?:measured|published|typical|assumed) \".*\")$", re.MULTILINE)


def run(*arguments: str) -> int:
    return main(list(arguments))


def laid_out(text: str) -> str:
    """Give a text as the formatter would have it; fails where it has faults."""
    formatted, faults = format_text(Source("case.melt", Path("case.melt"), text))
    assert not faults, faults
    return formatted


def filled(text: str) -> str:
    """Take the # away before every value that stands as a comment."""
    return _VALUE.sub(r"  \1", text)


def talk(
    folder: Path, kind: str, lines: Iterable[str], base: str | None = None, flags: Flags | None = None
) -> tuple[str, tuple[beginning.Start, Draft] | None]:
    """Hold a conversation; gives what a person sees, with what was typed, and what came of it."""
    request = beginning.Request(kind, "mine", folder / "mine.melt", base, flags or Flags())
    start = beginning.prepare(request)
    assert not start.failed, start.faults
    base_of = beginning.based_on(start, base) if base is not None else None
    known = beginning.given(start, base_of)
    assert not start.failed, start.faults
    seen: list[str] = []

    def typed() -> Iterator[str]:
        for line in lines:
            seen.append(f"{line}\n")
            yield line

    found = converse(start, base_of, known, Talk(typed(), seen.append))
    return "".join(seen), found


def text_of(found: tuple[beginning.Start, Draft]) -> str:
    """Write the file that came of a conversation."""
    start, draft = found
    text = beginning.text_of(start, draft, beginning.missing(draft))
    assert not start.failed, start.faults
    return text


def written(folder: Path, names: Sequence[str]) -> dict[str, str]:
    return {name: (folder / name).read_text(encoding="utf-8") for name in names}
