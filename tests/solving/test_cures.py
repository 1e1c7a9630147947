"""Changes that cure a refusal: each is applied to the text and compiled again, the nearest ones against brute force."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from meltwright.compiling import compile_file
from meltwright.meaning.checking import check_file
from meltwright.meaning.model import Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from meltwright.solving.answering import Refusal, solve
from meltwright.solving.conflict import conflicts
from meltwright.solving.curing import Cure, better_known, cures
from meltwright.solving.trying import Case

from tests.solving.applying import changed, line

EFFORT = 1000


class Bench:
    """A folder to compile texts in."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def prepared(self, text: str, machine: str = "mach") -> tuple[Model, Network]:
        self.path.write_text(text, encoding="utf-8")
        model, faults, _ = check_file(self.path)
        assert model is not None, faults
        network = lower(model, model.profiles["p"], machine, [])
        assert network is not None
        return model, network

    def cures(self, text: str, machine: str = "mach", held: tuple[str, ...] = ()) -> list[Cure]:
        model, network = self.prepared(text, machine)
        _, refused = solve(network)
        assert isinstance(refused, Refusal)
        found, _ = conflicts(network, refused, EFFORT)
        return cures(Case(model, network.profile, (machine,), held), [network], [found], EFFORT)

    def better_known(self, text: str) -> list[Cure]:
        return better_known(*self.prepared(text), EFFORT)

    def codes(self, text: str, machine: str = "") -> list[str]:
        self.path.write_text(text, encoding="utf-8")
        found = compile_file(self.path, machine)
        return [d.code for d in found.diagnostics if d.code != "M409"] or ["none"] * (not found.solutions)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("cures") / "case.melt")


HEAD = """
quantity free_length of machine : length in 0 .. 40 mm "invented"
quantity stuff_strength of material : number in 0 .. 100 "invented"
quantity lining of machine : one of none, soft "invented"
setting x : number in 0 .. 100 step 1 "invented"
setting h : number in 0 .. 100 step 5 given "invented"
grade gloss by shine "invented" {
  bright from 30 "invented"
  dull   from 20 "invented"
  dark   below   "invented"
}
merit pace = 2 * x "invented"
law making { about "a" source textbook "t"
  let shine = 40 - x
}
"""


def text(laws: str, machine: str = "", material: str = "", profile: str = "", more: str = "") -> str:
    return (
        (
            HEAD
            + laws
            + f"\nmaterial stuff {{\n{material}\n}}\nmachine mach {{\n{machine}\n}}\n{more}"
            + f"profile p {{\n  material stuff\n  machines mach\n  h 50\n{profile}\n}}\n"
        )
        .replace("{ about", "{\n  about")
        .replace('"a" source', '"a"\n  source')
    )


def law(require: str, remedies: str = "", name: str = "limit", when: str = "") -> str:
    parts = ['  about "a"', '  source textbook "t"', when, f"  require {require}", '    else "too much"', remedies]
    return "\n".join([f"law {name} {{", *parts, "}\n"])


GAP = law("x * free_length <= 60 mm", '    remedy lower free_length "close it"')


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        # 20 * free_length <= 60 mm: 3 mm at most; x = 6 60 mm / 10 mm: 6, whose pace is 12.
        (
            text(GAP, "  free_length 10 mm", profile="  pace at least 40"),
            ["pace at least 12", "free_length 3 mm"],
        ),
        # The range keeps its width: 2.5 + 0.5 mm. Against 10.5 mm only x = 5 is left.
        (
            text(GAP, "  free_length 10 ± 0.5 mm", profile="  pace at least 40"),
            ["pace at least 10", "free_length 2.5 ± 0.5 mm"],
        ),
        (
            text(GAP, "  free_length 9.5 .. 10.5 mm", profile="  pace at least 40"),
            ["pace at least 10", "free_length 2 .. 3 mm"],
        ),
        (
            text(GAP, "  free_length 10 mm ± 5 %", profile="  pace at least 40"),
            ["pace at least 10", "free_length 2.5 ± 0.5 mm"],
        ),
        # shine = 40 - x: bright, from 30, leaves x up to 10; dull, from 20, up to 20.
        (
            text("", profile='  gloss at least bright\n  pin x = 20 because "so"'),
            ["gloss at least dull", "pin x = 10"],
        ),
        # To ask for the last band is to ask for nothing: the want is left out.
        (text(law("x <= 90"), profile='  gloss at least dull\n  pin x = 35 because "so"'), ["", "pin x = 20"]),
        # A setting that must be given is moved along its lattice of 5, not left free.
        (text(law("x + h <= 62"), profile="  x at least 20"), ["x at least 12", "h 40"]),
    ],
)
def test_the_nearest_values_by_hand(bench: Bench, source: str, expected: list[str]) -> None:
    found = bench.cures(source)
    assert sorted(line(c).replace(' because "changed"', "") for cure in found for c in cure.changes) == sorted(expected)
    for cure in found:
        assert len(cure.changes) == 1
        assert bench.codes(changed(source, cure)) == []


def test_cures_come_the_smallest_first(bench: Bench) -> None:
    found = bench.cures(text(GAP, "  free_length 4 mm", profile="  pace at least 40"))
    assert [line(c) for cure in found for c in cure.changes] == ["free_length 3 mm", "pace at least 30"]
    assert [cure.size for cure in found] == pytest.approx([0.25, 0.25])


def test_a_law_may_stop_to_apply(bench: Bench) -> None:
    """Only at 0 mm is the law without effect; its other values are all refused."""
    source = text(
        law("x <= 10", "    remedy lower free_length", when="  when free_length > 0 mm"),
        "  free_length 10 mm",
        profile="  x at least 20",
    )
    found = bench.cures(source)
    assert {line(c) for cure in found for c in cure.changes} == {"free_length 0 mm", "x at least 10"}


def test_another_word(bench: Bench) -> None:
    source = text(
        law("x <= 10", '    remedy change lining "take another"', when="  when lining is soft"),
        "  lining soft",
        profile="  x at least 20",
    )
    found = bench.cures(source)
    assert {line(c) for cure in found for c in cure.changes} == {"lining none", "x at least 10"}
    for cure in found:
        assert bench.codes(changed(source, cure)) == []


def test_a_setting_left_to_the_search_is_no_cure(bench: Bench) -> None:
    source = text(law("x <= 10", "    remedy raise x"), profile="  x at least 20")
    assert {line(c) for cure in bench.cures(source) for c in cure.changes} == {"x at least 10"}


def test_a_change_that_breaks_what_else_stands_is_none(bench: Bench) -> None:
    """The want needs free_length at 3 mm at most, another law at 5 mm at least: only the want can give."""
    source = text(GAP + law("free_length >= 5 mm", name="other"), "  free_length 10 mm", profile="  pace at least 40")
    assert {line(c) for cure in bench.cures(source) for c in cure.changes} == {"pace at least 12"}


def test_a_pair_where_no_single_change_does(bench: Bench) -> None:
    """Two conflicts without a common line: each needs a change of its own."""
    source = text(law("x <= 10", name="one") + law("h <= 30", name="two"), profile='  pin x = 20 because "so"')
    found = bench.cures(source)
    assert found
    best = found[0]
    assert {line(c).replace(' because "changed"', "") for c in best.changes} == {"pin x = 10", "h 30"}
    assert best.size == pytest.approx(0.5 + 0.4)
    for cure in found:
        assert len(cure.changes) == 2
        assert bench.codes(changed(source, cure)) == []
        for change in cure.changes:
            assert "M503" in bench.codes(changed(source, Cure((change,))))


def test_no_pair_is_made_up(bench: Bench) -> None:
    """Two laws that contradict each other have no line of the author's in them."""
    source = text(law("x <= 10", name="one") + law("x >= 20", name="two"))
    assert bench.cures(source) == []


def test_a_cure_says_which_other_machine_it_harms(bench: Bench) -> None:
    """A pin at 5 holds on a machine that needs x <= 5; the one that needs x >= 8 is refused, and cured by 8."""
    sources = text(
        law("x >= free_length / 1 mm", name="one") + law("x <= 2 * free_length / 1 mm", name="two"),
        "  free_length 8 mm",
        more="machine small {\n  free_length 3 mm\n}\n",
        profile='  pin x = 5 because "so"',
    ).replace("machines mach", "machines mach, small")
    (cure,) = bench.cures(sources, held=("small",))
    assert [line(c) for c in cure.changes] == ['pin x = 8 because "changed"']
    assert cure.harms == ("small",)


# ---- ranges


def test_what_has_to_be_known_better(bench: Bench) -> None:
    """X * free_length <= 60 mm with x = 5 fixed leaves free_length up to 12 mm: 10 ± 2 mm of 10 ± 4 mm."""
    source = text(GAP, "  free_length 10 ± 4 mm", profile='  pin x = 5 because "so"')
    assert bench.codes(source) == ["M504"]
    (cure,) = bench.better_known(source)
    assert cure.changes[0].rung.text == "free_length 10 ± 2 mm"
    assert bench.codes(source.replace("10 ± 4 mm", "10 ± 2 mm")) == []
    assert bench.codes(source.replace("10 ± 4 mm", "10 ± 2.1 mm")) == ["M504"]


def test_the_input_that_must_be_known_better_by_least_comes_first(bench: Bench) -> None:
    """30 <= stuff_strength - x * free_length / 1 mm at x = 1: 50 - 10 with 6 + 5 to spare of 10."""
    source = text(
        law("30 + x * free_length / 1 mm <= stuff_strength"),
        "  free_length 10 ± 5 mm",
        "  stuff_strength 50 ± 6",
        profile='  pin x = 1 because "so"',
    )
    assert bench.codes(source) == ["M504"]
    found = bench.better_known(source)
    assert [c.changes[0].rung.text for c in found] == ["stuff_strength 50 ± 5", "free_length 10 ± 4 mm"]


def test_ranges_that_must_be_known_better_together(bench: Bench) -> None:
    source = text(
        law("x * free_length <= 52 mm") + law("stuff_strength >= 48", name="other"),
        "  free_length 10 ± 1 mm",
        "  stuff_strength 50 ± 4",
        profile='  pin x = 5 because "so"',
    )
    assert bench.codes(source) == ["M504"]
    (cure,) = bench.better_known(source)
    # Nine twentieths of both, rounded down to a tenth: 0.45 mm becomes 0.4 mm, which is what 52 mm leaves.
    assert cure.changes[0].rung.text == "free_length 10 ± 0.4 mm and stuff_strength 50 ± 1.8"
    new = source.replace("10 ± 1 mm", "10 ± 0.4 mm").replace("50 ± 4", "50 ± 1.8")
    assert bench.codes(new) == []


# ---- random texts


@st.composite
def refused_texts(draw: st.DrawFn) -> str:
    """Texts with wants, a pin, a given setting and inputs that have ranges, all of which may be in the way."""
    coefficient = st.integers(1, 4)
    laws = law(
        f"{draw(coefficient)} * x + {draw(coefficient)} * free_length / 1 mm <= {draw(st.integers(20, 90))}",
        "    remedy lower free_length",
        "one",
    )
    laws += law(
        f"x + h <= {draw(coefficient)} * stuff_strength",
        "    remedy raise stuff_strength\n    remedy lower free_length",
        "two",
    )
    width = draw(st.integers(0, 3))
    spread = f" ± {width} mm" if width else " mm"
    profile = f"  pace at least {draw(st.integers(1, 90))}\n"
    if draw(st.booleans()):
        profile += f"  gloss at least {draw(st.sampled_from(['bright', 'dull']))}\n"
    if draw(st.booleans()):
        profile += f'  pin x = {draw(st.integers(5, 40))} because "so"\n'
    return text(
        laws,
        f"  free_length {draw(st.integers(3, 30))}{spread}",
        f"  stuff_strength {draw(st.integers(10, 60))} ± {draw(st.integers(1, 5))}",
        profile,
    )


@settings(max_examples=12, suppress_health_check=list(HealthCheck))
@given(source=refused_texts())
def test_every_cure_compiles_and_the_next_nearer_value_does_not(source: str, bench: Bench) -> None:
    _, network = bench.prepared(source)
    assume(isinstance(solve(network)[1], Refusal))
    for cure in bench.cures(source):
        new = changed(source, cure)
        assert bench.codes(new) == [], new
        (first, *others) = cure.changes
        if others:
            continue
        at = first.lever.rungs.index(first.rung)
        if at and first.lever.steady:
            nearer = Cure((type(first)(first.lever, first.lever.rungs[at - 1], False),))
            assert set(bench.codes(changed(source, nearer))) & {"M503", "M504"}
