"""The lark grammar, built once and kept in the user's cache folder."""

import sys
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from lark import Lark, Token
from lark.exceptions import LarkError

from .building import Builder
from .keeping import cache_folder

BUILDER = Builder()
STARTS = ("statement", "entity_item", "profile_item", "grade_item", "law_item")


class _KeepAll:
    """Keeps the terminals that no rule names, so that the reader sees line ends and strays."""

    always_accept = ("NEWLINE", "CLOSE", "STRAY", "UNCLOSED")

    def process(self, stream: Iterator[Token]) -> Iterator[Token]:
        """Pass everything on."""
        return stream


@cache
def parser() -> Lark:
    """Give the LALR parser; its tables come from the cache folder where that can be used."""
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
    found = _cached(text, options) or Lark(text, **options)
    # Lark makes a new lexer for every text unless it has one, which takes longer than most files do.
    found.lexer = found._build_lexer()
    return found


def _cached(text: str, options: dict[str, Any]) -> Lark | None:
    folder = cache_folder()
    if folder is None:
        return None
    name = f"grammar-{sys.version_info[0]}.{sys.version_info[1]}.bin"
    try:
        return Lark(text, cache=str(folder / name), **options)
    except (OSError, LarkError, EOFError):
        return None


@cache
def keywords() -> dict[str, str]:
    """Give the terminal of every keyword."""
    return {t.pattern.value: t.name for t in parser().terminals if t.pattern.value.isalpha()}


def lex(text: str) -> Iterator[Token]:
    """Give the tokens of a text, line ends and strays included."""
    return iter(parser().lex(text))
