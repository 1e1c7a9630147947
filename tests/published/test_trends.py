"""What every practitioner knows must come out of whole compilations: trends, no numbers. Common practice, no source.

All cases are solved together. A trend is looked at on several families and machines; where a limit that has nothing
to do with it ends both sides, the two may be equal.
"""

from functools import cache

import pytest

from .pairs import Pair, solve_text

USES = "".join(
    f'use library "{kind}"\n'
    for kind in ("materials/urethanes", "materials/polylactide", "machines/tube_fed", "machines/direct_drive")
)

MACHINES = """
machine guided from tube_fed {
  guide_length 350 ± 5 mm
  bend 200 ± 15 deg
}
machine unguided from guided {
  gap 5 ± 0.5 mm
}
machine long_tube from guided {
  guide_length 600 ± 5 mm
}
machine well_measured from guided {
  guide_length 350 ± 1 mm
  bend 200 ± 2 deg
}
machine badly_measured from guided {
  guide_length 350 ± 40 mm
  bend 200 ± 60 deg
}
machine fine_nozzle from guided {
  nozzle_bore 0.3 mm
}
"""

MATERIALS = """
material softer from urethane_85a {
  hardness 78 ± 2 shore_a
}
material soft from urethane_85a {
  hardness 85 ± 2 shore_a
}
material badly_known from urethane_85a {
  hardness 85 ± 5 shore_a
}
material stiff from polylactide {
  diameter 1.75 ± 0.03 mm
}
"""


def profile(name: str, material: str, machines: str, more: str = "", prefer: str = "throughput") -> str:
    """Write a profile; ``more`` are further lines."""
    return (
        f"profile {name} {{\n  material {material}\n  machines {machines}\n  layer.height 0.15 mm\n"
        f"  stringing at most thread\n  prefer {prefer}\n{more}}}\n"
    )


def pinned(**values: str) -> str:
    """Pin settings: dots are written as two underscores."""
    return "".join(f'  pin {n.replace("__", ".")} = {v} because "the case"\n' for n, v in values.items())


SLOW = {"speed__contour": "6 mm/s", "bead__width": "0.42 mm", "feed__flow_ceiling": "0.3 mm3/s"}
"""What all machines here bear, even with soft filament."""


@cache
def cases() -> dict[tuple[str, str], Pair]:
    """Solve all cases together."""
    everywhere = "guided, unguided, long_tube, fine_nozzle, well_measured, badly_measured, direct_drive"
    text = USES + MACHINES + MATERIALS
    for material in ("softer", "soft", "badly_known", "stiff", "urethane_95a"):
        text += profile(f"quick_{material}", material, everywhere)
        text += profile(f"same_{material}", material, "guided, direct_drive", pinned(**SLOW))
    for heat in (215, 225, 235):
        for merit in ("strength", "cleanness"):
            more = pinned(**SLOW, heat__nozzle=f"{heat} degC", fan__share="50 %")
            text += profile(f"{merit}_{heat}", "soft", "guided, direct_drive", more, merit)
    for fan in (40, 60, 100):
        more = pinned(**SLOW, heat__nozzle="230 degC", fan__share=f"{fan} %")
        text += profile(f"fan_{fan}", "soft", "guided", more, "strength")
    return solve_text(text)


def flow(name: str, machine: str) -> float:
    """Give the flow of a case, its first merit; 0 where nothing holds for all input values."""
    case = cases()[name, machine]
    assert case.decided, case
    return case.merits[0] if case.robust else 0.0


@pytest.mark.parametrize("machine", ["guided", "unguided", "long_tube", "fine_nozzle", "direct_drive"])
def test_softer_filament_is_slower(machine):
    assert flow("quick_softer", machine) < flow("quick_soft", machine) < flow("quick_stiff", machine)


@pytest.mark.parametrize("material", ["softer", "soft", "urethane_95a"])
def test_a_longer_tube_is_slower_for_soft_filament(material):
    assert 0 < flow(f"quick_{material}", "long_tube") < flow(f"quick_{material}", "guided")


@pytest.mark.parametrize("material", ["softer", "soft", "urethane_95a", "stiff"])
def test_a_smaller_nozzle_is_slower(material):
    assert 0 < flow(f"quick_{material}", "fine_nozzle") < flow(f"quick_{material}", "guided")


@pytest.mark.parametrize("machine", ["guided", "direct_drive"])
def test_hotter_bonds_better_and_strings_more(machine):
    bonds = [cases()[f"strength_{heat}", machine].merits[0] for heat in (215, 225, 235)]
    threads = [-cases()[f"cleanness_{heat}", machine].merits[0] for heat in (215, 225, 235)]
    assert bonds[0] < bonds[1] < bonds[2]
    assert threads[0] < threads[1] < threads[2]


def test_more_fan_bonds_less_and_shortens_the_layer_time():
    found = [cases()[f"fan_{fan}", "guided"] for fan in (40, 60, 100)]
    bonds = [case.merits[0] for case in found]
    times = [case.settings["layer.shortest_time"] for case in found]
    assert bonds[0] > bonds[1] > bonds[2]
    assert times[0] > times[1] > times[2]


def test_a_closed_gap_is_faster_for_soft_filament_and_changes_nothing_for_stiff():
    for material in ("softer", "soft"):
        assert flow(f"quick_{material}", "guided") > 1.2 * flow(f"quick_{material}", "unguided")
    assert flow("quick_stiff", "guided") == flow("quick_stiff", "unguided") > 0


@pytest.mark.parametrize("material", ["softer", "soft", "urethane_95a", "stiff"])
def test_a_direct_drive_retracts_less_at_the_same_speed(material):
    tube, direct = (cases()[f"same_{material}", machine] for machine in ("guided", "direct_drive"))
    assert direct.settings["retraction.length"] < tube.settings["retraction.length"] / 1.5


def test_wider_ranges_give_more_careful_settings():
    for material in ("soft", "urethane_95a"):
        quick = [flow(f"quick_{material}", m) for m in ("well_measured", "guided", "badly_measured")]
        assert quick[0] >= quick[1] > quick[2]
    assert flow("quick_badly_known", "guided") < flow("quick_soft", "guided")


def test_soft_filament_wants_even_speeds_where_stiff_does_not():
    """Fill as quick as contours, nearly, on a springy feed; where filament is stiff the machine's own limits hold."""
    soft = cases()["quick_soft", "long_tube"].settings
    assert soft["speed.fill"] <= 1.1 * soft["speed.contour"]
    stiff = cases()["same_stiff", "direct_drive"].settings
    assert stiff["speed.cover"] == stiff["speed.contour"]
