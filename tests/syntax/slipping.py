"""Sound texts with one small edit in them, as fingers make it: ``python -m tests.syntax.slipping`` counts reports."""

import sys
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random

from meltwright.meaning.loading import library_folder
from meltwright.syntax.grammar import lex
from meltwright.syntax.lines import cut
from meltwright.syntax.reading import read
from meltwright.text.diagnostic import Diagnostic, write
from meltwright.text.source import Source

_WORDS = ["gap", "3", "3 mm", "=", ":", ",", "(", ")", "{", "}", '"', "±", "..", "<", "-", "*", "from", "at most"]
_CHARACTERS = ["a", "1", " ", "\n", ".", ",", ";", '"', "(", ")", "{", "}", "=", "-", "#", "°"]


@cache
def samples() -> tuple[str, ...]:
    """Cut the library's texts into pieces of three statements."""
    found = []
    for path in sorted(library_folder().rglob("*.melt")):
        text = path.read_text(encoding="utf-8")
        starts = [b.head.tokens[0].start_pos for b in cut(Source("x.melt", Path("x.melt"), text))[0]]
        ends = [*starts[3::3], len(text)]
        found += [text[a:b] for a, b in zip(starts[::3], ends, strict=False)]
    return tuple(found)


def slipped(random: Random) -> tuple[str, str]:
    """Give a sound text with one edit, and say which."""
    text = random.choice(samples())
    tokens = [t for t in lex(text) if t.type != "NEWLINE"]
    at = random.randrange(len(tokens) - 1)
    token, after = tokens[at], tokens[at + 1]
    begin, end = token.start_pos, token.end_pos
    kind = random.choice(["leave out", "twice", "swap", "put in", "instead", "letter", "no letter", "other letter"])
    if kind == "leave out":
        return text[:begin] + text[end:], f"leave out {token}"
    if kind == "twice":
        return f"{text[:end]} {text[begin:]}", f"write {token} twice"
    if kind == "swap":
        swapped = text[:begin] + after + text[end : after.start_pos] + token + text[after.end_pos :]
        return swapped, f"swap {token} and {after}"
    if kind == "put in":
        word = random.choice(_WORDS)
        return f"{text[:begin]}{word} {text[begin:]}", f"put {word} before {token}"
    if kind == "instead":
        word = random.choice(_WORDS)
        return text[:begin] + word + text[end:], f"write {word} for {token}"
    place = random.randrange(len(text))
    letter = "" if kind == "no letter" else random.choice(_CHARACTERS)
    upto = place + (kind != "letter")
    return text[:place] + letter + text[upto:], f"write {letter!r} for {text[place:upto]!r}"


def reports(text: str) -> list[Diagnostic]:
    """Give the faults of a text."""
    return read(Source("x.melt", Path("x.melt"), text))[1]


def many(count: int, seed: int = 0) -> Iterator[tuple[str, str, list[Diagnostic]]]:
    """Make slips one after the other, with what is reported of them."""
    random = Random(seed)
    for _ in range(count):
        text, edit = slipped(random)
        yield text, edit, reports(text)


def main() -> None:
    """Count how many reports a slip makes, and show those that make several."""
    counted: Counter[int] = Counter()
    for text, edit, faults in many(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0):
        counted[len(faults)] += 1
        if len(faults) > 1:
            print("=" * 20, edit)
            print(write(faults, {"x.melt": Source("x.melt", Path("x.melt"), text)}))
    faulty = sum(n for k, n in counted.items() if k)
    print(dict(sorted(counted.items())), f"{(faulty - counted[1]) / faulty:.2%} of the faulty ones have more than one")


if __name__ == "__main__":
    main()
