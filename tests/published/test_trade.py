"""Compiled settings lie where the trade's usual numbers lie. All ranges here are common practice, no source.

The profile is that of ``pairs.py``: as quick as the limits let it be. So the upper ends of speed are half as much
again as everyday numbers, up to 120 mm/s, at which the machines themselves end. Machines are those with a 0.4 mm
nozzle. The table of all pairs in ``README.md`` is solved again in part.
"""

from functools import cache

import pytest

from .pairs import Key, Pair, concrete, solve_pairs, table, written

SOFT = ("urethane_75a", "urethane_80a", "urethane_85a", "urethane_90a")
FIRM = ("urethane_95a", "urethane_55d", "urethane_60d", "ester_40d", "ester_55d")
TUBES = ("tube_fed", "tube_fed_short", "tube_fed_all_metal")
DIRECT = ("direct_drive", "direct_lined", "direct_large_bed")

Range = tuple[float, float]
USUAL: dict[str, tuple[tuple[str, ...], Range, Range, Range, Range, Range, Range]] = {
    # kind: materials, nozzle degC, bed degC, mm/s from a tube, mm/s direct, most mm drawn back tube and direct, fan %
    "soft rubber": (SOFT, (200, 240), (25, 60), (1, 30), (10, 75), (12, 8), (0, 100)),
    "firm rubber": (FIRM, (210, 250), (25, 80), (5, 90), (20, 100), (12, 7), (0, 100)),
    "polylactide": (("polylactide",), (190, 230), (45, 65), (30, 120), (40, 120), (9, 4), (0, 100)),
    "petg": (("petg",), (225, 255), (65, 90), (25, 100), (30, 100), (9, 4), (0, 60)),
    "polypropylene": (("polypropylene",), (210, 250), (60, 100), (20, 120), (30, 120), (11, 5), (0, 60)),
    "polyamide": (("polyamide_12",), (235, 270), (60, 110), (20, 100), (30, 100), (10, 4), (0, 60)),
    "styrene copolymer": (("styrene_abs", "styrene_asa"), (230, 265), (85, 110), (30, 120), (30, 120), (9, 4), (0, 30)),
}
CASES = [(kind, machine) for kind in USUAL for machine in (*TUBES[:2], *DIRECT[:2])]


@cache
def solved() -> dict[Key, Pair]:
    """Solve what is looked at here, at once; glassy ones need the heat of an all-metal hot end."""
    return solve_pairs([(m, machine) for kind, machine in CASES for m in USUAL[kind][0] if usable(m, machine)])


def usable(material: str, machine: str) -> bool:
    """Leave out what nobody would try: a styrene copolymer on a lined hot end, which has to stay below its heat."""
    return not (material.startswith("styrene_") and machine not in ("direct_drive", "tube_fed_all_metal"))


@pytest.mark.parametrize(("kind", "machine"), CASES)
def test_settings_are_usual_ones(kind, machine):
    materials, nozzle, bed, from_tube, direct, most, fan = USUAL[kind]
    tube = machine.startswith("tube")
    for material in materials:
        if not usable(material, machine):
            continue
        pair = solved()[material, machine]
        assert pair.settings and pair.robust and pair.certified, pair
        found = pair.settings
        low, high = from_tube if tube else direct
        assert nozzle[0] <= found["heat.nozzle"] <= nozzle[1], pair
        assert bed[0] <= found["heat.bed"] <= bed[1], pair
        assert low <= found["speed.contour"] <= high, pair
        assert found["speed.first_layer"] <= 45 and found["speed.cover"] <= found["speed.contour"], pair
        assert 0.5 <= found["retraction.length"] <= most[0 if tube else 1], pair
        assert 10 <= found["retraction.speed"] <= 60, pair
        assert fan[0] <= found["fan.share"] <= fan[1], pair
        assert 95 <= found["feed.factor"] <= 110, pair
        assert 40 <= found["drying.temperature"] <= 90, pair


def cells(text: str) -> dict[Key, str]:
    """Read a table of pairs."""
    rows = [[c.strip() for c in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("|")]
    return {(row[0], machine): cell for row in rows[2:] for machine, cell in zip(rows[0][1:], row[1:], strict=True)}


def test_the_table_names_every_pair_and_a_reason_for_every_refusal():
    found = cells(written())
    assert set(found) == {(a, b) for a in concrete("materials") for b in concrete("machines")}
    assert "undecided" not in found.values()
    for number in {cell for cell in found.values() if cell.startswith("(")}:
        assert f"\n{number} Refused, for these cannot hold together: " in written()


def test_the_table_is_what_the_library_gives():
    """Solve a part again: each material once, each machine once, as far as that is quick."""
    materials = [m for m in concrete("materials") if not m.startswith("styrene_")]
    machines = [m for m in concrete("machines") if "wide_filament" not in m]
    part = [(m, machines[k % len(machines)]) for k, m in enumerate(materials)]
    part = [(m, machine) for m, machine in part if not m.endswith("_285")]
    again, kept = solve_pairs(part), cells(written())
    for key, pair in again.items():
        cell = next(iter(cells(table({key: pair})).values()))
        assert kept[key] == cell if pair.settings else kept[key].startswith("("), (key, pair)
