"""Tokens and shapes: the lexer says what the grammar's own one says, and a shape seen before is built as a new one."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meltwright.syntax import parsing
from meltwright.syntax.grammar import lex, parser
from meltwright.syntax.parsing import accepted, parse
from meltwright.syntax.reading import read

from . import strategies
from .reader import source
from .test_faults import GOOD

Shown = tuple[str, str, int | None, int | None, int | None]


def _ours(text: str) -> list[Shown]:
    return [(t.type, str(t), t.start_pos, t.end_pos, t.column) for t in lex(text)]


def _theirs(text: str) -> list[Shown]:
    return [(t.type, str(t), t.start_pos, t.end_pos, t.column) for t in parser().lex(text)]


_PIECES = """# note|#|\t|\f|\r|\"|\"a|\"a\"|\\\\"|1|1.5|1e5|1e|1.5e-3mm
11/s|1/|3 mm3/s|3 measured|µm|50 %|±|+-|+ -|..|.|<=|<|=|a.b|a.
µ|(|)|{|}|use|at|x_1|^|*|/|,|:|§|²|kg*m/s2|1_0|\x85|\u2028"""
_pieces = st.lists(st.sampled_from([" ", "\n", "\r\n", *_PIECES.replace("\n", "|").split("|")]), max_size=30).map(
    "".join
)


@settings(max_examples=400)
@given(st.one_of(_pieces, st.text(), strategies.soups))
def test_the_lexer_says_what_the_grammars_own_one_says(text: str) -> None:
    assert _ours(text) == _theirs(text)


@pytest.mark.parametrize(
    "text", ["", "#", "# a b", "a # b", "  ", "a  ", " \n ", GOOD, "1 #x\n#y\n", " " * 50_000, "#" * 50_000]
)
def test_whatever_is_left_out(text: str) -> None:
    assert _ours(text) == _theirs(text)


def _outcome(text: str) -> tuple[object, ...]:
    file, faults = read(source(text))
    return repr(file), [s.span for s in file.statements], faults


@settings(max_examples=60)
@given(
    st.one_of(
        strategies.soups,
        st.sampled_from(["material a", "profile a", "law a"]).flatmap(
            lambda h: strategies.soups.map(lambda s: f"{h} {{\n{s}\n}}")
        ),
    )
)
def test_a_shape_seen_before_is_built_as_a_new_one(text: str) -> None:
    parsing._steps.cache_clear()
    assert _outcome(text) == _outcome(text)


_STARTS = ("statement", "entity_item", "profile_item", "grade_item", "law_item")


@settings(max_examples=200)
@given(st.sampled_from(_STARTS), st.one_of(strategies.soups, _pieces))
def test_shapes_stand_where_the_grammars_own_parser_takes_them(start: str, text: str) -> None:
    tokens = [t for t in lex(text) if t.type not in ("NEWLINE", "CLOSE", "STRAY", "UNCLOSED")]
    found = parse(tokens, start) if tokens else 0
    at = found if isinstance(found, int) else len(tokens)
    machine = parser().parse_interactive("", start=start)
    machine.parser_state.parse_conf = machine.parser_state.parse_conf.__class__(
        machine.parser_state.parse_conf.parse_table, {}, start
    )
    for token in tokens[:at]:
        table = machine.choices()
        terminal = parsing.keywords().get(str(token), token.type) if token.type == "NAME" else token.type
        terminal = "NAME" if token.type == "NAME" and terminal not in table else terminal
        parts = [terminal]
        if token == "+-" and "_PLUS_MINUS" not in table:
            parts = ["PLUS", "MINUS"]
        for part in parts:
            machine.feed_token(_lark(part))
    possible = machine.accepts()
    assert accepted(tokens[:at], start) == possible
    if not isinstance(found, int):
        assert "$END" in possible
    elif at == len(tokens):
        assert "$END" not in possible
    else:
        assert tokens[at].type not in possible or tokens[at].type == "NAME"


def _lark(terminal: str) -> object:
    from lark import Token

    return Token(terminal, "")
