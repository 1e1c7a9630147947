"""What is printed reads back to the same tree, and prints the same again."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from meltwright.syntax import printing, tree
from meltwright.syntax.reading import read

from . import strategies
from .reader import read_good, source

ROOT = Path(__file__).parents[2]
README = re.findall(r"```melt\n(.*?)```", (ROOT / "grammar" / "README.md").read_text(encoding="utf-8"), re.DOTALL)
LIBRARY = sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "library").rglob("*.melt"))


@given(strategies.files)
def test_printed_file_reads_back(file: tree.File) -> None:
    text = printing.print_file(file)
    again, faults = read(source(text))
    assert [f for f in faults if f.code != "M104"] == []
    assert again == file
    assert printing.print_file(again) == text


@given(strategies.expressions)
def test_printed_expression_reads_back(expression: tree.Expression) -> None:
    (merit,) = read_good(f"merit m = {printing.print_expression(expression)}")
    assert isinstance(merit, tree.Merit)
    assert merit.expression == expression


@given(strategies.expressions)
def test_no_parentheses_can_be_left_out(expression: tree.Expression) -> None:
    text = printing.print_expression(expression)
    for opening, closing in _groups(text):
        without = text[:opening] + text[opening + 1 : closing] + text[closing + 1 :]
        file, faults = read(source(f"merit m = {without}"))
        assert faults or file.statements[0].expression != expression, without  # type: ignore[union-attr]


def _groups(text: str) -> list[tuple[int, int]]:
    """Find the parentheses that group, not those of a call."""
    groups, opened = [], []
    for i, c in enumerate(text):
        if c == "(":
            opened.append(i)
        elif c == ")":
            start = opened.pop()
            if not text[:start][-1:].isalnum() and text[:start][-1:] != "_":
                groups.append((start, i))
    return groups


@pytest.mark.parametrize(
    "text",
    [
        "a + b - c",
        "a - (b - c)",
        "a - (b + c)",
        "a * b / c * d",
        "a / (b * c)",
        "-a^2",
        "(-a)^2",
        "(a^b)^c",
        "a^(b^c)",
        "a^-2",
        "a^(-b^2)",
        "a^(1 / 3)",
        "(2 mm)^2",
        "2^x",
        "x^2 mm",
        "-(a + b)",
        "--a",
        "a - -b",
        "-a * b",
        "a * -b",
        "-(a * b)",
        "2 mm / gap",
        "11 / s",
        "11 1/s",
        "max(a + b, (c + d) * e)",
        "integral(2 * x for x from 0 to 1 in 8 points)",
        "pi^2 * modulus * second_moment / (0.699 * gap)^2",
    ],
)
def test_expression_in_its_plainest_form(text: str) -> None:
    (merit,) = read_good(f"merit m = {text}")
    assert isinstance(merit, tree.Merit)
    assert printing.print_expression(merit.expression) == text


def test_needless_parentheses_and_spaces_go() -> None:
    (merit,) = read_good("merit m=((a)*(b))+( c ^ ( 2 ) )")
    assert isinstance(merit, tree.Merit)
    assert printing.print_expression(merit.expression) == "a * b + c^2"


def test_pieces() -> None:
    (law,) = read_good('law l {\nwhen gap>0mm and liner is none and hardness on shore_a\nvalid a/b<2 else "x"\n}')
    assert isinstance(law, tree.Law)
    when, valid = law.items
    assert isinstance(when, tree.When) and isinstance(valid, tree.Valid)
    assert printing.print_condition(when.condition) == "gap > 0 mm and liner is none and hardness on shore_a"
    assert printing.print_comparison(valid.comparison) == "a / b < 2"


@pytest.mark.parametrize("text", ["20 N ± 10 %", "-5 .. 12 mm", "1.750 mm", "fluoropolymer", "3"])
def test_values(text: str) -> None:
    (entity,) = read_good(f"material m {{\n  x {text}\n}}")
    assert isinstance(entity, tree.Entity)
    item = entity.items[0]
    assert isinstance(item, tree.Given)
    assert printing.print_value(item.value) == text


def test_whole_layout() -> None:
    text = r"""use "shop.melt"
use library "materials/urethanes"

profile strap from base {
  material      strap_rubber
  machines      a, b
  layer.height  0.20 mm     typical "as always"
  gap           6 ± 0.5 mm  measured "a \"quote\" and a \\"
  stringing     at most hair if possible
  prefer        flow, surface giving 5 %
  pin heat.bed = 40 degC  because "it lets go"
}

quantity gap of machine : length in 0 .. 40 mm
  "Unsupported length."
quantity liner of machine : one of none, fluoropolymer

grade stringing by string_diameter "How many strings." {
  hair  up to 0.03 mm  "brushed off"
  web   above
}

law escape {
  source  textbook "A book."
  let push = a * (b + c)
    "Force."
  require push < 3 N
    else   "it bows"
    remedy lower gap "close it"
    remedy change liner
  valid   a < b  else "never tried"
  caution "Hot." where push > 1 N and gap > 0 mm
  checked "Push against a book." by "tests/published/test_push.py::test_push"
  unchecked "Nobody has measured it."
}
"""
    file, faults = read(source(text))
    assert faults == []
    assert printing.print_file(file) == text


@pytest.mark.parametrize("example", README)
def test_the_examples_of_the_reference_read_and_print(example: str) -> None:
    _reads_and_prints(example)


@pytest.mark.parametrize("path", LIBRARY)
def test_the_library_reads_and_prints(path: str) -> None:
    _reads_and_prints((ROOT / path).read_text(encoding="utf-8"))


def _reads_and_prints(text: str) -> None:
    statements = read_good(text)
    assert statements
    printed = printing.print_file(tree.File("x.melt", statements))
    assert read_good(printed) == statements
    assert printing.print_file(tree.File("x.melt", read_good(printed))) == printed
