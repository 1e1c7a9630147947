"""How long an edit takes to give its diagnostics: a client over standard input and output, as an editor is one."""

import asyncio
import statistics
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from meltwright.meaning.checking import check_loaded
from meltwright.meaning.loading import load

from tests.bench import shops
from tests.editor.session import Session

BAR = 0.1
"""Seconds within which half of all edits are to have their diagnostics."""


def edits(texts: dict[str, str]) -> Iterator[tuple[str, str, str]]:
    """Give edits as somebody may make them: kind, file, and the whole text after it."""
    for name in ("machines_1.melt", "materials_2.melt", "profiles_1.melt"):
        for at in (0.1, 0.5, 0.9):
            yield from _typed(name, texts[name], at)
    for name in ("laws_0.melt", "laws_3.melt"):
        for at in (0.1, 0.5, 0.9):
            yield from _typed(name, texts[name], at)


def _typed(name: str, text: str, share: float) -> Iterator[tuple[str, str, str]]:
    """Type a value, a new line and a broken line somewhere in a file, key by key, and take it all back."""
    kind = name.split("_")[0]
    at = text.index("\n  ", int(len(text) * share))
    digit = next(i for i in range(at, len(text)) if text[i].isdigit() and text[i - 1] == " ")
    for key in "127":
        yield f"{kind}: in a value", name, text[:digit] + key + text[digit + 1 :]
    yield f"{kind}: in a value", name, text
    new = "\n  # Looked at again."
    for end in range(1, len(new) + 1, 4):
        yield f"{kind}: a new line", name, text[:at] + new[:end] + text[at:]
    yield f"{kind}: a new line", name, text
    line_end = text.index("\n", at + 1)
    for end in range(line_end, line_end - 8, -1):
        yield f"{kind}: a broken line", name, text[:end] + text[line_end:]
    yield f"{kind}: a broken line", name, text


async def measure(folder: Path, made: Sequence[tuple[str, str, str]]) -> tuple[dict[str, list[float]], float]:
    """Make edits, each once the one before is told of; gives seconds by kind, and those until all was checked."""
    session = Session(folder)
    began = time.perf_counter()
    await session.start()
    for name in sorted({name for _, name, _ in made}):
        session.open(name)
        await session.diagnostics(name)
    start = time.perf_counter() - began
    spent: dict[str, list[float]] = {}
    for kind, name, text in made:
        began = time.perf_counter()
        session.edit(name, text)
        await session.diagnostics(name)
        spent.setdefault(kind, []).append(time.perf_counter() - began)
        await asyncio.sleep(0.02)
    await session.stop()
    return spent, start


def fresh(folder: Path) -> float:
    """Check all profiles of a folder from nothing but the trees that are kept on the disk; gives seconds."""
    began = time.perf_counter()
    for main in sorted(folder.glob("profiles_*.melt")):
        check_loaded(load(main))
    return time.perf_counter() - began


def report() -> None:
    """Write what edits take in a workspace of 5,000 lines."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        texts = shops.write(folder)
        lines = sum(text.count("\n") for text in texts.values())
        fresh(folder)
        whole = statistics.median(fresh(folder) for _ in range(5))
        spent, start = asyncio.run(measure(folder, list(edits(texts))))
    print(f"edits in {lines:,} lines of {len(texts)} files, {shops.MAIN_FILES} of them checked with all they use")
    every = [seconds for times in spent.values() for seconds in times]
    print(f"  {'edit':<28} {'count':>6} {'median ms':>10} {'95 % ms':>10} {'/ fresh check':>14}")
    for kind, times in (*sorted(spent.items()), ("all", every)):
        middle = statistics.median(times)
        late = sorted(times)[min(len(times) - 1, int(0.95 * len(times)))]
        print(f"  {kind:<28} {len(times):>6} {1000 * middle:>10.1f} {1000 * late:>10.1f} {middle / whole:>14.2f}")
    middle = statistics.median(every)
    print(f"a fresh check takes {1000 * whole:.0f} ms; from start to the last file opened {1000 * start:.0f} ms")
    print(f"meant: a median of {1000 * BAR:.0f} ms, {'met' if middle <= BAR else 'not met'}")
