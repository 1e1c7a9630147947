"""Invented fleets: machines of one kind, each with other numbers, as Melt texts. The same seed gives the same texts."""

import random
import re
from collections.abc import Iterator
from pathlib import Path

from meltwright.meaning.loading import library_folder

SEED = 20_251_125
PER_FILE = 1000
"""Machines in one file; a file has a largest size."""

MAIN = "fleet.melt"


def machine(name: str, draw: random.Random) -> str:
    """Write one machine with a guide tube; all its numbers are invented, within what such machines have.

    All are of one structure: the gap is never closed, so that the same laws apply to each.
    """
    lines = {
        "guide_length": f"{draw.randrange(250, 451, 5)} ± 5 mm",
        "bend": f"{draw.randrange(90, 271, 5)} ± {draw.choice((5, 10, 15))} deg",
        "gap": f"{draw.randrange(10, 61) / 10:g} ± 0.3 mm",
        "drive_push": f"{draw.randrange(30, 46)} N ± 15 %",
        "heated_length": f"{draw.randrange(130, 161) / 10:g} mm",
        "bead_fan": f"{draw.randrange(130, 181, 5)} ± 40 W/m2/K",
        "part_fan": f"{draw.randrange(60, 91, 5)} ± 15 W/m2/K",
    }
    body = "".join(f'  {quantity} {value} measured "invented"\n' for quantity, value in lines.items())
    return f"machine {name} from tube_fed {{\n{body}}}\n"


def fleet(count: int, demo: str = "watch_strap", seed: int = SEED) -> dict[str, str]:
    """Give the texts, by file name, of a demonstration's profile on ``count`` machines; ``MAIN`` uses the others."""
    draw = random.Random(seed)
    names = [f"tube_{n:05d}" for n in range(1, count + 1)]
    texts = {}
    for part in _parts(names):
        body = "\n".join(machine(name, draw) for name in part)
        head = '# Invented machines for a measurement.\n\nuse library "machines/tube_fed"\n\n'
        texts[f"machines_{len(texts) + 1:03d}.melt"] = head + body
    text = (library_folder() / "demos" / f"{demo}.melt").read_text(encoding="utf-8")
    uses = "\n".join(f'use "{file}"' for file in texts)
    text, replaced = re.subn(r'^use "shop\.melt"$', uses, text, flags=re.MULTILINE)
    text, named = re.subn(r"^( *machines +).*$", rf"\g<1>{', '.join(names)}", text, flags=re.MULTILINE)
    if (replaced, named) != (1, 1):
        raise ValueError(f"the demonstration {demo} is not written as expected: one use of the shop, one machines line")
    return {**texts, MAIN: text}


def write(folder: Path, count: int, demo: str = "watch_strap", seed: int = SEED) -> Path:
    """Write a fleet into a folder; gives the path of the file with the profile."""
    for name, text in fleet(count, demo, seed).items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / MAIN


def _parts(names: list[str]) -> Iterator[list[str]]:
    for at in range(0, len(names), PER_FILE):
        yield names[at : at + PER_FILE]
