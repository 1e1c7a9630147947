"""Braces that do not fit: which of them was meant, as what stands around them tells.

``starts`` tells whether a line starts the next statement, by the number of its first token.
"""

from collections.abc import Callable, Sequence

from .tokens import Token

_FAR = 32
"""Braces that are looked at in search of those that close two blocks."""

Starts = Callable[[int], bool]


def closes_early(tokens: Sequence[Token], at: int, starts: Starts) -> tuple[int, bool]:
    """Tell whether a block goes on behind a closing brace: where the search ended, and whether a brace closes it."""
    between = False
    for i in range(at + 1, len(tokens)):
        kind = tokens[i].type
        if kind == "CLOSE":
            return i, between
        if kind == "LBRACE" or (kind != "NEWLINE" and tokens[i - 1].type in ("NEWLINE", "CLOSE") and starts(i)):
            return i, False
        between = between or kind != "NEWLINE"
    return len(tokens), False


def opens_head(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether a brace in a head opens its block: no other one follows on its line."""
    for i in range(at + 1, len(tokens)):
        token = tokens[i]
        if token.type in ("NEWLINE", "CLOSE"):
            break
        if token.type == "LBRACE":
            return False
    return True


def opens_nested(tokens: Sequence[Token], at: int, starts: Starts) -> bool:
    """Tell whether a brace in an item opens a block of its own: there are closing ones for both blocks."""
    closed = seen = 0
    for i in range(at + 1, len(tokens)):
        kind = tokens[i].type
        if tokens[i - 1].type == "NEWLINE" and kind != "NEWLINE" and starts(i):
            break
        closed += {"CLOSE": 1, "LBRACE": -1}.get(kind, 0)
        seen += kind in ("CLOSE", "LBRACE")
        if closed == 2 or seen == _FAR:
            return closed == 2
    return False


def rest_of_text(tokens: Sequence[Token], at: int) -> int | None:
    """Give the lone quote that ends, on the next line, a text that a line end cut; ``at`` is behind its first part."""
    if tokens[at : at + 1] and tokens[at].type == "NEWLINE":
        for i in range(at + 1, len(tokens)):
            if tokens[i].type == "NEWLINE":
                break
            if tokens[i].type == "UNCLOSED":
                return i if tokens[i].strip() == '"' else None
    return None
