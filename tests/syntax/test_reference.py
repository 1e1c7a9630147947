"""The reference, ``grammar/README.md``: its examples are sound, in the one layout, and show every form there is."""

import re
from pathlib import Path

import pytest
from meltwright.compiling import look_over
from meltwright.meaning.checking import check_file
from meltwright.meaning.functions import CONSTANTS, FUNCTIONS
from meltwright.syntax import file, tree
from meltwright.syntax.formatting import format_text
from meltwright.syntax.grammar import keywords
from meltwright.syntax.lines import DEEPEST, LONGEST
from meltwright.syntax.reading import read

from .reader import read_good, source
from .test_colouring import words

TEXT = (Path(__file__).parents[2] / "grammar" / "README.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```melt\n(.*?)^```$", TEXT, re.DOTALL | re.MULTILINE)
WHOLE = {m[1]: e for e in EXAMPLES if (m := re.match(r"# (\w+\.melt)\n", e))}


def test_all_examples_are_found() -> None:
    others = re.findall(r"^```(?!melt$)(\w+)$", TEXT, re.MULTILINE)
    assert others == ["lua", "toml", "elisp"], "these configure editors; all else is the language"
    assert TEXT.count("```") == 2 * (len(EXAMPLES) + len(others))
    assert len(EXAMPLES) == 13
    assert sorted(WHOLE) == ["job.melt", "shop.melt", "trade.melt"]


@pytest.mark.parametrize("example", EXAMPLES)
def test_an_example_is_sound_and_in_the_layout(example: str) -> None:
    assert read_good(example)
    assert format_text(source(example)) == (example, [])


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """Write the whole files into a folder."""
    for name, text in WHOLE.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("name", sorted(WHOLE))
def test_a_whole_file_is_checked(written: Path, name: str) -> None:
    model, faults, _ = check_file(written / name)
    assert model is not None
    assert [f.message for f in faults if f.is_error] == []


def test_the_whole_profile_is_possible(written: Path) -> None:
    compiled, machines = look_over(written / "job.melt")
    assert [d.message for d in compiled.diagnostics] == []
    assert machines == ["strap on open_tube", "strap on open_block"]


# ---- that it is complete


def test_every_keyword_is_shown_in_an_example() -> None:
    shown = {word for e in EXAMPLES for terminal, word, _, _ in words(e) if terminal not in ("NAME", "STRING")}
    assert set(keywords()) - shown == set()


def test_every_kind_of_node_is_shown_in_an_example() -> None:
    shown: set[type] = set()

    def visit(node: object) -> None:
        if isinstance(node, tuple):
            for part in node:
                visit(part)
        elif hasattr(node, "__dataclass_fields__"):
            shown.add(type(node))
            for name in node.__dataclass_fields__:
                visit(getattr(node, name))

    for example in EXAMPLES:
        visit(read(source(example))[0])
    every = {c for c in vars(tree).values() if isinstance(c, type) and c.__module__ in (tree.__name__, file.__name__)}
    assert {c.__name__ for c in every - shown} == set()


def test_every_function_and_constant_is_listed_and_shown() -> None:
    together = "\n".join(EXAMPLES)
    for name in FUNCTIONS:
        assert f"`{name}(" in TEXT and re.search(rf"\b{name}\(", together), name
    for name in CONSTANTS:
        assert f"`{name}`" in TEXT and re.search(rf"\b{name}\b", together), name


def test_limits_are_those_of_the_program() -> None:
    from meltwright.meaning.declaring import MOST_STEPS
    from meltwright.meaning.loading import DEEPEST as FILES
    from meltwright.meaning.loading import LARGEST
    from meltwright.meaning.near import LONGEST_NAME
    from meltwright.meaning.valuing import MOST_DIGITS, MOST_EXPONENT

    text = " ".join(TEXT.split())
    for said in (
        f"at most {DEEPEST} parentheses open and {LONGEST} operators",
        f"at most {LARGEST:,} bytes",
        f"at most {FILES} deep",
        f"at most {LONGEST_NAME} characters",
        f"in steps, at most {MOST_STEPS:,},",
        f"at most {MOST_DIGITS} digits, and an exponent of ten from -{MOST_EXPONENT} to {MOST_EXPONENT}",
    ):
        assert said in text


def test_the_words_that_go_on_are_listed() -> None:
    from meltwright.syntax.starts import _GOES_ON

    listed = re.search(r"one of `([a-z ]+)`,\s+where the line so far", TEXT)
    assert listed is not None
    assert set(listed[1].split()) == set().union(*_GOES_ON.values())
