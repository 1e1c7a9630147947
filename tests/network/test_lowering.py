"""Lowering: nodes are shared, products keep their value, and the right laws and values are taken."""

from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.meaning.model import Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from meltwright.solving.evaluating import Evaluator
from meltwright.solving.tape import Tape
from meltwright.text.diagnostic import Diagnostic

from tests.solving.networks import Formula, Input, Setting, Small, formulas

Lower = Callable[..., tuple[Model, Network | None, list[Diagnostic]]]


@pytest.fixture(scope="module")
def lowered(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lower]:
    folder = tmp_path_factory.mktemp("lowering")

    def run(text: str, machine: str = "mach") -> tuple[Model, Network | None, list[Diagnostic]]:
        path = folder / "case.melt"
        path.write_text(text, encoding="utf-8")
        model, found, _ = check_file(path)
        assert model is not None, found
        faults: list[Diagnostic] = []
        return model, lower(model, model.profiles["p"], machine, faults), faults

    yield run


HEAD = """
quantity u of machine : number in -100 .. 100 "u"
quantity kind of machine : one of plain, fancy "k"
setting x : number in 1 .. 9 step 1 "x"
material stuff {
}
profile p {
  material stuff
  machines mach, other
}
machine mach {
  u 2 .. 3
  kind plain
}
machine other from mach {
  u 4
  kind fancy
}
"""


def law(name: str, body: str) -> str:
    return f'law {name} {{\n about "a"\n source textbook "t"\n{body}\n}}\n'


def network(lowered: Lower, text: str, machine: str = "mach") -> Network:
    _, found, faults = lowered(HEAD + text, machine)
    assert found is not None, faults
    return found


def names(found: Network) -> list[str]:
    return [r.name for r in found.requirements]


# ---- sharing


def test_what_says_the_same_is_one_node(lowered: Lower) -> None:
    found = network(lowered, law("a", "require exp(u * x) <= 1") + law("b", "require 2 * exp(u * x) <= 3"))
    operators = [n.operator for n in found.nodes]
    assert operators.count("exp") == 1
    assert operators.count("input") == 1
    assert operators.count("setting") == 1


def test_a_let_is_lowered_once_and_shared(lowered: Lower) -> None:
    found = network(lowered, law("a", "let t = u + x\nrequire t <= 5\nrequire t * t <= 30"))
    assert [n.operator for n in found.nodes].count("add") == 1
    assert found.derived["t"] in found.nodes[found.requirements[0].slack].arguments


def test_arguments_stand_before_their_node(lowered: Lower) -> None:
    found = network(lowered, law("a", "require max(u, x, 3) - min(x, 2) / exp(u) <= x^2.5"))
    assert all(a < i for i, n in enumerate(found.nodes) for a in n.arguments)


# ---- products


def test_a_factor_that_cancels_is_gone(lowered: Lower) -> None:
    found = network(lowered, law("a", "let area = x * u\nrequire (3 * area) / (2 * area) <= 2"))
    left = found.requirements[0].left
    assert Tape(found).depends[left] == 0
    assert float(Tape(found).values([np.array([1.0]), np.array([2.0])])[left][0]) == 1.5


def test_a_factor_that_repeats_stands_once(lowered: Lower) -> None:
    found = network(lowered, law("a", "require x * u * x <= 2"))
    node = found.nodes[found.requirements[0].left]
    assert node.operator == "mul"
    assert sorted(found.nodes[a].operator for a in node.arguments) == ["input", "powi"]


CASE = Small(
    (Setting("x", 1.25, 1.0, 6, ""), Setting("y", 0.75, 0.5, 6, "")),
    (Input("u", 2.125, 3.5), Input("v", -2.75, -1.5)),
    (),
    (),
)


def _products() -> st.SearchStrategy[Formula]:
    leaves = st.sampled_from([Formula(n, n) for n in "xyuv"] + [Formula("2", "2.0"), Formula("(x + u)", "(x + u)")])

    def grow(inner: st.SearchStrategy[Formula]) -> st.SearchStrategy[Formula]:
        pairs = st.tuples(inner, inner)
        return st.one_of(
            pairs.map(lambda p: Formula(f"({p[0].melt} * {p[1].melt})", f"({p[0].python} * {p[1].python})")),
            pairs.map(lambda p: Formula(f"({p[0].melt} / {p[1].melt})", f"({p[0].python} / {p[1].python})")),
            st.tuples(inner, st.integers(-3, 3)).map(
                lambda p: Formula(
                    f"({p[0].melt})^({p[1]})" if p[1] < 0 else f"({p[0].melt})^{p[1]}",
                    f"(({p[0].python}) ** {float(p[1])})",
                )
            ),
        )

    return st.recursive(leaves, grow, max_leaves=12)


def _agree(lowered: Lower, formula: Formula) -> None:
    """Compare the tape with the evaluator of the checked text and with the formula in Python, at all points."""
    small = Small(CASE.settings, CASE.inputs, ((formula, Formula("1e9", "1e9")),), ())
    model, found, faults = lowered(small.text)
    assert found is not None, faults
    points = small.points()
    values = {s.name: np.array([s.values[p[k]] for p in points]) for k, s in enumerate(small.settings)} | {
        i.name: np.full(len(points), i.low) for i in small.inputs
    }
    order = [s.decl.name for s in found.settings] + [i.given.name for i in found.inputs]
    with np.errstate(all="ignore"):
        lowered_values = Tape(found).values([values[n] for n in order])[found.requirements[0].left]
        expected = Evaluator({}, values).of(next(iter(model.laws.values())).requires[0].comparison.left)
    plain = formula.of(values)
    rows = np.ones(len(points))
    expected, plain, lowered_values = expected * rows, plain * rows, lowered_values * rows
    assert expected == pytest.approx(plain, rel=1e-9, nan_ok=True)
    # A factor that cancels is never undefined in the network; elsewhere both must agree.
    sound = np.isfinite(expected)
    assert lowered_values[sound] == pytest.approx(expected[sound], rel=1e-9)


EASY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@EASY
@given(_products())
def test_products_keep_their_value(lowered: Lower, formula: Formula) -> None:
    _agree(lowered, formula)


@EASY
@given(formulas(["x", "y", "u", "v"], 4))
def test_any_expression_keeps_its_value(lowered: Lower, formula: Formula) -> None:
    _agree(lowered, formula)


def test_an_integral_keeps_its_value(lowered: Lower) -> None:
    # The integral of t^2 from 0 to 3 is 9; two points are exact.
    found = network(lowered, law("a", "require integral(t^2 * u for t from 0 to 3 in 2 points) <= x"))
    values = Tape(found).values([np.array([1.0]), np.array([2.0])])
    assert float(np.ravel(values[found.requirements[0].left])[0]) == pytest.approx(18.0, rel=1e-14)


# ---- which laws apply


@pytest.mark.parametrize(
    ("condition", "mach", "other"),
    [
        ("u > 3", False, True),  # mach may have 3 exactly, and is never above it
        ("u >= 3", True, True),
        ("u < 2", False, False),
        ("u <= 2.5", True, False),  # for some values of the range
        ("kind is fancy", False, True),
        ("kind is plain and u < 4", True, False),
    ],
)
def test_when_looks_at_the_values_of_the_machine(lowered: Lower, condition: str, mach: bool, other: bool) -> None:
    text = f'law a {{\n about "a"\n source textbook "t"\n when {condition}\n require x <= 3\n}}\n'
    for machine, applies in (("mach", mach), ("other", other)):
        assert names(network(lowered, text, machine)) == (["a"] if applies else [])


def test_of_two_derivations_the_one_that_applies_is_taken(lowered: Lower) -> None:
    text = (
        'law a {\n about "a"\n source textbook "t"\n when kind is plain\n let t = 10 * x\n}\n'
        'law b {\n about "a"\n source textbook "t"\n when kind is fancy\n let t = 20 * x\n}\n'
        + law("c", "require t <= 60")
    )
    for machine, factor in (("mach", 10.0), ("other", 20.0)):
        found = network(lowered, text, machine)
        x = [np.array([2.0])] * (len(found.settings) + len(found.inputs))
        assert float(Tape(found).values(x)[found.derived["t"]][0]) == factor * 2


def test_two_derivations_at_once_are_reported(lowered: Lower) -> None:
    _, found, faults = lowered(HEAD + law("a", "let t = x") + law("b", "let t = u") + law("c", "require t <= 1"))
    assert found is None
    assert [f.code for f in faults] == ["M407"]


def test_a_given_value_wins_over_a_let(lowered: Lower) -> None:
    text = 'quantity stiff of machine : number in 0 .. 10 "s"\n' + law("a", "let stiff = 7 * u\nrequire stiff <= x")
    derived = network(lowered, text)
    assert "stiff" in derived.derived
    given_text = (HEAD + text).replace("  kind plain\n", "  kind plain\n  stiff 5\n")
    _, found, faults = lowered(given_text)
    assert found is not None, faults
    assert "stiff" not in found.derived
    assert [i.given.name for i in found.inputs] == ["stiff"]
    assert found.inputs[0].stated == 5.0


def test_a_pin_leaves_one_lattice_index(lowered: Lower) -> None:
    text = (HEAD + law("a", "require x <= 8")).replace(
        "  machines mach, other\n", '  machines mach\n  pin x = 4 because "so"\n'
    )
    _, found, _ = lowered(text)
    assert found is not None
    assert (found.settings[0].first, found.settings[0].last) == (3, 3)


def test_relations_are_turned_the_same_way(lowered: Lower) -> None:
    found = network(lowered, law("a", "require x >= u\nrequire u <= x"))
    one, two = found.requirements
    assert (one.left, one.right, one.slack) == (two.left, two.right, two.slack)
