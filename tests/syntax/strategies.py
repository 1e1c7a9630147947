"""Hypothesis strategies that build trees of the language as reading would, and texts made of its words.

Names may be keywords wherever the grammar does not expect that keyword.
"""

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy
from meltwright.syntax import tree

KEYWORDS = [
    "about",
    "above",
    "and",
    "assumed",
    "at",
    "because",
    "below",
    "by",
    "caution",
    "change",
    "checked",
    "else",
    "for",
    "from",
    "given",
    "giving",
    "grade",
    "high",
    "if",
    "in",
    "integral",
    "is",
    "law",
    "least",
    "let",
    "low",
    "lower",
    "machine",
    "machines",
    "material",
    "measured",
    "merit",
    "most",
    "of",
    "on",
    "one",
    "pin",
    "points",
    "possible",
    "practice",
    "prefer",
    "prepare",
    "profile",
    "published",
    "quantity",
    "raise",
    "rather",
    "remedy",
    "require",
    "setting",
    "source",
    "step",
    "textbook",
    "to",
    "typical",
    "unchecked",
    "up",
    "use",
    "valid",
    "when",
    "where",
    "library",
]

_plain = st.from_regex(r"[a-z_][A-Za-z0-9_]{0,6}(\.[a-z_][a-z0-9_]{0,4})?", fullmatch=True)
_words = st.one_of(st.sampled_from(KEYWORDS), st.sampled_from(["gap", "layer.height", "pi"]), _plain)


def _names(*reserved: str) -> SearchStrategy[tree.Name]:
    return _words.filter(lambda w: w not in reserved).map(tree.Name)


names = _names()
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\n\r"), max_size=12).map(tree.Text)
some_text = st.none() | texts

_AFTER_NUMBER = frozenset(
    [
        "and",
        "assumed",
        "because",
        "else",
        "for",
        "from",
        "giving",
        "given",
        "if",
        "in",
        "measured",
        "points",
        "published",
        "rather",
        "remedy",
        "step",
        "to",
        "typical",
        "where",
    ]
)
_factor = st.from_regex(r"[A-Za-zµ°][A-Za-z0-9_µ]{0,4}(\^[0-9])?", fullmatch=True)
_made = st.builds(
    lambda first, rest: first + "".join(o + f for o, f in rest),
    _factor.filter(lambda f: f not in _AFTER_NUMBER and f.split("^")[0] not in _AFTER_NUMBER),
    st.lists(st.tuples(st.sampled_from("*/"), _factor), max_size=2),
)
_known = st.sampled_from(["mm", "mm3/s", "W/m/K", "Pa*s", "1/s", "%", "degC", "shore_a", "kJ/kg/K"])
units = st.one_of(st.just(""), _known, _made).map(lambda u: u.replace("μ", "µ"))
digits = st.from_regex(r"(0|[1-9][0-9]{0,3})(\.[0-9]{1,3})?([eE][+-]?[0-9]{1,2})?", fullmatch=True)


unsigned = st.builds(tree.Number, digits, units)
numbers = st.builds(lambda n, sign: tree.Number(sign + n.digits, n.unit), unsigned, st.sampled_from(["", "-"]))

_numeric = st.one_of(
    numbers.map(tree.Exact), st.builds(tree.Spread, numbers, numbers), st.builds(tree.Range, numbers, numbers)
)
values = _numeric | _words.map(tree.Word)


def _values_but(*reserved: str) -> SearchStrategy[tree.Value]:
    return _numeric | _words.filter(lambda w: w not in reserved).map(tree.Word)


evidence = st.builds(tree.Evidence, st.sampled_from(["measured", "published", "typical", "assumed"]), texts)

# ---- expressions

_operands = _names("integral")
_leaves = st.one_of(unsigned.map(tree.Literal), _operands.map(lambda n: tree.Reference(n.text)))


def _larger(inner: SearchStrategy[tree.Expression]) -> SearchStrategy[tree.Expression]:
    count = digits.map(tree.Number)
    return st.one_of(
        st.builds(tree.Negation, inner),
        st.builds(tree.Binary, st.sampled_from("+-*/^"), inner, inner),
        st.builds(tree.Call, _operands, st.lists(inner, min_size=1, max_size=3).map(tuple)),
        st.builds(tree.Integral, inner, names, inner, inner, count),
    )


expressions: SearchStrategy[tree.Expression] = st.recursive(_leaves, _larger, max_leaves=14)
comparisons = st.builds(tree.Comparison, expressions, st.sampled_from(["<=", ">=", "<", ">"]), expressions)
_tests = st.one_of(comparisons, st.builds(tree.OnScale, _operands, names), st.builds(tree.IsWord, _operands, names))
conditions = st.builds(tree.Condition, st.lists(_tests, min_size=1, max_size=3).map(tuple))

# ---- statements

_several = st.lists(names, min_size=1, max_size=3).map(tuple)
_given = st.builds(tree.Given, names, values, st.none() | evidence)
_free = _names("material", "machine", "machines", "prefer", "pin")
_profile_items = st.one_of(
    st.builds(tree.UsesMaterial, names),
    st.builds(tree.UsesMachines, _several),
    st.builds(tree.Given, _free, _values_but("at"), st.none() | evidence),
    st.builds(tree.Want, _free, st.sampled_from(["most", "least"]), values, st.booleans()),
    st.builds(tree.Prefer, _several, st.none() | numbers),
    st.builds(tree.Pin, names, values, some_text),
)
_remedies = st.builds(tree.Remedy, st.sampled_from(["lower", "raise", "change"]), names, some_text)
_status = st.sampled_from(["textbook", "published", "practice", "assumed"])
_law_items = st.one_of(
    st.builds(tree.About, texts),
    st.builds(tree.SourceNote, _status, texts),
    st.builds(tree.When, conditions),
    st.builds(tree.Let, names, expressions, some_text),
    st.builds(tree.Require, comparisons, some_text, st.lists(_remedies, max_size=2).map(tuple)),
    st.builds(tree.Valid, comparisons, some_text),
    st.builds(tree.Notice, st.sampled_from(["caution", "prepare"]), texts, st.none() | conditions),
    st.builds(tree.Checked, texts, texts),
    st.builds(tree.Unchecked, texts),
)


def _items(items: SearchStrategy[object]) -> SearchStrategy[tuple[object, ...]]:
    return st.lists(items, max_size=4).map(tuple)


_limits = st.one_of(
    st.tuples(st.sampled_from(["up_to", "from"]), numbers),
    st.tuples(st.sampled_from(["above", "below"]), st.none()),
)
_bands = st.builds(lambda n, limit, doc: tree.Band(n, limit[0], limit[1], doc), names, _limits, some_text)
_kinds = st.sampled_from(["material", "machine", "profile"])

statements: SearchStrategy[tree.Statement] = st.one_of(
    st.builds(tree.Use, texts, st.booleans()),
    st.builds(tree.Entity, st.sampled_from(["material", "machine"]), names, st.none() | names, _items(_given)),
    st.builds(tree.Entity, st.just("profile"), names, st.none() | names, _items(_profile_items)),
    st.builds(
        tree.Quantity, names, _kinds, _names("one"), st.lists(values, max_size=2).map(tuple), st.just(()), some_text
    ),
    st.builds(tree.Quantity, names, _kinds, st.none(), st.just(()), _several, some_text),
    st.builds(
        tree.Setting, names, names, values, numbers, st.booleans(), st.sampled_from(["", "low", "high"]), some_text
    ),
    st.builds(tree.Grade, names, names, some_text, _items(_bands)),
    st.builds(tree.Merit, names, expressions, some_text),
    st.builds(tree.Law, names, _items(_law_items)),
)
files = st.lists(statements, max_size=4).map(lambda s: tree.File("x.melt", tuple(s)))

# ---- texts of words that may or may not be Melt

_words_apart = ["gap", "a.b", "2", "1.5e3", "mm", "%", "1.5 mm", '"text"', '"a text"', '"open', "#"]
_signs = ["{", "}", "(", ")", "+", "-", "*", "/", "^", "<=", ">", "=", ":", ",", "±", "+-", ".."]
_strays = [".", "$", "\\", "é", "\u2028", "\ufeff", "\t", "\r"]
_soup_words = st.sampled_from([*KEYWORDS, *_words_apart, *_signs, *_strays])
_gaps = st.sampled_from([" ", " ", " ", "", "\n", "\n  ", "\r\n", "\n\n"])
soups = st.lists(st.tuples(_soup_words, _gaps), max_size=40).map(lambda parts: "".join(w + g for w, g in parts))
