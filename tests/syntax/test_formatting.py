"""The formatter: it says the same, keeps every comment with what it is about, and leaves its own result as it is."""

from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meltwright.syntax import formatting, printing, tree
from meltwright.syntax.reading import read
from meltwright.text.source import Source

from . import strategies
from .messing import comments, messy, owners
from .reader import read_good, source

ROOT = Path(__file__).parents[2]
LIBRARY = sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "library").rglob("*.melt"))


def formatted(text: str) -> str:
    result, faults = formatting.format_text(source(text))
    assert faults == [], text
    return result


def sound(text: str) -> str:
    """Format a text and compare all that must stay; gives the result."""
    result = formatted(text)
    assert read(source(result))[0] == read(source(text))[0]
    assert comments(result) == comments(text)
    assert owners(result) == owners(text)
    assert formatted(result) == result
    assert "\r" not in result and "\t" not in "".join(_without_words(result)) and "\n\n\n" not in result
    assert not result or (result.endswith("\n") and not result.startswith("\n") and not result.endswith("\n\n"))
    assert all(line == line.rstrip(" \t\f") for line in result.split("\n"))
    return result


def _without_words(text: str) -> list[str]:
    """Keep what stands before the first quote or comment of each line."""
    return [line.split('"')[0].split("#")[0] for line in text.split("\n")]


@pytest.mark.parametrize("path", LIBRARY)
def test_the_library(path: str) -> None:
    sound((ROOT / path).read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", LIBRARY)
def test_the_library_after_any_mess(path: str) -> None:
    """Only what authors may choose, line ends and empty lines, can tell two layouts apart; comments survive."""
    text = (ROOT / path).read_text(encoding="utf-8")
    for seed in range(3):
        sound(messy(text, Random(seed)))
    one, other = (messy(text, Random(seed), commented=False, tries=0) for seed in (1, 2))
    plain = [[line for line in formatted(t).split("\n") if line] for t in (one, other, _without_comments(text))]
    assert plain[0] == plain[1] == plain[2]


def _without_comments(text: str) -> str:
    return "\n".join(line for line in text.split("\n") if not line.lstrip().startswith("#"))


@settings(max_examples=500)
@given(strategies.files, st.integers(0, 2**32))
def test_generated_files(file: tree.File, seed: int) -> None:
    text = printing.print_file(file)
    assert formatted(text) == text
    sound(messy(text, Random(seed)))


# ---- the layout


def test_a_whole_file() -> None:
    text = r"""
# What this file is about.
use   "shop.melt"
use library "materials/urethanes"
material m from base { # soft
# of the sheet

  hardness 86+-2 shore_a measured "durometer"   # twice
  gap  12..14mm
  modulus_from value
      published "a table"

}
profile p {
  material m
  machines a,
  b
    , c
  layer.height 0.2 mm


  # wants
  stringing at  most hair if possible
  prefer flow,surface   giving 2%
  pin heat.bed=40degC because "it lets go"
}
quantity gap of machine:length in 0..40mm "Free length."
quantity liner of machine : one of none, tube # at last
setting a.b : length in 0 .. 2 mm step 0.1 μm rather low "Set."
grade g by x "Doc." {
  clean up to 0.01 mm "none"
  hair up to 0.03 mm

  web above "spoils"}
merit m1 = - (a+b) "Less."
law l {
about "About."
source textbook "A book."
checked "this" by "a test"
checked "that"
by "another"
unchecked "why"
when gap>0mm and
  -gap < -1 mm

let a = 2 +
   max( b, # first
   # whole
   -c^-2 ) *d +- e "Sum."
require a <=
 b else "too much" remedy lower gap "close it" remedy raise speed.contour
   # or else
   remedy change liner "line it"
valid a < 1 else "out"
caution "Hot."
where a > b
}
# last"""
    assert (
        formatted(text)
        == """# What this file is about.
use "shop.melt"
use library "materials/urethanes"

material m from base {  # soft
  # of the sheet

  hardness      86 ± 2 shore_a  measured "durometer"  # twice
  gap           12 .. 14 mm
  modulus_from  value           published "a table"
}

profile p {
  material      m
  machines      a,
                b,
                c
  layer.height  0.2 mm

  # wants
  stringing     at most hair if possible
  prefer        flow, surface giving 2 %
  pin heat.bed = 40 degC  because "it lets go"
}

quantity gap of machine : length in 0 .. 40 mm
  "Free length."
quantity liner of machine : one of none, tube  # at last
setting a.b : length in 0 .. 2 mm step 0.1 µm rather low
  "Set."

grade g by x "Doc." {
  clean  up to 0.01 mm  "none"
  hair   up to 0.03 mm

  web    above          "spoils"
}

merit m1 = -(a + b)
  "Less."

law l {
  about   "About."
  source  textbook "A book."
  checked "this" by "a test"
  checked "that"
    by "another"
  unchecked "why"
  when    gap > 0 mm and -gap < -1 mm

  let a = 2
    + max(b,  # first
        # whole
        -c^-2) * d + -e
    "Sum."
  require a
    <= b
    else   "too much"
    remedy lower gap    "close it"
    remedy raise speed.contour
    # or else
    remedy change liner "line it"
  valid   a < 1  else "out"
  caution "Hot."
    where a > b
}
# last
"""
    )


def test_formulas_over_many_lines_keep_their_line_ends() -> None:
    text = """law l {
  let weld_times = span / time
    * integral(
        exp(energy / gas_constant
          * (1 / low - 1 / (high
              + step))
          + 1
        )
        for s from 0
        to 1 in 6 points)
}
"""
    assert formatted(text) == text


def test_operators_go_first_and_commas_last() -> None:
    text = "merit m = a *\n b -\n max(a\n , b\n) ^\n 2 +\n -\n c"
    assert formatted(text) == "merit m = a\n  * b\n  - max(a,\n      b\n    )\n  ^2\n  + -c\n"


def test_parentheses_and_digits_stay_as_written() -> None:
    text = "merit m = ((a)) + (1.500e3 * b)\n"
    assert formatted(text) == text


# ---- comments


def test_comments_stay_where_they_belong() -> None:
    text = """material m { # head
  # first
  gap 3 mm # gap
    # inside
    measured # kind
    "x" # end
  # before the brace
} # brace
# next
law l { # law
} # end
"""
    assert (
        sound(text)
        == """material m {  # head
  # first
  gap  3 mm  # gap
    # inside
    measured  # kind
    "x"  # end
  # before the brace
}  # brace

# next
law l {  # law
}  # end
"""
    )


def test_a_comment_after_an_operator_goes_before_it_but_stays_in_its_item() -> None:
    assert sound("merit m = a + # why\n b # end") == "merit m = a  # why\n  + b  # end\n"
    assert sound("merit m = a # one\n # two\n - # three\n - # four\n b") == (
        "merit m = a  # one\n  # two\n  # three\n  # four\n  - -b\n"
    )
    assert sound("material m {\n gap 6 # a\n ± # b\n 1 mm\n}") == (
        "material m {\n  gap  6  # a\n    # b\n    ± 1 mm\n}\n"
    )


def test_equal_comments_are_all_kept() -> None:
    text = '# ----\n# ----\n\n# ----\nuse "x"\n'
    assert sound(text) == text


# ---- odd texts


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("", ""),
        ("\n\n \t\n", ""),
        ("# only\r\n\r\n\r\n#this ", "# only\n\n#this\n"),
        ("#", "#\n"),
        ('use "a"', 'use "a"\n'),
        ('\r\n\tuse\t"a"\r\n', 'use "a"\n'),
        ("material m {\n\n\n}", "material m {\n}\n"),
        ("material m{gap 3mm}law l{}", "material m {\n  gap  3 mm\n}\n\nlaw l {\n}\n"),
        ("# doc\nlaw l {\n}\n# end", "# doc\nlaw l {\n}\n# end\n"),
    ],
)
def test_odd_texts(text: str, result: str) -> None:
    assert sound(text) == result


@pytest.mark.parametrize("text", ["material m {", "use 3", "merit m = $", "a b c", '\ufeffuse "a"'])
def test_a_text_with_faults_is_left_alone(text: str) -> None:
    result, faults = formatting.format_text(source(text))
    assert result == text
    assert faults == read(source(text))[1] != []


# ---- the proof


@pytest.mark.parametrize(
    "wrong",
    [
        lambda text: text.replace("3 mm", "4 mm"),
        lambda text: text.replace("# note", ""),
        lambda text: text.replace("gap  ", "gap "),
        lambda text: text + "}",
        lambda text: 1 // 0,
    ],
)
def test_a_result_that_is_not_proved_is_never_given(wrong, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    """Changed values, lost comments, an unstable layout, faults, and mistakes that raise."""
    text = "material m {\n gap 3 mm # note\n}"
    right = formatting.laid_out

    def wrongly(given: Source) -> str:
        return wrong(right(given)) if given.text == text else right(given)

    monkeypatch.setattr(formatting, "laid_out", wrongly)
    result, faults = formatting.format_text(source(text))
    assert result == text
    assert [f.code for f in faults] == ["M122"]


def test_a_long_list_takes_little_time() -> None:
    text = "profile p {\n prefer " + ",\n ".join(["a"] * 5000) + "\n}"
    assert formatted(text).count("\n") == 5002
    assert read_good(formatted(text)) == read_good(text)
