"""The forms of the language and their trees, keywords as names, continued lines, and places."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

import pytest
from hypothesis import given, settings
from meltwright.syntax import tree
from meltwright.syntax.lines import DEEPEST, LONGEST
from meltwright.syntax.printing import print_expression, print_file
from meltwright.syntax.reading import MOST_FAULTS, read
from meltwright.text.source import Span

from . import strategies
from .reader import codes, read_good, source

N, T = tree.Name, tree.Text


def number(text: str) -> tree.Number:
    digits, _, unit = text.partition(" ")
    return tree.Number(digits, unit)


def exact(text: str) -> tree.Exact:
    return tree.Exact(number(text))


def ref(name: str) -> tree.Reference:
    return tree.Reference(name)


def items(text: str, kind: str = "material") -> tuple[object, ...]:
    """Read the items of a block."""
    (statement,) = read_good(f"{kind} m {{\n{text}\n}}")
    assert isinstance(statement, tree.Entity | tree.Law)
    return statement.items


def expression(text: str) -> tree.Expression:
    (merit,) = read_good(f"merit m = {text}")
    assert isinstance(merit, tree.Merit)
    return merit.expression


# ---- forms


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('use "a/b.melt"', tree.Use(T("a/b.melt"), False)),
        ('use library "trade"', tree.Use(T("trade"), True)),
        ("material a {\n}", tree.Entity("material", N("a"), None, ())),
        ("machine a from b { }", tree.Entity("machine", N("a"), N("b"), ())),
        (
            'quantity gap of machine : length in 0 .. 40 mm "Doc."',
            tree.Quantity(
                N("gap"),
                "machine",
                N("length"),
                (tree.Range(number("0"), number("40 mm")),),
                (),
                T("Doc."),
            ),
        ),
        (
            "quantity h of material : hardness in 10 .. 98 shore_a, 20 .. 85 shore_d",
            tree.Quantity(
                N("h"),
                "material",
                N("hardness"),
                (
                    tree.Range(number("10"), number("98 shore_a")),
                    tree.Range(number("20"), number("85 shore_d")),
                ),
                (),
                None,
            ),
        ),
        (
            "quantity l of profile : one of none, fluoropolymer",
            tree.Quantity(N("l"), "profile", None, (), (N("none"), N("fluoropolymer")), None),
        ),
        (
            "setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given",
            tree.Setting(
                N("layer.height"),
                N("length"),
                tree.Range(number("0.05"), number("0.6 mm")),
                number("0.01 mm"),
                True,
                "",
                None,
            ),
        ),
        (
            'setting r : length in 0 .. 20 mm step 0.1 mm rather low "Doc."',
            tree.Setting(
                N("r"),
                N("length"),
                tree.Range(number("0"), number("20 mm")),
                number("0.1 mm"),
                False,
                "low",
                T("Doc."),
            ),
        ),
        (
            'grade g by d "Doc." {\n clean up to 0.005 mm "none"\n web above\n}',
            tree.Grade(
                N("g"),
                N("d"),
                T("Doc."),
                (
                    tree.Band(N("clean"), "up_to", number("0.005 mm"), T("none")),
                    tree.Band(N("web"), "above", None, None),
                ),
            ),
        ),
        (
            "grade g by d {\n sound from 0.7\n loose below\n}",
            tree.Grade(
                N("g"),
                N("d"),
                None,
                (tree.Band(N("sound"), "from", number("0.7"), None), tree.Band(N("loose"), "below", None, None)),
            ),
        ),
        ('merit m = -x "Doc."', tree.Merit(N("m"), tree.Negation(ref("x")), T("Doc."))),
        ("law l { }", tree.Law(N("l"), ())),
    ],
)
def test_statements(text: str, expected: tree.Statement) -> None:
    assert read_good(text) == (expected,)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.20 mm", exact("0.20 mm")),
        ("86 ± 2 shore_a", tree.Spread(number("86"), number("2 shore_a"))),
        ("86 +- 2 shore_a", tree.Spread(number("86"), number("2 shore_a"))),
        ("20 N±10%", tree.Spread(number("20 N"), number("10 %"))),
        ("12 .. 14 mm", tree.Range(number("12"), number("14 mm"))),
        ("12..14mm", tree.Range(number("12"), number("14 mm"))),
        ("-5 .. -2 degC", tree.Range(number("-5"), number("-2 degC"))),
        ("1.5e-3 1/s", exact("1.5e-3 1/s")),
        ("11 1/s", exact("11 1/s")),
        ("3 W/m/K", exact("3 W/m/K")),
        ("3 Pa*s", exact("3 Pa*s")),
        ("3 \u03bcm", exact("3 µm")),  # the Greek letter is read as the micro sign
        ("fluoropolymer", tree.Word("fluoropolymer")),
    ],
)
def test_values(text: str, value: tree.Value) -> None:
    assert items(f"x {text}") == (tree.Given(N("x"), value, None),)


def test_evidence() -> None:
    given = tree.Given(N("x"), exact("1 mm"), tree.Evidence("published", T("a book")))
    assert items('x 1 mm published "a book"') == (given,)


def test_profile_items() -> None:
    text = """
      material strap
      machines a, b
      machine c
      layer.height 0.2 mm
      stringing at most hair
      flow at least 2 mm3/s if possible
      prefer a, b giving 5 %
      prefer a
      pin heat.bed = 40 degC because "why"
      pin fan = 3
    """
    assert items(text, "profile") == (
        tree.UsesMaterial(N("strap")),
        tree.UsesMachines((N("a"), N("b"))),
        tree.UsesMachines((N("c"),)),
        tree.Given(N("layer.height"), exact("0.2 mm"), None),
        tree.Want(N("stringing"), "most", tree.Word("hair"), False),
        tree.Want(N("flow"), "least", exact("2 mm3/s"), True),
        tree.Prefer((N("a"), N("b")), number("5 %")),
        tree.Prefer((N("a"),), None),
        tree.Pin(N("heat.bed"), exact("40 degC"), T("why")),
        tree.Pin(N("fan"), exact("3"), None),
    )


def test_law_items() -> None:
    text = """
      about "what"
      source textbook "book"
      when gap > 0 mm and hardness on shore_a and liner is none
      let x = y "doc"
      require x <= 3
        else "no"
        remedy lower gap "close it"
        remedy raise speed
        remedy change liner
      valid x < 2 else "far"
      caution "hot" where x >= 1
      prepare "dry"
      checked "x against a book" by "tests/x.py::test_x"
      checked "y against a book"
        by "tests/y.py"
      unchecked "nothing to compare with"
    """
    condition = tree.Condition(
        (
            tree.Comparison(ref("gap"), ">", tree.Literal(number("0 mm"))),
            tree.OnScale(N("hardness"), N("shore_a")),
            tree.IsWord(N("liner"), N("none")),
        )
    )
    remedies = (
        tree.Remedy("lower", N("gap"), T("close it")),
        tree.Remedy("raise", N("speed"), None),
        tree.Remedy("change", N("liner"), None),
    )
    one, two, three = (tree.Literal(number(n)) for n in "123")
    assert items(text, "law") == (
        tree.About(T("what")),
        tree.SourceNote("textbook", T("book")),
        tree.When(condition),
        tree.Let(N("x"), ref("y"), T("doc")),
        tree.Require(tree.Comparison(ref("x"), "<=", three), T("no"), remedies),
        tree.Valid(tree.Comparison(ref("x"), "<", two), T("far")),
        tree.Notice("caution", T("hot"), tree.Condition((tree.Comparison(ref("x"), ">=", one),))),
        tree.Notice("prepare", T("dry"), None),
        tree.Checked(T("x against a book"), T("tests/x.py::test_x")),
        tree.Checked(T("y against a book"), T("tests/y.py")),
        tree.Unchecked(T("nothing to compare with")),
    )


@pytest.mark.parametrize(
    ("text", "grouped"),
    [
        ("a - b - c", "(a - b) - c"),
        ("a / b / c", "(a / b) / c"),
        ("a + b * c", "a + (b * c)"),
        ("-a^2", "-(a^2)"),
        ("-a * b", "(-a) * b"),
        ("a^-2 * b", "(a^(-2)) * b"),
        ("a - -b", "a - (-b)"),
        ("a +-b", "a + (-b)"),
        ("11/s", "11 / s"),
        ("0.21/s", "0.21 / s"),
        ("2*x", "2 * x"),
        ("x^2/y", "(x^2) / y"),
    ],
)
def test_operators_bind_as_in_books(text: str, grouped: str) -> None:
    assert expression(text) == expression(grouped)


def test_no_power_of_a_power_without_parentheses() -> None:
    assert codes("merit m = a^b^c") == ["M110"]


def test_calls_and_integrals() -> None:
    assert expression("max(a, 1)") == tree.Call(N("max"), (ref("a"), tree.Literal(number("1"))))
    one, two = tree.Literal(number("1")), tree.Literal(number("2"))
    integral = tree.Integral(tree.Binary("*", two, ref("x")), N("x"), one, two, number("8"))
    assert expression("integral(2 * x for x from 1 to 2 in 8 points)") == integral
    assert expression("integral(2 for x from 1 to 2 in 8 points)") == tree.Integral(two, N("x"), one, two, number("8"))


@pytest.mark.parametrize(
    ("written", "text"),
    [
        (r'"a \"b\" c"', 'a "b" c'),
        (r'"a\\"', "a\\"),
        (r'"shop\parts"', r"shop\parts"),
        ('"# no comment"', "# no comment"),
        ('"} { )"', "} { )"),
        ('""', ""),
    ],
)
def test_texts(written: str, text: str) -> None:
    assert read_good(f"use {written}") == (tree.Use(T(text), False),)


def test_comments_and_empty_lines_mean_nothing() -> None:
    text = "# first\n\nmaterial a { # why\n\n  # a note: material b {\n  x 1 mm # mm\n} # end\n#"
    assert read_good(text) == read_good("material a {\nx 1 mm\n}")


# ---- keywords as names


@pytest.mark.parametrize("word", strategies.KEYWORDS)
def test_a_keyword_may_name_a_quantity(word: str) -> None:
    assert items(f"gap 1 mm\n{word} 3 mm\nbore 2 mm") == (
        tree.Given(N("gap"), exact("1 mm"), None),
        tree.Given(N(word), exact("3 mm"), None),
        tree.Given(N("bore"), exact("2 mm"), None),
    )


@pytest.mark.parametrize("word", [w for w in strategies.KEYWORDS if w != "integral"])
def test_a_keyword_may_stand_in_an_expression(word: str) -> None:
    text = f"let x = {word} +\n {word} * max({word},\n {word})\nwhen {word} > 0 and {word} is {word}"
    let, when = items(text, "law")
    assert isinstance(let, tree.Let) and isinstance(when, tree.When)
    assert print_expression(let.expression) == f"{word} + {word} * max({word}, {word})"
    assert when.condition.tests[1] == tree.IsWord(N(word), N(word))


@pytest.mark.parametrize("word", ["step", "low", "source", "given", "rather", "of", "in"])
def test_a_keyword_may_name_a_setting(word: str) -> None:
    (setting,) = read_good(f"setting {word} : {word} in 0 .. 3 mm step 1 mm rather low")
    assert isinstance(setting, tree.Setting)
    assert (setting.name, setting.dimension) == (N(word), N(word))


def test_keywords_that_a_profile_expects_are_not_names_there() -> None:
    assert codes("profile p {\n pin 3 mm\n}") == ["M110"]
    assert codes("machine p {\n pin 3 mm\n}") == []


# ---- continued lines


@pytest.mark.parametrize(
    "text",
    [
        "let x =\n a + b",
        "let x = a +\n b",
        "let x = a\n + b",
        "let x = a\n\n # a note\n + b",
        "let x = (a\n + b)",
        "let x = (a + b\n )",
    ],
)
def test_an_expression_goes_on(text: str) -> None:
    plain = "let x = (a + b)" if "(" in text else "let x = a + b"
    assert items(text + "\nlet y = c", "law") == items(plain + "\nlet y = c", "law")


@pytest.mark.parametrize(
    ("kind", "long", "short"),
    [
        ("material", 'x 1 mm\n measured "how"', 'x 1 mm measured "how"'),
        ("material", 'x 1 mm measured\n "how"', 'x 1 mm measured "how"'),
        ("material", "x 12 ..\n 14 mm", "x 12 .. 14 mm"),
        ("material", "x 12\n ± 2 mm", "x 12 ± 2 mm"),
        ("profile", "machines a,\n b\n , c", "machines a, b, c"),
        ("profile", "prefer a,\n b giving 2 %", "prefer a, b giving 2 %"),
        ("profile", 'pin x =\n -3 mm\n because "y"', 'pin x = -3 mm because "y"'),
        ("law", "when a > 1\n and b > 2", "when a > 1 and b > 2"),
        ("law", 'require a\n <\n b\n else "x"\n remedy lower c\n "y"', 'require a < b else "x" remedy lower c "y"'),
        ("law", 'caution "x"\n where a > 1', 'caution "x" where a > 1'),
    ],
)
def test_an_item_goes_on(kind: str, long: str, short: str) -> None:
    assert items(long, kind) == items(short, kind)


def test_a_declaration_goes_on() -> None:
    long = 'setting x : length in 0 .. 3 mm\n  step 1 mm\n  given\n  rather low\n  "Doc."\nmerit m = x\n  "Doc."'
    assert read_good(long) == read_good(
        'setting x : length in 0 .. 3 mm step 1 mm given rather low "Doc."\nmerit m = x "Doc."'
    )


@pytest.mark.parametrize("word", ["measured", "published", "typical", "assumed"])
def test_a_quantity_called_like_evidence_starts_its_own_line(word: str) -> None:
    text = f'gap 1 mm\n{word} -3 mm\n{word} fluoropolymer\n{word} none measured "how"'
    assert [i.name.text for i in items(text) if isinstance(i, tree.Given)] == ["gap", word, word, word]
    assert len(items(f"gap 1 mm\n{word} at most 3 mm", "profile")) == 2


def test_a_block_may_stand_on_one_line() -> None:
    assert read_good("material a { x 1 mm } material b { y 2 mm }") == read_good(
        "material a {\nx 1 mm\n}\nmaterial b {\ny 2 mm\n}"
    )


# ---- places


def _nodes(node: object) -> Iterator[object]:
    if isinstance(node, tuple):
        for part in node:
            yield from _nodes(part)
    elif is_dataclass(node) and not isinstance(node, Span):
        yield node
        for f in fields(node):
            yield from _nodes(getattr(node, f.name))


PLACES = """# Größe: ± °
material strap from base {
  hardness   86 ± 2 shore_a     measured "Prüfgerät"
  diameter   1.75 mm
}

law escape {
  let push = pi^2 * (modulus + 3 N) / max(gap, 2 mm)  "Kraft"
  require push <= 11 N
}
"""


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_places_point_at_what_was_written(ending: str) -> None:
    text = PLACES.replace("\n", ending)
    here = source(text)
    file, faults = read(here)
    assert faults == []
    seen = set()
    for node in _nodes(file.statements):
        place = node.span  # type: ignore[attr-defined]
        assert place.file == here.name
        written = text[place.start : place.end]
        seen.add((type(node).__name__, written))
        match node:
            case tree.Name(name) | tree.Reference(name):
                assert written == name
            case tree.Text(said):
                assert written == f'"{said}"'
            case tree.Number(digits, unit):
                assert written == f"{digits} {unit}".strip()
                assert text[node.unit_span.start : node.unit_span.end] == unit
    assert ("Spread", "86 ± 2 shore_a") in seen
    assert ("Evidence", 'measured "Prüfgerät"') in seen
    assert ("Given", "diameter   1.75 mm") in seen
    assert ("Entity", "material strap from base") in seen
    assert ("Binary", "(modulus + 3 N)") in seen
    assert ("Binary", "pi^2 * (modulus + 3 N) / max(gap, 2 mm)") in seen
    assert ("Binary", "pi^2") in seen
    assert ("Call", "max(gap, 2 mm)") in seen
    assert ("Comparison", "push <= 11 N") in seen


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_lines_and_columns_count_characters(ending: str) -> None:
    text = ending.join(["# ß±°", "material a {", "  x “1”", "  y 2 § mm", "}"])
    here = source(text)
    places = [here.line_column(f.span.start) for f in read(here)[1]]
    assert places == [(3, 5), (4, 7)]
    assert here.line_text(4) == "  y 2 § mm"


@settings(max_examples=40)
@given(strategies.files)
def test_every_place_lies_in_the_text(file: tree.File) -> None:
    text = print_file(file)
    for node in _nodes(read(source(text))[0].statements):
        place = node.span  # type: ignore[attr-defined]
        assert 0 <= place.start < place.end <= len(text)


# ---- limits


def test_an_expression_of_the_greatest_depth_can_be_walked() -> None:
    chain = "a" + "\n  + a" * LONGEST
    assert print_expression(expression(chain)).count("+") == LONGEST
    nested = "(" * (DEEPEST - 1) + "a" + " + a)^2" * (DEEPEST - 1)
    deep = expression(nested)
    assert expression(print_expression(deep)) == deep
    signs = "-" * LONGEST + "a"
    assert print_expression(expression(signs)) == signs


def test_longer_and_deeper_ones_are_reported_once() -> None:
    assert codes("merit m = a" + "\n  + a" * 2000) == ["M120"]
    assert codes("merit m = " + "-" * 2000 + "a") == ["M120"]
    assert codes("merit m = a" + " +-a" * (LONGEST // 2)) == []
    assert codes("merit m = a" + " +-a" * (LONGEST // 2 + 1)) == ["M120"]
    assert codes("merit m = " + "(" * 10_000 + "a" + ")" * 10_000) == ["M116"]
    assert codes("merit m = " + "(" * 10_000) == ["M116"]
    assert codes("merit m = " + "max(" * 10_000) == ["M116"]


def test_an_item_beyond_a_limit_does_not_hide_the_others() -> None:
    text = "law l {\n let a = " + "(" * 100 + "b" + ")" * 100 + "\n let c = d\n}\nmerit m = e"
    file, faults = read(source(text))
    assert [f.code for f in faults] == ["M116"]
    assert file.statements == read_good("law l {\n let c = d\n}\nmerit m = e")


def test_many_faults_are_cut_off() -> None:
    assert codes("?\n" * 3000) == ["M113"] * MOST_FAULTS + ["M121"]
    assert codes("foo\n" * 3000) == ["M110"] * MOST_FAULTS + ["M121"]
    assert codes("foo\n" * MOST_FAULTS) == ["M110"] * MOST_FAULTS


def test_a_list_may_be_long() -> None:
    (prefer,) = items("prefer " + ", ".join(["a"] * 20_000), "profile")
    assert isinstance(prefer, tree.Prefer)
    assert len(prefer.names) == 20_000
