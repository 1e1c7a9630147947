"""The lark grammar, built once and kept in the store."""

import io
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from lark import Lark
from lark import Token as LarkToken

from ..text import store
from .building import Builder
from .tokens import TWO_SIGNS, Token, token_at

BUILDER = Builder()
_MADE_ANEW = ("transformer", "postlex")
"""Options that are not kept with the tables."""
STARTS = ("statement", "entity_item", "profile_item", "grade_item", "law_item")


class _KeepAll:
    """Keeps the terminals that no rule names, so that the reader sees line ends and strays."""

    always_accept = ("NEWLINE", "CLOSE", "STRAY", "UNCLOSED")

    def process(self, stream: Iterator[LarkToken]) -> Iterator[LarkToken]:
        """Pass everything on."""
        return stream


@cache
def parser() -> Lark:
    """Give the LALR parser; its tables come from the store where that can be used."""
    text = files("meltwright.grammar").joinpath("melt.lark").read_text(encoding="utf-8")
    options: dict[str, Any] = {
        "parser": "lalr",
        "lexer": "basic",
        "start": list(STARTS),
        "keep_all_tokens": True,
        "maybe_placeholders": False,
        "transformer": BUILDER,
        "postlex": _KeepAll(),
    }
    key = store.key("grammar", text)
    kept = store.recall(key)
    if kept is not None:
        # As lark loads tables that it has cached itself, but for the seal.
        return Lark.__new__(Lark)._load(io.BytesIO(kept), **{name: options[name] for name in _MADE_ANEW})
    made, stream = Lark(text, **options), io.BytesIO()
    made.save(stream, _MADE_ANEW)
    store.keep(key, stream.getvalue())
    return made


@cache
def keywords() -> dict[str, str]:
    """Give the terminal of every keyword."""
    return {t.pattern.value: t.name for t in parser().terminals if t.pattern.value.isalpha()}


def lex(text: str) -> list[Token]:
    """Give the tokens of a text, line ends and strays included."""
    (pattern, names), known = _pattern(), {**keywords(), TWO_SIGNS: TWO_SIGNS}
    tokens, line = [], 0
    for found in pattern.finditer(text):
        kind = found.lastindex
        if kind is None:
            break
        start, end = found.span(kind)
        name, word = names[kind], text[start:end]
        tokens.append(token_at(name, known.get(word, name), word, start, end, start - line + 1))
        if name == "NEWLINE":
            line = end
    return tokens


@cache
def _pattern() -> tuple[re.Pattern[str], list[str]]:
    """Join all terminals but keywords, in the order in which the grammar's own lexer tries them; name its groups.

    A keyword is read as a name. What the grammar ignores is passed over before each word, and never given back. At the
    end of the text the pattern fits without a group.
    """
    grammar = parser()
    ordered = sorted(
        grammar.terminals, key=lambda t: (-t.priority, -t.pattern.max_width, -len(t.pattern.value), t.name)
    )
    patterns = {t.name: t.pattern.to_regexp() for t in ordered if t.name not in keywords().values()}
    ignored = "|".join(patterns.pop(name) for name in grammar.lexer_conf.ignore)
    words = "|".join(f"({pattern})" for pattern in patterns.values())
    return re.compile(rf"(?:{ignored})*+(?:{words}|\Z)"), ["", *patterns]
