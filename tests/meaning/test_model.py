"""What good texts mean: values and their ranges, inheritance and its trail, evidence, scales, grades and wants."""

from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.meaning.model import Amount, GivenValue, Model
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from meltwright.text.diagnostic import Diagnostic, write

TRADE = """\
quantity diameter of material : length in 1 .. 4 mm
quantity hardness of material : hardness in 10 .. 98 shore_a, 20 .. 85 shore_d
quantity softening of material : temperature in -40 .. 300 degC
quantity pull of material : force
quantity share of material : share in 0 .. 1
quantity modulus of material : pressure
quantity gap of machine : length in 0 .. 40 mm "Length without support."
quantity liner of machine : one of none, fluoropolymer
quantity copies of profile : number in 1 .. 100
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given
setting heat.nozzle : temperature in 180 .. 260 degC step 1 K rather low "Nozzle temperature."
law strings {
  about "a"
  source textbook "x"
  let thickness = layer.height / 10
  let healing = absolute(heat.nozzle) / 600 K
}
grade stringing by thickness {
  clean up to 0.005 mm "not seen"
  hair  up to 0.03 mm
  web   above
}
grade bonding by healing {
  fused from 0.9
  sound from 0.7
  loose below
}
merit speed = 1 / thickness
"""
RUB = "material rub {\n  diameter 1.75 mm\n}\n"
TUBE = "machine tube {\n  gap 6 mm\n}\n"


def model_of(text: str, folder: Path) -> Model:
    path = folder / "main.melt"
    path.write_text(text, encoding="utf-8")
    model, faults, sources = check_file(path)
    assert model is not None and not faults, write(faults, sources)
    return model


def given_value(line: str, folder: Path, owner: str = "material") -> GivenValue:
    model = model_of(f"{TRADE}{owner} x {{\n  {line}\n}}\n", folder)
    (value,) = (model.materials if owner == "material" else model.machines)["x"].values.values()
    return value


def amount(line: str, folder: Path) -> Amount:
    found = given_value(line, folder).amount
    assert found is not None
    return found


def network_of(text: str, folder: Path, machine: str = "tube") -> Network:
    model = model_of(text, folder)
    faults: list[Diagnostic] = []
    network = lower(model, next(iter(model.profiles.values())), machine, faults)
    assert network is not None, write(faults, model.sources)
    return network


def job(*lines: str) -> str:
    return "profile job {\n  material rub\n  machines tube\n  layer.height 0.2 mm\n" + "".join(
        f"  {line}\n" for line in lines
    ) + "}\n"  # fmt: skip


# ---- values


@pytest.mark.parametrize(
    ("line", "stated", "low", "high", "text"),
    [
        ("diameter 1.75 mm", 1.75e-3, 1.75e-3, 1.75e-3, "1.75 mm"),
        ("diameter 1.75 ± 0.05 mm", 1.75e-3, 1.70e-3, 1.80e-3, "1.75 ± 0.05 mm"),
        ("diameter 1.75 +- 0.05 mm", 1.75e-3, 1.70e-3, 1.80e-3, "1.75 ± 0.05 mm"),
        ("diameter 1.75 mm ± 50 um", 1.75e-3, 1.70e-3, 1.80e-3, "1.75 mm ± 50 um"),
        ("diameter 1.5 .. 2 mm", 1.75e-3, 1.5e-3, 2e-3, "1.5 .. 2 mm"),
        ("diameter 1500 um .. 2 mm", 1.75e-3, 1.5e-3, 2e-3, "1500 um .. 2 mm"),
        ("diameter 2 mm ± 10 %", 2e-3, 1.8e-3, 2.2e-3, "2 mm ± 10 %"),
        ("pull 20 N ± 10 %", 20, 18, 22, "20 N ± 10 %"),
        ("pull -20 N ± 10 %", -20, -22, -18, "-20 N ± 10 %"),
        ("share 50 %", 0.5, 0.5, 0.5, "50 %"),
        ("share 50 % ± 5 %", 0.5, 0.45, 0.55, "50 % ± 5 %"),
        ("share 0.5 ± 0.05", 0.5, 0.45, 0.55, "0.5 ± 0.05"),
        ("softening 90 degC", 363.15, 363.15, 363.15, "90 degC"),
        ("softening -10 degC", 263.15, 263.15, 263.15, "-10 degC"),
        ("softening 90 ± 5 degC", 363.15, 358.15, 368.15, "90 ± 5 degC"),
        ("softening 90 degC ± 5 K", 363.15, 358.15, 368.15, "90 degC ± 5 K"),
        ("softening 90 degC ± 5 degC", 363.15, 358.15, 368.15, "90 degC ± 5 degC"),
        ("softening -10 .. 20 degC", 278.15, 263.15, 293.15, "-10 .. 20 degC"),
        ("hardness 86 ± 2 shore_a", 86, 84, 88, "86 ± 2 shore_a"),
        ("hardness 40 .. 50 shore_d", 45, 40, 50, "40 .. 50 shore_d"),
    ],
)
def test_values(line: str, stated: float, low: float, high: float, text: str, tmp_path: Path) -> None:
    found = amount(line, tmp_path)
    assert (found.stated, found.low, found.high) == pytest.approx((stated, low, high), rel=1e-12)
    assert found.text == text
    assert found.exact == (low == high)


def test_numbers_are_read_without_rounding_twice(tmp_path: Path) -> None:
    assert amount("diameter 1.1 mm", tmp_path).stated == 0.0011
    assert amount("diameter 1100 um", tmp_path).stated == 0.0011


@given(st.integers(11, 39), st.integers(0, 9))
def test_a_tolerance_is_the_range_it_spans(tenths: int, hundredths: int) -> None:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as name:
        spread = amount(f"diameter {tenths / 10} ± {hundredths / 100} mm", Path(name))
        low, high = (10 * tenths - hundredths) / 100, (10 * tenths + hundredths) / 100
        span = amount(f"diameter {low} .. {high} mm", Path(name))
    assert (spread.low, spread.high, spread.stated) == pytest.approx((span.low, span.high, span.stated), rel=1e-12)


def test_believable_ranges_include_their_ends(tmp_path: Path) -> None:
    assert amount("diameter 1 .. 4 mm", tmp_path).high == pytest.approx(4e-3)
    assert amount("hardness 98 shore_a", tmp_path).stated == 98
    assert amount("hardness 20 .. 85 shore_d", tmp_path).unit.scale == "shore_d"


def test_words(tmp_path: Path) -> None:
    value = given_value("liner fluoropolymer", tmp_path, "machine")
    assert (value.word, value.amount, value.text) == ("fluoropolymer", None, "fluoropolymer")


def test_evidence(tmp_path: Path) -> None:
    value = given_value('diameter 1.75 mm measured "calliper"', tmp_path)
    assert (value.evidence.kind, value.evidence.text, value.evidence.stated) == ("measured", "calliper", True)
    assumed = given_value("diameter 1.75 mm", tmp_path)
    assert (assumed.evidence.kind, assumed.evidence.stated) == ("assumed", False)


def test_a_library_value_must_have_evidence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = tmp_path / "installed"
    library.mkdir()
    (library / "stock.melt").write_text(TRADE + RUB, encoding="utf-8")
    monkeypatch.setattr("meltwright.meaning.loading.library_folder", lambda: library)
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "main.melt").write_text('use library "stock"\nmaterial mine from rub {\n  pull 3 N\n}\n', encoding="utf-8")
    model, faults, _ = check_file(shop / "main.melt")
    assert model is None
    assert [(f.code, f.message, f.span.file) for f in faults] == [
        ("M223", "diameter has no evidence", "library/stock.melt")
    ]


# ---- declarations


def test_a_setting_lies_on_its_lattice(tmp_path: Path) -> None:
    setting = model_of(TRADE, tmp_path).settings["layer.height"]
    assert (setting.last, setting.text(0), setting.text(setting.last)) == (55, "0.05", "0.60")
    assert (setting.given, setting.rather, setting.unit.symbol) == (True, "", "mm")
    nozzle = model_of(TRADE, tmp_path).settings["heat.nozzle"]
    assert (nozzle.last, nozzle.text(40), nozzle.rather, nozzle.doc) == (80, "220", "low", "Nozzle temperature.")


def test_a_quantity_keeps_what_was_said_of_it(tmp_path: Path) -> None:
    model = model_of(TRADE, tmp_path)
    assert model.quantities["gap"].doc == "Length without support."
    assert [unit.scale for _, _, unit in model.quantities["hardness"].ranges] == ["shore_a", "shore_d"]
    assert model.quantities["liner"].words == ("none", "fluoropolymer")


def test_grades(tmp_path: Path) -> None:
    grades = model_of(TRADE, tmp_path).grades
    assert [(b.name, b.limit) for b in grades["stringing"].bands] == [("clean", 5e-6), ("hair", 3e-5), ("web", None)]
    assert (grades["stringing"].more_is_better, grades["bonding"].more_is_better) == (False, True)
    assert grades["stringing"].bands[0].doc == "not seen"


def test_the_order_of_statements_does_not_matter(tmp_path: Path) -> None:
    parts = (TRADE, RUB, TUBE, "material soft from rub {\n  pull 3 N\n}\n", job("stringing at most hair"))
    models = [model_of("".join(order), tmp_path) for order in permutations(parts)]
    for model in models[1:]:
        assert model.materials["soft"].values.keys() == models[0].materials["soft"].values.keys()
        assert (
            model.profiles["job"].pins["layer.height"].amount == models[0].profiles["job"].pins["layer.height"].amount
        )
        assert model.dimensions == models[0].dimensions


# ---- inheritance


def test_the_trail_of_an_overridden_value(tmp_path: Path) -> None:
    text = TRADE + (
        'material base {\n  diameter 1.75 ± 0.05 mm typical "x"\n  pull 20 N\n}\n'
        "material middle from base {\n  diameter 1.8 mm\n}\n"
        'material mine from middle {\n  diameter 1.78 mm measured "calliper"\n}\n'
    )
    mine = model_of(text, tmp_path).materials["mine"]
    assert mine.line == ("mine", "middle", "base")
    value = mine.values["diameter"]
    trail = []
    while value is not None:
        trail.append((value.entity, value.text))
        value = value.replaced  # type: ignore[assignment]
    assert trail == [("mine", "1.78 mm"), ("middle", "1.8 mm"), ("base", "1.75 ± 0.05 mm")]
    assert (mine.values["pull"].entity, mine.values["pull"].replaced) == ("base", None)


def test_profiles_inherit_part_by_part(tmp_path: Path) -> None:
    text = TRADE + RUB + TUBE + TUBE.replace("tube", "bench")
    text += job("stringing at most hair", "bonding at least sound", "prefer speed giving 5 %")
    text += "profile thin from job {\n  machines bench\n  layer.height 0.1 mm\n  stringing at most clean\n}\n"
    thin = model_of(text, tmp_path).profiles["thin"]
    assert (thin.material, [m.text for m in thin.machines]) == ("rub", ["bench"])
    assert thin.pins["layer.height"].amount.text == "0.1 mm"
    assert [w.text for w in thin.wants] == ["stringing at most clean", "bonding at least sound"]
    assert ([m.text for m in thin.prefer], thin.share) == (["speed"], 0.05)


def test_a_later_value_of_a_profile_replaces_an_inherited_one(tmp_path: Path) -> None:
    text = TRADE + RUB + TUBE + job("copies 3") + "profile more from job {\n  copies 5\n}\n"
    value = model_of(text, tmp_path).profiles["more"].values["copies"]
    assert (value.text, value.replaced.text if value.replaced else "") == ("5", "3")


# ---- wants


@pytest.mark.parametrize(
    ("want", "limit", "node_is_left"),
    [
        ("stringing at most hair", 3e-5, True),
        ("stringing at least hair", 5e-6, False),
        ("stringing at least web", 3e-5, False),
        ("bonding at least sound", 0.7, False),
        ("bonding at most sound", 0.9, True),
        ("bonding at most loose", 0.7, True),
        ("stringing at most 0.01 mm", 1e-5, True),
        ("stringing at least 0.01 mm", 1e-5, False),
        ("thickness at most 0.01 mm", 1e-5, True),
        ("heat.nozzle at least 200 degC", 473.15, False),
        ("speed at least 3 1/mm", 3e3, False),
    ],
)
def test_wants_both_ways_round(want: str, limit: float, node_is_left: bool, tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job(want), tmp_path)
    (requirement,) = (r for r in network.requirements if r.origin == "want")
    bound = network.nodes[requirement.right if node_is_left else requirement.left]
    assert (bound.operator, bound.value) == ("constant", pytest.approx(limit, rel=1e-12))
    assert (requirement.name, requirement.soft) == (want, False)


@pytest.mark.parametrize("want", ["stringing at most web", "stringing at least clean", "bonding at least loose"])
def test_wants_that_ask_for_nothing(want: str, tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job(want), tmp_path)
    assert not network.requirements


def test_a_want_that_may_be_dropped(tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job("stringing at most hair if possible"), tmp_path)
    assert [r.soft for r in network.requirements] == [True]


# ---- which laws apply, and where values come from


def law(name: str, *lines: str) -> str:
    return f'law {name} {{\n  about "a"\n  source textbook "x"\n' + "".join(f"  {line}\n" for line in lines) + "}\n"


@pytest.mark.parametrize(
    ("gap", "when", "applies"),
    [
        ("0 mm", "gap > 0 mm", False),
        ("0 mm", "gap >= 0 mm", True),
        ("3 mm", "gap > 0 mm", True),
        ("3 mm", "gap < 3 mm", False),
        ("3 mm", "gap <= 3 mm", True),
        ("3 mm", "3 mm < gap", False),
        ("3 mm", "gap > -1 mm", True),
        ("2 .. 4 mm", "gap > 4 mm", False),
        ("2 .. 4 mm", "gap > 3 mm", True),
        ("2 .. 4 mm", "gap < 3 mm and gap > 9 mm", False),
        ("2 .. 4 mm", "gap > diameter", True),
        ("1 mm", "gap > diameter", False),
    ],
)
def test_a_law_applies_unless_its_when_is_surely_false(gap: str, when: str, applies: bool, tmp_path: Path) -> None:
    text = (
        TRADE + RUB + TUBE.replace("6 mm", gap) + law("added", f"when {when}", "require layer.height <= 1 mm") + job()
    )
    assert bool(network_of(text, tmp_path).requirements) == applies


def test_what_a_law_was_checked_against(tmp_path: Path) -> None:
    flow = TRADE + law("free", "let made = gap")
    one = law(
        "one", "let once = gap", 'checked "x against a book" by "tests/a.py::test_x"', 'checked "y" by "tests/a.py"'
    )
    none = law("none", "let never = gap", 'unchecked "nobody has measured it"')
    laws = model_of(flow + one + none, tmp_path).laws
    assert [(c.text, c.by) for c in laws["one"].checks] == [
        ("x against a book", "tests/a.py::test_x"),
        ("y", "tests/a.py"),
    ]
    assert laws["one"].unchecked == ""
    assert laws["none"].checks == () and laws["none"].unchecked == "nobody has measured it"
    assert laws["free"].checks == () and laws["free"].unchecked == ""


def test_conditions_on_words_and_scales(tmp_path: Path) -> None:
    laws = law("lined", "when liner is fluoropolymer", "require heat.nozzle <= 250 degC")
    laws += law("soft", "when hardness on shore_a", "let found = reading(hardness)", "require found >= 1")
    laws += law("hard", "when hardness on shore_d", "let found = 2 * reading(hardness)", "require found >= 2")
    for liner in ("none", "fluoropolymer"):
        for scale in ("shore_a", "shore_d"):
            material = RUB.replace("1.75 mm\n", f"1.75 mm\n  hardness 60 {scale}\n")
            machine = TUBE.replace("6 mm\n", f"6 mm\n  liner {liner}\n")
            network = network_of(TRADE + laws + material + machine + job(), tmp_path)
            expected = {"lined"} if liner == "fluoropolymer" else set()
            assert {r.name for r in network.requirements} == expected | {"soft" if scale == "shore_a" else "hard"}


def test_a_given_value_wins_over_a_derived_one(tmp_path: Path) -> None:
    laws = law("stiff", "let modulus = 20 MPa", "require modulus >= 1 MPa")
    derived = network_of(TRADE + laws + RUB + TUBE + job(), tmp_path)
    assert derived.derived.keys() == {"modulus"} and not derived.inputs
    stiff = RUB.replace("1.75 mm\n", "1.75 mm\n  modulus 30 ± 5 MPa\n")
    network = network_of(TRADE + laws + stiff + TUBE + job(), tmp_path)
    assert not network.derived
    assert [(i.given.name, i.low, i.high) for i in network.inputs] == [("modulus", 25e6, 35e6)]


def test_two_fallbacks_of_one_another_are_no_circle_where_one_is_given(tmp_path: Path) -> None:
    laws = law("one", "let pull = modulus * 1 mm2") + law("two", "let modulus = pull / 1 mm2")
    laws += law("three", "require pull <= 30 N")
    soft = RUB.replace("1.75 mm\n", "1.75 mm\n  modulus 3 MPa\n")
    assert network_of(TRADE + laws + soft + TUBE + job(), tmp_path).derived.keys() == {"pull"}


def test_only_what_is_needed_is_derived(tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job("stringing at most hair"), tmp_path)
    assert network.derived.keys() == {"thickness"}


def test_pins_and_given_settings(tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job('pin heat.nozzle = 220 degC because "y"'), tmp_path)
    found = {s.decl.name: (s.first, s.last, s.pin.reason if s.pin else None) for s in network.settings}
    assert found == {"layer.height": (15, 15, ""), "heat.nozzle": (40, 40, "y")}


def test_a_pin_may_be_written_in_another_unit(tmp_path: Path) -> None:
    network = network_of(TRADE + RUB + TUBE + job().replace("0.2 mm", "200 um"), tmp_path)
    assert network.settings[0].first == 15
