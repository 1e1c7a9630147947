"""Texts that say the same in another layout, with comments anywhere, and whose comments are whose."""

import bisect
import re
from random import Random

from meltwright.syntax.grammar import lex
from meltwright.syntax.lines import cut
from meltwright.syntax.reading import read

from .reader import source

_COMMENTS = ["#", "# law x {", '# "open', "#}", "# ü ± ", "# a\t\x0bb\u2028", "#### when # or", "# 5 mm)"]
_LINE_ENDS = ["\n", "\n", "\n", "\r\n", "\n\n", "\n \t\n\n", "\r\n\r\n"]
_SPACES = [" ", " ", "  ", "\t", " \f "]


def messy(text: str, random: Random, commented: bool = True, tries: int = 6) -> str:
    """Lay out a sound text anew at random; comments stand at ends of lines and between them."""

    def end(share: float) -> str:
        made = ""
        while commented and random.random() < share:
            made += f" {random.choice(_COMMENTS)}{random.randrange(100)}{random.choice(_LINE_ENDS)}"
            share = 0.4
        return made or random.choice(_LINE_ENDS)

    pieces = [end(0.2)] if random.random() < 0.3 else []
    for token in lex(text):
        if token.type == "NEWLINE":
            pieces.append(end(0.2))
        else:
            pieces += ["" if token.column == 1 else random.choice(_SPACES), str(token)]
    said = read(source("".join(pieces)))[0]
    for _ in range(tries):
        # A line may go on in many places; where it may not, this is another text, and is not taken.
        at = random.randrange(len(pieces) + 1)
        other = [*pieces[:at], end(0.6) + random.choice(["    ", "\t\t"]), *pieces[at:]]
        file, faults = read(source("".join(other)))
        if not [f for f in faults if f.code != "M104"] and file == said:
            pieces = other
    return "".join(pieces)


def comments(text: str) -> list[str]:
    """List the comments of a text, found by a plain search for quotes and hashes."""
    return [text[start:end].rstrip(" \t\f") for start, end in _places(text)]


def _places(text: str) -> list[tuple[int, int]]:
    found = re.finditer(r'"(?:\\[^\r\n]|[^"\\\r\n])*"|(#[^\r\n]*)', text)
    return [m.span(1) for m in found if m[1] is not None]


def owners(text: str) -> list[tuple[str, int]]:
    """Tell what every comment of a sound text stands in, behind or before: the number of a head, item or brace."""
    spans = []
    for block in cut(source(text))[0]:
        spans += [(i.tokens[0].start_pos, i.tokens[-1].end_pos) for i in [block.head, *block.items]]
    spans += [(t.start_pos, t.end_pos) for t in lex(text) if t.type == "CLOSE"]
    spans.sort()
    starts = [start for start, _ in spans]
    found = []
    for start, _ in _places(text):
        at = bisect.bisect_right(starts, start) - 1
        if at >= 0 and start < spans[at][1]:
            found.append(("in", at))
        elif at >= 0 and "\n" not in text[spans[at][1] : start]:
            found.append(("behind", at))
        else:
            found.append(("before", at + 1))
    return found
