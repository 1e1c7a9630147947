"""Which way each law goes, and that it gives numbers wherever it says that it is valid.

The trends are what the trade expects, common practice, no source; each is a property of the formulas alone, over all
values that the library's families, machines and settings have together.
"""

import operator
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from meltwright.meaning.model import LawDecl, LetDecl
from meltwright.network.applying import Decisions
from meltwright.solving.evaluating import Evaluator

from .pairs import concrete, library

Ranges = dict[str, tuple[float, float]]


@cache
def believable() -> Ranges:
    """Give the range that each input has in the whole library, and each setting's lattice, in base units."""
    found: Ranges = {}
    for entity in (*library().materials.values(), *library().machines.values()):
        for name, value in entity.values.items():
            if value.amount is not None:
                low, high = found.get(name, (np.inf, -np.inf))
                found[name] = min(low, value.amount.low), max(high, value.amount.high)
    for name, setting in library().settings.items():
        unit = setting.unit
        ends = [float(setting.number(i)) * float(unit.factor) + float(unit.offset) for i in (0, setting.last)]
        found[name] = (ends[0], ends[1])
    return found


@dataclass(frozen=True)
class Trend:
    """More of ``moved`` gives more (or less) of ``derived`` in a law; ``others`` replaces ranges, in base units.

    ``laws`` are further laws that the derivation takes part of; ``even`` allows equality, as where a limit cuts off.
    """

    derived: str
    moved: str
    more: bool
    laws: tuple[str, ...] = ()
    even: bool = False
    others: tuple[tuple[str, float, float], ...] = ()

    def __str__(self) -> str:
        return f"{self.moved} {'raises' if self.more else 'lowers'} {self.derived} {' '.join(self.laws)}".strip()


MELT = (("viscosity", 300, 5000), ("melt_temperature", 450, 540), ("melt_reference", 450, 540))
GLASSY = (
    *MELT,
    ("wlf_slope", 20, 40),
    ("wlf_offset", 40, 60),
    ("glass_reference", 360, 380),
    ("stop_temperature", 375, 385),
)
WELD = (("contact_ratio", 1.1, 4), ("layer_temperature", 290, 330), ("healing_span", 0.05, 3))
LINE = (("melt_pressure", 1e5, 2e7), ("push_at_hot_end", 0.1, 40))
SHEAR = (("flowing_viscosity", 100, 5000), ("peak_flow", 5e-10, 2e-8))

TRENDS = [
    Trend("flowing_viscosity", "melt_temperature", False, ("arrhenius_shift",), others=MELT),
    Trend("flowing_viscosity", "melt_temperature", False, ("wlf_shift",), others=GLASSY),
    Trend("waiting_viscosity", "heat.nozzle", False, ("arrhenius_shift",), others=MELT),
    Trend("waiting_viscosity", "heat.nozzle", False, ("wlf_shift",), others=GLASSY),
    Trend("melt_temperature", "heat.nozzle", True, others=(("mean_cold_left", 0.001, 0.2),)),
    Trend("mean_cold_left", "peak_flow", True, others=SHEAR),
    Trend("cold_left", "heated_length", False, others=SHEAR),
    Trend("melt_power", "peak_flow", True, others=SHEAR),
    Trend("wall_stress", "peak_flow", True, others=SHEAR),
    Trend("wall_stress", "nozzle_bore", False, others=SHEAR),
    Trend("land_pressure", "nozzle_bore", False, others=SHEAR),
    Trend("melt_pressure", "nozzle_bore", False, others=SHEAR),
    Trend("melt_pressure", "flowing_viscosity", True, others=SHEAR),
    Trend("melt_pressure", "land", True, others=SHEAR),
    Trend("viscosity", "melt_flow_rate", False, ("viscosity_from_flow_rate",)),
    Trend("viscosity", "flow_rate_load", True, ("viscosity_from_flow_rate",), others=(("flow_rate_load", 1.2, 21.6),)),
    Trend("swell", "wall_stress", True, others=(("wall_stress", 1e3, 5e5),)),
    Trend("push_with_bends", "friction", True, others=LINE),
    Trend("push_with_bends", "bend", True, others=LINE),
    Trend("push", "friction", True, others=LINE),
    Trend("push", "guide_length", True, even=True, others=LINE),
    Trend("push", "guide_bore", True, even=True, others=LINE),
    Trend("push", "modulus", False, even=True, others=LINE),
    Trend("squeeze", "modulus", False, others=LINE),
    Trend("critical_push", "modulus", True),
    Trend("critical_push", "gap", False, others=(("gap", 1e-3, 0.04),)),
    Trend("critical_push", "diameter", True, others=(("gap", 1e-3, 0.04),)),
    Trend("springiness", "guide_length", True, ("tube_stretch",)),
    Trend("springiness", "modulus", False, ("tube_stretch",)),
    Trend("springiness", "friction", True, ("tube_stretch",)),
    Trend("slack", "guide_bore", True),
    Trend("slack", "bend", True, others=(("guide_bore", 3.2e-3, 3.4e-3),)),
    Trend("settling_time", "modulus", False, ("block_stretch",), others=(*LINE, *SHEAR)),
    Trend("step_borne", "shortening", False, others=(("shortening", 1e-4, 1e-2), ("section", 3e-8, 5e-7))),
    Trend("leftover_flow", "retraction.length", False, ("block_stretch",), even=True, others=(*LINE, *MELT)),
    Trend("string_diameter", "travel_time", True, others=(("leftover_flow", 1e-12, 1e-9), ("travel_time", 0.05, 0.5))),
    Trend("travel_time", "acceleration", False),
    Trend("bead_forced", "fan.share", True, others=(("fan_air", 0.5, 10),)),
    Trend("part_forced", "fan.share", True, others=(("fan_air", 0.5, 10),)),
    Trend("cooling_time", "fan.share", False, others=(("fan_air", 0.5, 10),)),
    Trend("firm_time", "fan.share", False, others=(("fan_air", 0.5, 10), ("firm_temperature", 335, 380))),
    Trend("firm_time", "layer.height", True, others=(("firm_temperature", 335, 380),)),
    Trend("healing_span", "melt_temperature", True, even=True, others=MELT),
    Trend("weld_times", "weld_time", False, ("healing_by_arrhenius",), others=WELD),
    Trend("weld_times", "healing_span", True, ("healing_by_wlf",), others=(*GLASSY, *WELD)),
    Trend("weld_times", "contact_ratio", True, ("healing_by_arrhenius",), others=WELD),
    Trend("touch_temperature", "contact_share", True),
    Trend("drying_need", "diameter", True, others=(("moisture", 2e-3, 1e-2), ("moisture_allowed", 2e-4, 1e-3))),
    Trend(
        "drying_need", "drying.temperature", False, others=(("moisture", 2e-3, 1e-2), ("moisture_allowed", 2e-4, 1e-3))
    ),
    Trend("drying_need", "moisture", True, even=True),
    Trend("drying_need", "moisture_allowed", False, even=True),
    Trend("cooling_strain", "expansion", True, others=(("stop_temperature", 340, 400),)),
    Trend("passes", "retraction.shortest_travel", False, others=(("spacing", 2e-4, 8e-4), ("section", 3e-8, 5e-7))),
    Trend("least_fed", "drive_slip", False),
    Trend("most_fed", "squeeze", True, even=True, others=(("squeeze", 0, 0.3),)),
    Trend("modulus_gent", "hardness", True, others=(("hardness", 20, 95),)),
    Trend("modulus", "hardness", True, ("stiffness_from_shore_d",), others=(("hardness", 30, 65),)),
]


def lets_of(preferred: tuple[str, ...]) -> dict[str, LetDecl]:
    """Give each derived name one derivation: that of a preferred law, else the first."""
    known = library().lets.items()
    return {name: next((d for d in found if d.law in preferred), found[0]) for name, found in known}


def inputs_of(name: str, lets: dict[str, LetDecl], ranges: Ranges) -> Iterator[str]:
    """List the names with ranges that a derived one hangs on, nearest first."""
    by_name, waiting, seen = Evaluator(lets, {}), [name], {name}
    while waiting:
        for used in by_name.uses(waiting.pop(0)):
            if used in ranges:
                if used not in seen:
                    yield used
            elif used in lets and used not in seen:
                waiting.append(used)
            seen.add(used)


def follow(trend: Trend, data: st.DataObject) -> None:
    """Draw values, move one of them twice, and compare what comes out."""
    lets = lets_of(trend.laws)
    ranges = {n: r for n, r in believable().items() if n not in lets} | {n: (a, b) for n, a, b in trend.others}
    ranges.setdefault(trend.moved, believable().get(trend.moved, (0.0, 0.0)))
    values = {}
    names = list(inputs_of(trend.derived, lets, ranges))
    assert trend.moved in names, f"{trend.derived} does not hang on {trend.moved}"
    for name in names:
        low, high = ranges[name]
        count = 2 if name == trend.moved else 1
        shares = [data.draw(st.floats(0, 1), label=name) for _ in range(count)]
        values[name] = np.sort(low + (high - low) * np.array(shares))
    low, high = ranges[trend.moved]
    assume(values[trend.moved][1] - values[trend.moved][0] > 0.02 * (high - low))
    assume("guide_bore" not in names or values["guide_bore"].min() > np.max(values.get("diameter", 1.8e-3)))
    first, second = np.broadcast_to(Evaluator(lets, values).of(lets[trend.derived].expression), (2,))
    assert np.isfinite([first, second]).all()
    compared = {(True, False): operator.lt, (True, True): operator.le}.get((trend.more, trend.even))
    if compared is None:
        compared = operator.ge if trend.even else operator.gt
    slack = 1e-12 * abs(first) if trend.even else 0.0
    assert compared(first - slack if trend.more else first + slack, second), (first, second)


@pytest.mark.parametrize("trend", TRENDS, ids=str)
def test_trend(trend):
    @settings(max_examples=60)
    @given(st.data())
    def over_all_values(data):
        follow(trend, data)

    over_all_values()


@pytest.mark.parametrize("trend", TRENDS[:4], ids=str)
def test_hotter_melt_is_thinner(trend):
    """The same trends with more examples: the law of the first layer's heat rests on them."""
    assert trend.derived.endswith("_viscosity") and not trend.more

    @settings(max_examples=300)
    @given(st.data())
    def over_all_values(data):
        follow(trend, data)

    over_all_values()


# ---- numbers wherever a law is valid

ROWS = 300


def rows(material: str, machine: str, seed: int) -> dict[str, np.ndarray]:
    """Draw rows of inputs within the ranges of a family and a machine, and settings on the whole of their lattices.

    The nozzle is as hot as the family is processed and beads fit the bore, as a search would have it; the rest is
    anything.
    """
    draw = np.random.default_rng(seed)
    ranges = {n: believable()[n] for n in library().settings}
    for entity in (library().materials[material], library().machines[machine]):
        ranges |= {n: (v.amount.low, v.amount.high) for n, v in entity.values.items() if v.amount is not None}
    ranges["heat.nozzle"] = ranges["nozzle_lowest"][0], ranges["nozzle_highest"][1]
    found = {n: draw.uniform(low, high, ROWS) for n, (low, high) in ranges.items()}
    found["layer.height"] = found["nozzle_bore"] * draw.uniform(0.2, 0.8, ROWS)
    found["bead.width"] = found["nozzle_bore"] * draw.uniform(1, 1.25, ROWS)
    return found


def laws_of(material: str, machine: str) -> list[LawDecl]:
    """List the laws that apply to a family on a machine."""
    values = {**library().materials[material].values, **library().machines[machine].values}
    return [law for law, holds in zip(library().laws.values(), Decisions(library()).laws(values), strict=True) if holds]


@pytest.mark.parametrize("material", concrete("materials"))
def test_laws_give_numbers_where_they_are_valid(material):
    """Each formula and both sides of each limit, on every machine: nothing undefined, nothing infinite."""
    compare = {"<=": np.less_equal, ">=": np.greater_equal, "<": np.less, ">": np.greater}
    seen = 0
    for seed, machine in enumerate(concrete("machines")):
        values, laws = rows(material, machine, seed), laws_of(material, machine)
        lets = {let.name: let for law in laws for let in law.lets if let.name not in values}
        with np.errstate(all="ignore"):
            evaluator = Evaluator(lets, values)
            valid = np.ones(ROWS, dtype=bool)
            for c in (v.comparison for law in laws for v in law.valids):
                valid &= compare[c.relation](evaluator.of(c.left), evaluator.of(c.right))
            found = {f"{let.law}: {let.name}": evaluator.of(let.expression) for let in lets.values()}
            for law in laws:
                for k, require in enumerate(law.requires):
                    sides = evaluator.of(require.comparison.left), evaluator.of(require.comparison.right)
                    found |= {f"{law.name}: side {s} of limit {k + 1}": side for s, side in enumerate(sides)}
        amiss = {name for name, value in found.items() if not np.isfinite(np.broadcast_to(value, ROWS)[valid]).all()}
        assert not amiss, (machine, amiss)
        seen += int(valid.sum())
    assert seen >= 50, "hardly any row was valid: the sweep looks at nothing"
