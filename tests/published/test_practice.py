"""What is common practice must come out of the laws.

There is no source to cite for these, and no number is tuned to a case here. The cases use the library's
family values and machine kinds, 0.2 mm layers and a 0.4 mm nozzle.
"""

import numpy as np
import pytest

CASE = """
use library "materials/urethanes"
use library "materials/polylactide"
use library "machines/tube_fed"
use library "machines/direct_drive"

machine short_tube from tube_fed {{
  guide_length 300 mm
  bend 180 deg
  gap {gap}
}}

profile case {{
  material {material}
  machines {machine}
  layer.height 0.20 mm
  stringing at most hair
  bonding at least light
  prefer throughput
{more}
}}
"""


def pinned(name: str, value: str) -> str:
    """Fix a setting in a case."""
    return f'  pin {name} = {value} because "the case"\n'


@pytest.fixture
def solved(compiled):
    """Solve a case and give its only solution, or None with what was said."""

    def run(material: str, machine: str, more: str = "", gap: str = "0 mm"):
        result = compiled(CASE.format(material=material, machine=machine, more=more, gap=gap))
        return (result.solutions[0] if result.solutions else None), result.diagnostics

    return run


def chosen(solution, name: str) -> float:
    """Give a chosen setting in its unit."""
    return float(solution.setting_text(solution.setting_index(name)).split()[0])


def test_stiff_filament_in_a_tube_needs_five_to_six_millimetres(solved):
    """1.75 mm polylactide in a 2 mm tube at an everyday 60 mm/s."""
    solution, said = solved("polylactide", "tube_fed", pinned("speed.contour", "60 mm/s"))
    assert solution is not None, said
    assert 5e-3 <= solution.derived["retraction_need"].stated <= 6e-3


def test_very_soft_filament_in_a_tube_uses_all_of_the_reach(solved):
    """Reach is the heated length less 1 mm: 13 - 1 = 12 mm; one lattice step may stay unused."""
    solution, said = solved("urethane_85a", "tube_fed")
    assert solution is not None, said
    assert solution.derived["reach"].stated == pytest.approx(12e-3)
    assert chosen(solution, "retraction.length") >= 11.9


def test_soft_filament_escapes_from_a_gap_where_a_stiffer_one_does_not(solved):
    """At one speed and a gap of 6 mm the softer urethane bows out and the stiffer one does not."""
    speed = pinned("speed.contour", "8 mm/s") + pinned("bead.width", "0.42 mm")
    soft, said = solved("urethane_85a", "short_tube", speed, gap="6 mm")
    assert soft is not None and not soft.answer.robust, said
    assert 1.5 * soft.derived["push"].high > soft.derived["critical_push"].low
    stiffer, said = solved("urethane_95a", "short_tube", speed, gap="6 mm")
    assert stiffer is not None and stiffer.answer.robust, said
    cured, said = solved("urethane_85a", "short_tube", speed, gap="0 mm")
    assert cured is not None and cured.answer.robust, said


def test_two_tenths_of_overlap_close_the_seam_of_a_four_tenths_nozzle(derive):
    """Half a spacing is at most 0.2 mm for beads up to a tenth wider than the bore; 0.2 mm does not bulge."""
    for width in np.arange(0.40, 0.445, 0.01):
        spacing = derive("spacing", {"bead.width": f"{width:.2f} mm", "layer.height": "0.2 mm"})
        assert spacing / 2 <= 0.2e-3 <= spacing * (3 / 2 - np.pi / 4)


def test_direct_drive_is_faster_with_soft_filament(solved):
    """The short guided path stores less filament, so that the reach no longer limits the flow."""
    tube, said = solved("urethane_85a", "tube_fed")
    direct, more_said = solved("urethane_85a", "direct_drive")
    assert tube is not None and direct is not None, (said, more_said)
    assert chosen(direct, "speed.contour") > 2 * chosen(tube, "speed.contour")


def test_direct_drive_retracts_less_under_the_same_conditions(solved):
    """At the flow, width and temperature that the tube bears it needs less than half the retraction."""
    tube, said = solved("urethane_85a", "tube_fed")
    assert tube is not None, said
    same = "".join(
        pinned(name, f"{chosen(tube, name):g} {unit}")
        for name, unit in (
            ("speed.contour", "mm/s"),
            ("bead.width", "mm"),
            ("heat.nozzle", "degC"),
            ("feed.flow_ceiling", "mm3/s"),
        )
    )
    direct, said = solved("urethane_85a", "direct_drive", same)
    assert direct is not None, said
    assert chosen(direct, "retraction.length") < chosen(tube, "retraction.length") / 2
