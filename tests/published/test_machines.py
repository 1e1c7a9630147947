"""Kinds of machine against geometry, handbooks and standards; nothing is missing and nothing is there twice.

Sources: plane geometry; air at 1 atm as tabulated by Incropera and DeWitt, Fundamentals of Heat and Mass Transfer,
table A.4 (from memory); Churchill and Chu 1975, Int. J. Heat Mass Transfer 18, 1049-1053, for a horizontal cylinder
(from memory); general tables of fluoropolymer, of polylactide and of glass; UL 746B for the service temperature of
fluoropolymer; Go and others 2017, Addit. Manuf. 16, 1-11, for the traction of drives (from memory).
"""

import math
import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import EntityDecl, Model

FOLDER = library_folder() / "machines"
TEXTS = {path.name: path.read_text(encoding="utf-8") for path in sorted(FOLDER.glob("*.melt"))}
NAMES = [name for text in TEXTS.values() for name in re.findall(r"^machine (\w+)", text, flags=re.MULTILINE)]
KINDS = [name for name in NAMES if name != "desktop_machine"]


@cache
def together() -> Model:
    """Check a text that uses every file of the folder."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "all.melt"
        path.write_text("".join(f'use library "machines/{name[:-5]}"\n' for name in TEXTS), encoding="utf-8")
        model, faults, _ = check_file(path)
    assert model is not None and not faults, faults
    return model


def machine(name: str) -> EntityDecl:
    """Give a machine with all that it inherits."""
    return together().machines[name]


def span(name: str, quantity: str) -> tuple[float, float, float]:
    """Give low, stated and high of a machine's value, in base units."""
    amount = machine(name).values[quantity].amount
    assert amount is not None
    return amount.low, amount.stated, amount.high


def tubes() -> list[str]:
    """Give the kinds that have a tube."""
    return [name for name in KINDS if machine(name).values["guide"].word == "tube"]


def test_names_are_unique():
    assert len(NAMES) == len(set(NAMES))
    assert set(together().machines) == set(NAMES)


def test_guide_lists_every_kind_with_its_file():
    table = dict(
        re.findall(r"^\| `(\w+)` \| `(\w+\.melt)` \|", (FOLDER / "README.md").read_text("utf-8"), re.MULTILINE)
    )
    where = {n: f for f, t in TEXTS.items() for n in re.findall(r"^machine (\w+)", t, flags=re.MULTILINE)}
    assert table == where


@pytest.mark.parametrize("name", KINDS)
def test_nothing_is_missing(name):
    """Every quantity has a value, but for those that follow by a law, and a tube's wall where there is no tube."""
    model = together()
    asked = {q.name for q in model.quantities.values() if q.owner == "machine"} - set(model.lets)
    if machine(name).values["guide"].word == "block":
        asked -= {"guide_wall", "guide_modulus"}
    assert asked <= set(machine(name).values)


@pytest.mark.parametrize("name", NAMES)
def test_evidence_claims_no_measurement(name):
    for quantity, given in machine(name).values.items():
        assert given.evidence.kind in ("typical", "published", "assumed"), quantity
        assert given.evidence.stated and given.evidence.text, quantity


@pytest.mark.parametrize(
    ("name", "outer", "bore"),
    [("tube_fed", 4, 2), ("tube_fed_wide_filament", 6, 3), ("tube_fed_wide_filament", 6, 3.2)],
)
def test_wall_of_a_tube_is_a_ring(name, outer, bore):
    """4 mm and 2 mm: 9.42 mm2."""
    low, _, high = span(name, "guide_wall")
    assert low <= math.pi / 4 * (outer**2 - bore**2) * 1e-6 <= high


@pytest.mark.parametrize("name", tubes())
def test_stiffness_of_fluoropolymer(name):
    """General tables: Young's modulus 57,000 psi, flexural modulus 490 to 590 MPa."""
    low, _, high = span(name, "guide_modulus")
    for value in (57000 * 6894.757, 490e6, 590e6):
        assert low * 0.99 <= value <= high * 1.01


@pytest.mark.parametrize("name", tubes())
def test_bows_are_no_longer_than_the_tube(name):
    """An arc is as long as its angle times its radius."""
    bend, radius, length = (span(name, quantity)[1] for quantity in ("bend", "bend_radius", "guide_length"))
    assert 0.5 * length <= bend * radius <= length


@pytest.mark.parametrize("name", sorted(set(KINDS) - set(tubes())))
def test_straight_blocks_hold_nothing_to_one_side(name):
    assert span(name, "bend_radius")[0] >= 10 * span(name, "guide_length")[2]


@pytest.mark.parametrize("name", KINDS)
def test_filament_fits(name):
    """ISO 286 has no say here: a filament that is 0.05 mm thick must still pass, at the narrowest."""
    thick = span(name, "counted_diameter")[1] + 0.05e-3
    assert thick < span(name, "guide_bore")[0]
    assert thick < span(name, "melt_bore")[0]
    assert thick > 0.75 * span(name, "melt_bore")[2]


@pytest.mark.parametrize(
    ("name", "bore"),
    [
        ("tube_fed", 0.4),
        ("direct_fine_nozzle", 0.25),
        ("tube_fed_wide_nozzle", 0.6),
        ("direct_coarse_nozzle", 0.8),
    ],
)
def test_still_air_around_a_bead(name, bore):
    """Churchill and Chu at a film of 380 K, the bead 164 K above the air."""
    table = {350: (20.92e-6, 29.9e-6, 30.0e-3, 0.700), 400: (26.41e-6, 38.3e-6, 33.8e-3, 0.690)}
    viscosity, diffusivity, conductivity, prandtl = (
        np.interp(380, [350, 400], column) for column in zip(*table.values(), strict=True)
    )
    rayleigh = 9.81 / 380 * 164 * (bore * 1e-3) ** 3 / (viscosity * diffusivity)
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    assert span(name, "nozzle_bore")[1] == pytest.approx(bore * 1e-3)
    assert span(name, "bead_cooling")[1] == pytest.approx(nusselt * conductivity / (bore * 1e-3), rel=0.03)


def effusivity(conductivity: float, density: float, specific_heat: float) -> float:
    """Give the root of the product, in W s^0.5/m2/K."""
    return math.sqrt(conductivity * density * specific_heat)


BEADS = {"polylactide": effusivity(0.19, 1240, 1850), "urethane": effusivity(0.20, 1200, 1800)}


@pytest.mark.parametrize("bead", BEADS)
@pytest.mark.parametrize(
    ("name", "plate"),
    [
        ("desktop_machine", effusivity(0.22, 1270, 1150)),  # polyetherimide
        ("desktop_machine", effusivity(0.24, 1390, 1170)),  # polyester film
        ("tube_fed_on_glass", effusivity(1.4, 2500, 750)),  # soda-lime plate, Incropera and DeWitt, table A.3
        ("tube_fed_on_glass", effusivity(1.0, 2500, 840)),  # soda-lime, glass makers' general tables
    ],
)
def test_first_touch_by_effusivity(bead, name, plate):
    """Carslaw and Jaeger: the share is e / (e + e of the plate)."""
    low, _, high = span(name, "contact_share")
    assert low <= BEADS[bead] / (BEADS[bead] + plate) <= high


@pytest.mark.parametrize("name", KINDS)
def test_lined_hot_ends_stay_below_the_service_temperature(name):
    """UL 746B: 260 degC for fluoropolymer."""
    lined = machine(name).values["liner"].word == "fluoropolymer"
    assert span(name, "nozzle_limit")[2] <= (260 if lined else 300) + 273.15


@pytest.mark.parametrize("name", KINDS)
def test_drives_stay_below_published_traction(name):
    """About 60 N before teeth strip the filament."""
    assert span(name, "drive_push")[2] <= 60


@pytest.mark.parametrize("name", KINDS)
def test_travel_reaches_its_speed(name):
    """Uniform acceleration over half of the way and braking over the other half reach sqrt(a L)."""
    reached = math.sqrt(span(name, "acceleration")[0] * span(name, "travel_length")[0])
    assert span(name, "travel_limit")[2] <= reached


@pytest.mark.parametrize("name", KINDS)
def test_a_first_layer_can_be_laid(name):
    """A first layer that varies by a third at most and is pressed within a fifth to four fifths of the bore."""
    error, bore = span(name, "plate_error")[2], span(name, "nozzle_bore")[1]
    steps = [0.01e-3 * i for i in range(5, 101)]
    assert any(3 * error <= h + 1e-12 and 0.2 * bore + error <= h + 1e-12 <= 0.8 * bore - error + 2e-12 for h in steps)


@pytest.mark.parametrize("name", KINDS)
def test_the_face_is_wider_than_a_bead(name):
    """A bead of up to 1.25 bores lies under the flat that presses it."""
    assert 1.25 * span(name, "nozzle_bore")[2] < span(name, "nozzle_face")[0]


def test_gaps_of_guided_and_unguided_feed():
    assert span("tube_fed", "gap") == (0, 0, 0)
    assert span("tube_fed_open_gap", "gap") == pytest.approx((4e-3, 5e-3, 6e-3))


def test_drill_point_and_taper():
    """The cone's half angle is half of a 60 degree drill's point."""
    assert 2 * span("desktop_machine", "taper")[1] == pytest.approx(math.radians(60))
