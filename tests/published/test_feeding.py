"""How much filament arrives, and how often a stretch passes the drive.

Sources: the area of a circle and conservation of volume, computed; an island drawn line by line and a drive followed
millimetre by millimetre, in the tests. Where in the nip a filament takes its speed is published nowhere.
"""

import numpy as np
import pytest


@pytest.mark.parametrize(("diameter", "share"), [(1.80, 1.0580), (1.70, 0.9437), (1.75, 1)])
def test_area_of_a_thick_or_thin_filament(derive, diameter, share):
    """0.05 mm more or less than 1.75 mm is 5.80 % more or 5.63 % less in area."""
    values = {"diameter": f"{diameter} mm", "counted_diameter": "1.75 mm", "drive_slip": "0"}
    assert derive("least_fed", values) == pytest.approx(share, abs=5e-5)


def test_slip_is_taken_off(derive):
    """A gear that should feed 100 mm and slips by 3 % feeds 97 mm."""
    values = {"diameter": "1.75 mm", "counted_diameter": "1.75 mm", "drive_slip": "3 %"}
    assert derive("least_fed", values) == pytest.approx(0.97)


@pytest.mark.parametrize(
    ("grip", "squeeze", "carried"), [(0, 0.2, 1), (1, 0.2, 1.25), (0.5, 0.2, 1 / 0.9), (1, 0.5, 2)]
)
def test_squeezed_filament_carries_more(derive, grip, squeeze, carried):
    """A rod of 100 mm squeezed to 80 mm keeps its volume: each millimetre of it carries 1.25."""
    values = {"least_fed": "1", "grip_point": str(grip), "squeeze": str(squeeze)}
    assert derive("most_fed", values) == pytest.approx(carried)


@pytest.mark.parametrize(
    ("factor", "diameter", "held"),
    [(1, 1.70, (True, True)), (0.97, 1.70, (False, True)), (1, 1.80, (True, True)), (1.03, 1.80, (True, False))],
)
def test_voids_and_ridges(holds, factor, diameter, held):
    """The factor times the area's share, by hand: 0.944, 0.915, 1.058 and 1.090 between 0.92 and 1.08."""
    values = {
        "feed.factor": str(factor),
        "diameter": f"{diameter} mm",
        "counted_diameter": "1.75 mm",
        "drive_slip": "0",
        "grip_point": "0",
        "squeeze": "0",
    }
    assert holds("fed_volume", values) == held


@pytest.mark.parametrize(("side", "spacing"), [(2, 0.4), (1.5, 0.3), (8, 0.5)])
def test_bead_of_a_square_island(derive, side, spacing):
    """A square drawn line by line: four sides, and lines one spacing apart from edge to edge."""
    middles = np.arange(spacing / 2, side, spacing)
    drawn = 4 * side + side * len(middles)
    values = {"retraction.shortest_travel": f"{side} mm", "spacing": f"{spacing} mm"}
    assert derive("island_bead", values) == pytest.approx(drawn * 1e-3)


@pytest.mark.parametrize("back", [1, 4, 6])
def test_passes_of_a_stretch(derive, back):
    """Follow the drive over many islands in steps of 0.01 mm and count the steps that each stretch of filament sees."""
    bead, section, area = 14.0, 0.08, 2.4
    fed = bead * section / area
    step, islands = 0.01, 400
    seen = np.zeros(round((fed * islands + back) / step) + 2)
    for island in range(islands):
        start, end = round(fed * island / step), round(fed * (island + 1) / step)
        seen[start:end] += 1
        if end >= round(back / step):
            seen[end - round(back / step) : end] += 2
    middle = seen[len(seen) // 4 : len(seen) // 2]
    values = {
        "island_bead": f"{bead} mm",
        "section": f"{section} mm2",
        "filament_area": f"{area} mm2",
        "retraction.length": f"{back} mm",
    }
    assert derive("passes", values) == pytest.approx(middle.mean(), rel=0.01)
