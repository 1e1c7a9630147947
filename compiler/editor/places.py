"""What stands before the cursor: the block, and the words of the line so far, with the lines that it goes on from."""

import re
from dataclasses import dataclass

from ..syntax.grammar import lex
from ..syntax.lines import GOES_ON_AFTER
from ..syntax.starts import BLOCKS, ITEM_START
from ..syntax.tokens import Token

_PART = re.compile(r"[A-Za-z_µμ°%][\w.µμ°%*/^]*\Z")
_MEASURE = re.compile(
    r"(?<![\w.])(?:[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?)[ \t]*([A-Za-zµμ°%][\w./*µμ°%^]*|1/[\w./*]*|)\Z"
)
_PATH = re.compile(r'^[ \t]*use[ \t]+(library[ \t]+)?"([^"\r\n]*)\Z')
GOES_ON_WITH = frozenset([
    "and", "because", "by", "else", "given", "measured", "published", "rather", "remedy", "step", "typical",
    "assumed", "where", "+", "-", "*", "/", "^", ",", "±", "..", "<", ">", "<=", ">=",
])  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """Where something may be written: after ``tokens`` of an item that follows the rule ``start``.

    ``kind`` is the block's keyword, empty outside of blocks, ``name`` what the block is called; ``part`` is what is
    written of the word so far, which starts at ``at``. ``unit_at`` is where a unit may be written, -1 where none may.
    ``path`` is the path of a use line so far, None elsewhere; ``before`` are the words of the item before, where a new
    line has just begun.
    """

    start: str
    kind: str
    name: str
    tokens: list[Token]
    part: str
    at: int
    unit_at: int = -1
    path: str | None = None
    library: bool = False
    before: tuple[Token, ...] = ()


def place(text: str, offset: int) -> Place | None:
    """Read what stands before an offset; None inside comments and texts in quotes, but for paths of use lines."""
    before = text[:offset]
    line = before[before.rfind("\n") + 1 :]
    path = _PATH.match(line)
    if path is not None:
        return Place("statement", "", "", [], path[2], offset - len(path[2]), path=path[2], library=bool(path[1]))
    if _within_text(line):
        return None
    measure = _MEASURE.search(line)
    unit_at = -1 if measure is None else offset - len(measure[1])
    part = "" if measure is not None and not measure[1] else (_PART.search(line) or [""])[0]
    if measure is not None and measure[1]:
        part = measure[1]
    kept = before[: len(before) - len(part)]
    kind, name, tokens, earlier = _item(lex(kept))
    start = ITEM_START.get(kind, "statement")
    return Place(start, kind, name, tokens, part, offset - len(part), unit_at, before=tuple(earlier))


def _within_text(line: str) -> bool:
    """Tell whether the end of a line stands in a comment or in a text in quotes."""
    quoted, at = False, 0
    while at < len(line):
        if line[at] == '"':
            quoted = not quoted
        elif line[at] == "\\" and quoted:
            at += 1
        elif line[at] == "#" and not quoted:
            return True
        at += 1
    return quoted


def _item(tokens: list[Token]) -> tuple[str, str, list[Token], list[Token]]:
    """Give the open block's kind and name, the words of the item that the end stands in, and of the one before."""
    kind = name = ""
    line: list[Token] = []
    ended = False
    for token in tokens:
        if token.type == "NEWLINE":
            ended = True
        elif token.type == "CLOSE":
            kind, name, line, ended = "", "", [], False
        elif token.type == "LBRACE":
            words = [str(t) for t in line]
            kind = words[0] if words and words[0] in BLOCKS else kind
            name = words[1] if len(words) > 1 else ""
            line, ended = [], False
        else:
            if ended and not _goes_on(line, token):
                line = []
            ended = False
            line.append(token)
    if ended and not _goes_on(line, None):
        return kind, name, [], line
    return kind, name, line, []


def _goes_on(line: list[Token], token: Token | None) -> bool:
    """Tell whether a line goes on with what comes after its end."""
    if not line:
        return False
    opened = sum(t.type == "LPAR" for t in line) - sum(t.type == "RPAR" for t in line)
    if opened > 0 or str(line[-1]) in GOES_ON_AFTER:
        return True
    return token is not None and (token.type == "STRING" or str(token) in GOES_ON_WITH)
