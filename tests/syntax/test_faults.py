"""What people are told: every snapshot shows the source, then the rendered diagnostics."""

import re

import pytest
from meltwright.syntax.reading import read
from syrupy.assertion import SnapshotAssertion

from .reader import codes, report, source

CASES = {
    "five_errors": """\
material rubber from base {
  hardness 86 ± shore_a
  diameter 1.75 mm measured
  gap      3 mm
}
quantity gap of machin : length
law escape {
  about "x"
  let push a + b
  require push < < 3 N
}
use "shop.melt"
""",
    "unclosed_text": """\
use "shop.melt
material a {
  gap 3 mm measured "calliper
  bore 4 mm
}
grade g by x "strings {
  hair up to 3 mm
}
material b { gap 3 mm measured "calliper }
use "ends with a backslash\\
""",
    "unclosed_block": """\
machine corner {
  gap 6 mm

machine bench from corner {
  gap 0 mm
}
""",
    "unclosed_block_before_a_wrong_head": """\
profile strap {
  material rubber
grade strings bye diameter {
  none above
}
""",
    "unclosed_block_at_the_end": """\
law escape {
  about "it ends"
  let x = (a
""",
    "stray_brace": """\
material a {
  gap 3 mm
}
}
use "shop.melt"
""",
    "stray_characters": """\
material a § b {
  gap 1,5 mm
  bore .5 mm
  reach 3 mm;
  area 3 mm²
  angle ‘x’
  name “x”
  slope 3\u00a0mm
  back \\ slash
  bell \x07 here
}
law b {
  require a ≤ b
  let x = a × b
  let y = a ** b
  let z = a − b
}
$ €
""",
    "parentheses": """\
law a {
  let b = max(c, (d + 2)
  let c = 3 mm )
  require (a + b < 3
    else "no"
  let d = )
  let e = (a +
    b
  source textbook "a book"
  let f = max(a,
    b))
}
merit m = (a
use "shop.melt"
""",
    "nested_too_deep": "merit m = " + "(" * 10_000 + "a" + ")" * 10_000 + "\n",
    "expression_too_long": "merit m = a\n" + "  + a\n" * 2_000,
    "empty": "",
    "only_a_comment": "# nothing but this\n",
    "head_and_block": """\
material a fro b {
  gap = 3 mm
  bore 3 mm
  bed: 3 degC
  foo
}
""",
    "missing_values": """\
profile p {
  layer.height
  stringing at most
  pin heat.bed =
  pin heat.bed = because "why"
  gap 12 ..
  bore 12 ±
  prefer
  material
}
law l {
  let x =
  let y
  when
  require x < else "no"
  require x <
}
material a {
  gap measured "calliper"
}
profile q {
  bonding at least if possible
  flow at least
}
merit m =
""",
    "missing_values_do_not_take_the_next_item": """\
machine a {
  gap 12 ±
  bore 4 mm
  reach 3 ..
  typical 4 mm
}
""",
    "units_with_spaces": """\
machine a {
  flow  3 mm3 / s
  flow  3 mm 3
  force 3 N m
  gap   12 .. mm
  bore  ± 3 mm
}
""",
    "missing_signs": """\
law l {
  let push a + b
  let pull 3 N
}
merit m a
setting a length in 0 .. 3 mm step 1 mm
quantity b of machine length
profile p {
  pin heat.bed 40 degC
}
""",
    "blocks": """\
material a {
  heat {
    bed 3 degC
    nozzle ?
  }
  gap 4 mm
}
material b
  gap 3 mm
  bore 4 mm mesured "x"
}
material c
{
  gap 4 mm
}
material d
use "shop.melt" {
grade e {
  hair up to 3 mm
}
""",
    "misspelt_words": """\
Material a {
}
material b form a {
  gap 3 mm mesured "calliper"
}
use libary "trade"
profile p {
  prefr a, b
  bonding at leest sound
}
setting s : length in 0 .. 3 mm step 1 mm rather lo
law l {
  requires a < b
  abuot "x"
  source text_book "x"
}
foo
""",
    "items_in_the_wrong_block": """\
machine a {
  pin heat.bed = 40 degC
  stringing at most hair
  prefer flow, surface
  require a < b
}
profile p {
  let x = 3
  caution "hot"
}
law l {
  gap 3 mm
}
""",
    "unfinished_declarations": """\
use
use shop
quantity a of machine
quantity a of machine : one
quantity a of machine : one of
quantity a of machine : length in
setting a : length in 0 .. 3
setting a : length in 0 .. 3 mm step
setting a : length in 0 .. 3 mm step 3 rather
grade x by y {
  a
  b up 3
  c up to
  d below 3
}
""",
    "checks": """\
law l {
  checked "x against a book"
  checked "y" with "tests/y.py"
  checked by "tests/x.py"
  checked "z" by tests/x.py
  by "tests/x.py"
  unchecked
  unchecked because "nothing to compare with"
}
material m {
  checked "x" by "tests/x.py"
}
""",
    "expressions": """\
merit a = integral(x for x in 0 to 3 in 8 points)
merit b = integral(x for x from 0 to 3 in 8.5)
merit c = integral
merit d = a b
merit e = f()
merit f = a < b
law l {
  when a = 3
  when a
  require a
  valid a < b < c
  let x = 3 "a" "b"
  let y = 11 1/s s
}
""",
    "the_rest_of_a_faulty_item": """\
law l {
  let x = a b *
      (c + d)
      / e
  let y = y y
}
merit m = a b *
    c + d
merit n = c c
""",
    "wide_characters": """\
material 樹脂 {
  # Größe
  gap 3 mm measured "測定器" foo
\tbore\t4 mm foo
}
""",
    "long_line": 'machine a {\n  gap 3 mm measured "' + "very " * 100 + 'long" foo measured "' + "so " * 100 + '"\n}\n',
    "long_word": "merit " + "m" * 500 + " " + "n" * 500 + " = a\n",
}


@pytest.mark.parametrize("name", CASES)
def test_report(name: str, snapshot: SnapshotAssertion) -> None:
    text = CASES[name]
    assert snapshot == f"\n{_shown(text)}{'-' * 72}\n{report(text)}"


def _shown(text: str) -> str:
    """Show a source without most of what only makes it long, and with control characters visible."""
    lines = text.splitlines(keepends=True)
    if len(lines) > 40:
        lines = [*lines[:3], f"[{len(lines) - 4} lines like these]\n", lines[-1]]
    short = [re.sub(r"(.{60}).{80,}(.{20})", r"\1 [and so on] \2", line) for line in lines]
    return "".join(c if c.isprintable() or c in "\n\t" else f"<U+{ord(c):04X}>" for c in "".join(short))


@pytest.mark.parametrize("name", sorted(CASES))
def test_windows_line_ends_change_nothing(name: str) -> None:
    text = CASES[name]
    assert report(text.replace("\n", "\r\n")) == report(text)


def test_no_internal_names_are_shown() -> None:
    shown = "".join(report(text) for text in CASES.values())
    assert not re.search(r"__|ANON|\$END|LPAR|[A-Z]{4,}", shown)


GOOD = """\
use library "materials/urethanes"
material strap_rubber from urethane_85a {
  hardness   86 ± 2 shore_a
  diameter   1.75 mm            measured "calliper, ten places"
  gap        12 .. 14 mm
    measured "calliper"
}
profile watch_strap {
  material      strap_rubber
  machines      corner_tube, bench_tube
  layer.height  0.20 mm
  stringing     at most hair
  throughput    at least 2 mm3/s if possible
  prefer        throughput, surface giving 2 %
  pin heat.bed = 40 degC   because "it lets go"
}
quantity gap of machine : length in 0 .. 40 mm
  "Filament length without support."
setting retraction.length : length in 0 .. 20 mm step 0.1 mm rather low
  "Filament drawn back."
grade stringing by string_diameter {
  hair   up to 0.03 mm    "brushed off"
  web    above
}
merit throughput = flow  "Volume laid down per second."
law column_escape {
  about   "Filament bows out."
  source  textbook "Euler column"
  when    gap > 0 mm
  let critical_push = pi^2 * modulus *
    second_moment / (0.699 * gap)^2
  require push <= critical_push / 1.5
    else   "the filament can bow out"
    remedy lower gap           "close the gap"
    remedy lower speed.contour
  valid   diameter / gap < 2   else "too stocky"
  caution "Keep clear." where push > 60 N
}
"""


def _lines() -> list[int]:
    return [i for i, line in enumerate(GOOD.splitlines()) if line.strip() not in ("", "}")]


def test_the_good_file_is_good() -> None:
    assert codes(GOOD) == []


@pytest.mark.parametrize("i", _lines())
@pytest.mark.parametrize("junk", [" ) foo", ' "a" "b"', " $", " : :", " = =", ' "open', " <= <=", " 3 mm 4 mm"])
def test_one_error_is_reported_once_and_on_its_line(i: int, junk: str) -> None:
    lines = GOOD.splitlines()
    brace = " {" if lines[i].endswith("{") else ""
    lines[i] = lines[i].removesuffix(" {") + junk + brace
    here = source("\n".join(lines))
    faults = read(here)[1]
    assert len(faults) == 1, report(here.text)
    assert here.line_column(faults[0].span.start)[0] == i + 1


@pytest.mark.parametrize("i", _lines())
def test_an_error_at_the_start_of_a_line_is_reported_once(i: int) -> None:
    lines = GOOD.splitlines()
    lines[i] = "  = = " + lines[i]
    here = source("\n".join(lines))
    faults = read(here)[1]
    assert len(faults) == 1, report(here.text)
    assert here.line_column(faults[0].span.start)[0] == i + 1
