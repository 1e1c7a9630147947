"""The highlighting grammar against the language's own lexer and parser: every word has the scope that it deserves."""

import re
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from meltwright.meaning.functions import CONSTANTS
from meltwright.syntax import printing, tree
from meltwright.syntax.grammar import keywords, lex
from meltwright.syntax.lines import cut
from meltwright.syntax.parsing import roles
from meltwright.syntax.reading import read
from meltwright.syntax.starts import ITEM_START

from . import strategies
from .colouring import Colours, Scopes, grammar
from .messing import messy
from .reader import source

ROOT = Path(__file__).parents[2]
README = re.findall(r"```melt\n(.*?)```", (ROOT / "grammar" / "README.md").read_text(encoding="utf-8"), re.DOTALL)
TEXTS = [p.read_text(encoding="utf-8") for p in sorted((ROOT / "library").rglob("*.melt"))] + README
COLOURS = Colours(grammar())
LARK = (ROOT / "grammar" / "melt.lark").read_text(encoding="utf-8")
SIGNS = {",": "punctuation", ":": "punctuation", "(": "punctuation", ")": "punctuation", "{": "punctuation"}


def words(text: str) -> Iterator[tuple[str, str, int, int]]:
    """Give what every word of a sound text is to the parser: its terminal, its text and its place."""
    for block in cut(source(text))[0]:
        kinds = [(block.head, "statement"), *((i, ITEM_START[block.head.tokens[0]]) for i in block.items)]
        for item, start in kinds:
            for token, terminals in zip(item.tokens, roles(item.tokens, start), strict=True):
                yield terminals[0], str(token), token.start_pos, token.end_pos


def declared(text: str) -> Iterator[tree.Name]:
    """Give the names that a text gives a meaning."""
    for statement in read(source(text))[0].statements:
        match statement:
            case tree.Use():
                pass
            case tree.Law(name, items):
                yield name
                yield from (i.name for i in items if isinstance(i, tree.Let))
            case tree.Grade(name, _, _, bands):
                yield from (name, *(b.name for b in bands))
            case _:
                yield statement.name


def has(scopes: Scopes, *starts: str) -> bool:
    return any(s == start or s.startswith(start + ".") for s in scopes for start in starts)


def compare(text: str, exact: bool) -> None:
    """Compare the scopes of a text with what its words are; ``exact``: no name may look like a keyword either."""
    scopes = COLOURS.scopes(text)
    assert len(scopes) == len(text)

    def all_have(start: int, end: int, *wanted: str) -> None:
        for at in range(start, end):
            assert has(scopes[at], *wanted), (text[start:end], scopes[at], text)

    def none_has(start: int, end: int, *unwanted: str) -> None:
        for at in range(start, end):
            assert not has(scopes[at], *unwanted), (text[start:end], scopes[at], text)

    for terminal, word, start, end in words(text):
        if terminal == "NAME":
            if exact or word not in keywords():
                none_has(start, end, "keyword", "storage")
            none_has(start, end, "string", "comment", "constant.numeric")
        elif terminal == "STRING":
            all_have(start, end, "string.quoted.double")
            none_has(start, end, "keyword", "storage", "comment", "variable", "entity", "constant.numeric")
        elif terminal in ("NUMBER", "MEASURE"):
            digits = re.match(r"[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?", word)
            assert digits is not None
            all_have(start, start + digits.end(), "constant.numeric")
            unit = word[digits.end() :].lstrip(" \t")
            all_have(end - len(unit), end, "keyword.other.unit")
        elif word.isalpha():
            all_have(start, end, "keyword", "storage.type")
            none_has(start, end, "keyword.operator.arithmetic", "keyword.other.unit", "variable", "entity", "constant")
        else:
            all_have(start, end, SIGNS.get(word, "keyword.operator"))
    at = 0
    for token in [*lex(text), None]:
        for found in re.finditer(r"#[^\r\n]*", text[at : token.start_pos if token else len(text)]):
            all_have(at + found.start(), at + found.end(), "comment.line.number-sign")
            none_has(at + found.start(), at + found.end(), "keyword", "string", "storage", "variable", "constant")
        at = token.end_pos if token else len(text)
    for name in declared(text):
        all_have(name.span.start, name.span.end, "entity.name")


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_the_library_and_the_reference(text: str) -> None:
    compare(text, exact=True)


@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_the_library_in_any_layout(text: str) -> None:
    for seed in (1, 2):
        compare(messy(text, Random(seed)), exact=False)


@settings(max_examples=500)
@given(strategies.files)
def test_generated_files(file: tree.File) -> None:
    """Names here may be keywords, which only the parser can tell apart everywhere; keywords must all be seen."""
    compare(printing.print_file(file), exact=False)


# ---- the grammar as a whole


def test_every_keyword_of_the_language_is_seen() -> None:
    """Keywords are read from the lark file itself; the texts above show that each is seen where it may stand."""
    rules = "\n".join(line.split("//")[0] for line in LARK.split("\n"))
    found = set(re.findall(r'"([a-z]+)"', rules))
    assert found == set(keywords()) and len(found) > 60
    seen = {word for text in TEXTS for terminal, word, _, _ in words(text) if terminal not in ("NAME", "STRING")}
    assert found - seen == set()


def _rules(rule: Any) -> Iterator[dict[str, Any]]:
    if isinstance(rule, dict):
        yield rule
        for part in rule.values():
            yield from _rules(part)
    elif isinstance(rule, list):
        for part in rule:
            yield from _rules(part)


def test_scopes_are_of_the_usual_kinds_and_all_rules_are_used() -> None:
    rules = grammar()
    assert rules["scopeName"] == "source.melt" and rules["fileTypes"] == ["melt"]
    usual = {"comment", "constant", "entity", "keyword", "punctuation", "storage", "string", "support", "variable"}
    named = [r["name"] for r in _rules({k: v for k, v in rules.items() if k != "name"}) if "name" in r]
    assert all(n.split(".")[0] in usual and n.endswith(".melt") for n in named)
    included = {r["include"].removeprefix("#") for r in _rules(rules) if "include" in r}
    assert included == set(rules["repository"])


def test_the_unit_rule_is_that_of_the_language() -> None:
    """After a number these words are never units; the list stands in both grammars."""
    after = [set(w) for w in (re.findall(r"\(\?!\(\?:([a-z|]+)\)\\b\)", t) for t in (LARK, str(_patterns())))]
    assert len(after[0]) == 1 and after[0] == after[1]


def _patterns() -> str:
    return "\n".join(r[k] for r in _rules(grammar()) for k in ("match", "begin", "end") if isinstance(r.get(k), str))


def test_constants_are_those_of_the_language() -> None:
    for name in CONSTANTS:
        assert has(COLOURS.scopes(f"merit m = {name}")[-1], "constant.language")
    assert not has(COLOURS.scopes("merit m = pi2")[-1], "constant.language")


def test_an_open_text_ends_with_its_line() -> None:
    text = 'law l {\n  about "open\n  when a < b\n}'
    scopes = COLOURS.scopes(text)
    assert has(scopes[text.index("pen")], "string")
    assert scopes[text.index("when")] == ("source.melt", "keyword.other.melt")


def test_another_engine_sees_the_same() -> None:
    """Editors mostly search with Oniguruma: its own library gives the same scopes as Python's engine."""
    oniguruma = pytest.importorskip("onigurumacffi")
    known: dict[str, Any] = {}

    def search(pattern: str, line: str, at: int) -> Any:
        if pattern not in known:
            known[pattern] = oniguruma.compile(pattern)
        return known[pattern].search(line, at)

    other = Colours(grammar(), search)
    for text in TEXTS:
        assert other.scopes(text) == COLOURS.scopes(text)
        rough = messy(text, Random(2))
        assert other.scopes(rough) == COLOURS.scopes(rough)
