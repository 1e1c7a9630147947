"""Lowering: nodes are shared, products keep their value, and the right laws and values are taken."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Amount, Model, PinDecl, ProfileDecl
from meltwright.meaning.units import UNITLESS
from meltwright.network.graph import Network
from meltwright.network.lowering import lower, lower_all
from meltwright.solving.evaluating import Evaluator
from meltwright.solving.tape import Tape
from meltwright.text.diagnostic import Diagnostic
from meltwright.text.source import NOWHERE

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


# ---- many at once

SHARED = """
quantity u of machine : number in -100 .. 100 "u"
quantity v of machine : number in -100 .. 100 "v"
quantity hard of material : hardness in 0 .. 100 shore_a, 0 .. 100 shore_d "h"
quantity kind of machine : one of plain, fancy "k"
quantity room of profile : length in 1 mm .. 1 m "r"
setting x : number in 1 .. 9 step 1 "x"
setting y : number in 1 .. 9 step 1 "y"
grade worth by load "w" {
  good up to 5
  bad above
}
merit most_x = x * u
law base {
  about "a"
  source textbook "t"
  let load = x + u
  require load <= 30
  caution "fancy" where kind is fancy
  caution "loaded" where load > 3 and kind is plain
}
law when_wide {
  about "a"
  source textbook "t"
  when u > 3
  require y <= v * 9
}
law of_kind {
  about "a"
  source textbook "t"
  when kind is fancy and v >= 0
  let load2 = y * v
  require load2 <= 80
}
law of_hardness {
  about "a"
  source textbook "t"
  when hard on shore_a
  let soft = reading(hard) / 10
  require x <= soft + 20
}
law of_room {
  about "a"
  source textbook "t"
  when room > 5 mm
  require room <= 0.9 m
}
"""


@st.composite
def _fleets(draw: st.DrawFn) -> str:
    """Write materials, machines that may lack a value or have it for a derived name, and profiles on all of them."""
    number = st.integers(-3, 9).map(str) | st.tuples(st.integers(-3, 3), st.integers(3, 9)).map(
        lambda p: f"{p[0]} .. {p[1]}"
    )
    parts = []
    for name in ("soft", "stiff"):
        parts.append(
            f"material {name} {{\n  hard {draw(st.integers(1, 90))} {draw(st.sampled_from(['shore_a', 'shore_d']))}\n}}"
        )
    machines = [f"m{k}" for k in range(draw(st.integers(1, 6)))]
    for name in machines:
        lines = [f"  u {draw(number)}"] * draw(st.sampled_from([1, 1, 1, 0]))
        lines += [f"  v {draw(number)}"] * draw(st.sampled_from([1, 1, 1, 0]))
        lines += [f"  kind {draw(st.sampled_from(['plain', 'fancy']))}"]
        parts.append("\n".join([f"machine {name} {{", *lines, "}"]))
    for name in ("p", "q"):
        lines = [f"  material {draw(st.sampled_from(['soft', 'stiff']))}", f"  machines {', '.join(machines)}"]
        lines += [f"  room {draw(st.integers(1, 20))} mm"] * draw(st.sampled_from([1, 1, 1, 0]))
        lines += [f'  pin x = {draw(st.integers(1, 9))} because "so"'] * draw(st.integers(0, 1))
        lines += draw(
            st.sampled_from([[], ["  worth at most good"], ["  worth at most good if possible"], ["  y at least 2"]])
        )
        lines += draw(st.sampled_from([[], ["  prefer most_x"]]))
        parts.append("\n".join([f"profile {name} {{", *lines, "}"]))
    return SHARED + "\n".join(parts) + "\n"


def _pairs(model: Model) -> list[tuple[ProfileDecl, str]]:
    return [(p, m.text) for p in model.profiles.values() for m in p.machines]


def _structure(found: Network) -> tuple[object, ...]:
    """Give what networks of one structure share."""
    shared = (found.nodes, found.requirements, found.merits, found.validities, found.notices)
    return (*shared, *(tuple(d.items()) for d in (found.derived, found.grades)), tuple(found.consulted))


@EASY
@given(_fleets())
def test_together_as_alone(lowered: Lower, text: str) -> None:
    model = lowered(text, "m0")[0]
    asked = _pairs(model)
    # A profile with other values and pins, as a question with "what if" makes them.
    first = asked[0][0]
    given_u = next((m.values["u"] for m in model.machines.values() if "u" in m.values), None)
    if given_u is not None:
        asked += [(replace(first, values={**first.values, "u": given_u}), m) for _, m in asked[:2]]
    asked.append((replace(first, pins={}), asked[0][1]))
    alone: list[Diagnostic] = []
    together: list[Diagnostic] = []
    expected = [lower(model, p, m, alone) for p, m in asked]
    found = lower_all(model, asked, together)
    assert found == expected
    assert together == alone
    if not alone:
        # What is told apart here is told apart by the key; it may tell more apart, such as another pin.
        shared = {id(f.nodes): _structure(f) for f in found if f is not None}
        assert all(_structure(f) == shared[id(f.nodes)] for f in found if f is not None)


def test_machines_with_other_numbers_share_their_structure(lowered: Lower) -> None:
    machines = "".join(f"machine m{k} {{\n  u {k + 4}\n  v {k} .. 9\n  kind plain\n}}\n" for k in range(4))
    text = SHARED + machines + "material soft {\n  hard 80 shore_a\n}\n"
    text += "profile p {\n  material soft\n  machines m0, m1, m2, m3\n  room 10 mm\n"
    text += "  worth at most good\n  prefer most_x\n}\n"
    model = lowered(text, "m0")[0]
    pinned = replace(model.profiles["p"], pins={"x": PinDecl("x", Amount(2.0, 2.0, 2.0, UNITLESS, "2"), "so", NOWHERE)})
    first, *others, fixed = [n for n in lower_all(model, [*_pairs(model), (pinned, "m1")], []) if n is not None]
    for other in others:
        for part in (
            "nodes",
            "settings",
            "requirements",
            "merits",
            "validities",
            "notices",
            "derived",
            "lets",
            "grades",
        ):
            assert getattr(other, part) is getattr(first, part)
        assert [i.given.name for i in other.inputs] == [i.given.name for i in first.inputs]
    stated = [{i.given.name: (i.stated, i.given.entity) for i in n.inputs} for n in (first, *others)]
    assert [(s["u"], s["v"]) for s in stated] == [((k + 4.0, f"m{k}"), (k + (9.0 - k) / 2, f"m{k}")) for k in range(4)]
    # Another pin is another structure; the lattice of the one that is pinned is a point.
    assert fixed.nodes is not first.nodes
    assert (fixed.settings[0].first, fixed.settings[0].last) == (1, 1)


def test_pins_at_other_values_share_their_structure(lowered: Lower) -> None:
    model = lowered(
        (HEAD + law("a", "require x <= 8")).replace("mach, other\n", 'mach, other\n  pin x = 4 because "so"\n')
    )[0]
    profile = model.profiles["p"]
    asked = [
        (replace(profile, pins={"x": replace(profile.pins["x"], amount=Amount(v, v, v, UNITLESS, str(v)))}), "mach")
        for v in (2.0, 5.0)
    ]
    one, two = [n for n in lower_all(model, asked, []) if n is not None]
    assert one.nodes is two.nodes
    assert [(s.first, s.last) for s in (one.settings[0], two.settings[0])] == [(1, 1), (4, 4)]
    assert one.profile is asked[0][0] and two.profile is asked[1][0]


@pytest.mark.parametrize("demo", ["stiff_bracket", "watch_strap"])
def test_demonstrations_together_as_alone(demo: str) -> None:
    model, found, _ = check_file(library_folder() / "demos" / f"{demo}.melt")
    assert model is not None, found
    faults: list[Diagnostic] = []
    expected = [lower(model, p, m, faults) for p, m in _pairs(model)]
    together = lower_all(model, _pairs(model), faults)
    assert together == expected
    assert not faults
    structures = {repr(_structure(n)) for n in together if n is not None}
    assert len({id(n.nodes) for n in together if n is not None}) == len(structures)
