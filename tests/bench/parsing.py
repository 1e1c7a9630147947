"""How fast texts are read: our reader, beside bare lark on the same grammar and statements, and beside kept trees."""

import json
import random
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from itertools import cycle
from pathlib import Path
from statistics import median
from time import process_time
from typing import Any

from lark import Lark
from lark.exceptions import LarkError
from meltwright.meaning.loading import library_folder
from meltwright.syntax.grammar import STARTS
from meltwright.syntax.keeping import read_kept
from meltwright.syntax.lines import Item, cut
from meltwright.syntax.reading import ITEM_START, read
from meltwright.text.source import Source

from .fleets import SEED, machine

RUNS = 7
LINES = 5000

Start = tuple[str, str]
"""Where the grammar starts for a statement or an item, and its text on one line."""


def source(name: str, text: str) -> Source:
    """Make a source that stands in no folder."""
    return Source(name, Path(name), text)


def library() -> list[Source]:
    """Give all files of the library."""
    paths = sorted(library_folder().rglob("*.melt"))
    return [source(p.relative_to(library_folder()).as_posix(), p.read_text(encoding="utf-8")) for p in paths]


def generated(lines: int = LINES) -> Source:
    """Write a text of so many lines: invented machines, and the library's laws again and again under other names."""
    draw = random.Random(SEED)
    parts, count, laws = list[str](), 0, cycle(_laws())
    while count < lines:
        number = len(parts)
        part = machine(f"tube_{number:05d}", draw) if number % 3 else next(laws).replace("{", f"_{number} {{", 1)
        parts.append(part.replace(f" _{number}", f"_{number}", 1))
        count += parts[-1].count("\n")
    return source("generated.melt", "".join(parts))


def _laws() -> list[str]:
    texts = [s.text for s in library() if s.name.startswith("laws/")]
    return [f"law {part.split(chr(10) + '}')[0]}\n}}\n" for text in texts for part in text.split("\nlaw ")[1:]]


# ---- bare lark


@cache
def bare() -> Lark:
    """Give lark's own LALR parser of the grammar, with places, as lark makes it: plain trees."""
    text = files("meltwright.grammar").joinpath("melt.lark").read_text(encoding="utf-8")
    options: dict[str, Any] = {"parser": "lalr", "lexer": "contextual", "start": list(STARTS)}
    return Lark(text, propagate_positions=True, maybe_placeholders=False, **options)


def statements(sources: Sequence[Source]) -> tuple[list[Start], int]:
    """List what lark can read of the statements and items of texts, and count what it cannot.

    Lark alone does not know where an item ends, so it is given each on one line.
    """
    found, failed = list[Start](), 0
    for one in sources:
        for block in cut(one)[0]:
            start = ITEM_START.get(str(block.head.tokens[0]), "")
            for rule, item in (("statement", block.head), *((start, item) for item in block.items)):
                text = _one_line(one, item)
                try:
                    bare().parse(text, start=rule)
                    found.append((rule, text))
                except LarkError:
                    failed += 1
    return found, failed


def _one_line(one: Source, item: Item) -> str:
    return " ".join(one.text[t.start_pos : t.end_pos] for t in item.tokens)


# ---- measuring


@dataclass(frozen=True, slots=True)
class Measured:
    """Seconds that some texts take: of our reader the first time and later, of lark, and from kept trees."""

    name: str
    lines: int
    size: int
    first: float
    ours: float
    lark: float
    kept: float
    failed: int


def measure(name: str, sources: Sequence[Source], runs: int = RUNS) -> Measured:
    """Read texts in all ways in turn; medians of processor seconds."""
    start = process_time()
    for one in sources:
        read(one)
    first = process_time() - start
    found, failed = statements(sources)
    ways: dict[str, Callable[[], object]] = {
        "ours": lambda: [read(one) for one in sources],
        "lark": lambda: [bare().parse(text, start=rule) for rule, text in found],
        "kept": lambda: [_kept(one) for one in sources],
    }
    taken: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(runs + 1):
        for way, work in ways.items():
            start = process_time()
            work()
            taken[way].append(process_time() - start)
    least = {way: median(times[1:]) for way, times in taken.items()}
    lines, size = (sum(k) for k in zip(*((s.text.count("\n"), len(s.text.encode())) for s in sources), strict=True))
    return Measured(name, lines, size, first, least["ours"], least["lark"], least["kept"], failed)


def _kept(one: Source) -> object:
    file, _ = read_kept(one)
    # A kept tree is made when it is asked for.
    return file.statements


def table(found: Sequence[Measured]) -> list[str]:
    """Write what was measured."""
    head = ("ms", "lines/s", "MB/s", "first ms", "lark ms", "/ lark", "kept ms", "/ kept")
    lines = ["parsing: medians of processor time", _row("", *head)]
    for m in found:
        speed = f"{m.lines / m.ours:,.0f}", f"{m.size / m.ours / 1e6:.2f}"
        times = f"{1000 * m.first:.0f}", f"{1000 * m.lark:.0f}", f"{m.ours / m.lark:.2f}"
        kept = f"{1000 * m.kept:.1f}", f"{m.ours / m.kept:.1f}"
        lines.append(_row(f"{m.name}, {m.lines:,} lines", f"{1000 * m.ours:.0f}", *speed, *times, *kept))
        if m.failed:
            lines.append(f"  left out for lark: {m.failed} statements that it does not read")
    return lines


def _row(label: str, *columns: str) -> str:
    return f"{label:<28}" + "".join(f"{c:>10}" for c in columns)


TEXTS: dict[str, Callable[[], list[Source]]] = {"library": library, "generated": lambda: [generated()]}


def apart_one(name: str) -> dict[str, Any]:
    """Measure one of the texts, as plain data."""
    return asdict(measure(name, TEXTS[name]()))


def apart(name: str) -> Measured:
    """Measure one of the texts in a process of its own, to which every shape of statement is new."""
    command = [sys.executable, "-m", "tests.bench", "parsing-one", name]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return Measured(**json.loads(done.stdout))


def report() -> None:
    """Print the table of the library and of a generated text."""
    print("\n" + "\n".join(table([apart(name) for name in TEXTS])))
