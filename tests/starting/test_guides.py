"""The measuring guides: what the program reads of them is what people read, and it fits the library."""

import re
from dataclasses import fields
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_file, check_library
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Model
from meltwright.starting.guide import Guide, guide

OWNERS = ("machine", "material")


@pytest.fixture(scope="module")
def model() -> Model:
    model, faults, _ = check_library()
    assert model is not None, faults
    return model


def page(owner: str) -> str:
    return (library_folder() / f"{owner}s" / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("owner", OWNERS)
def test_entries_are_quantities_of_their_owner(model: Model, owner: str) -> None:
    names = list(guide(owner).entries)
    assert names == re.findall(r"^### `(\w+)`$", page(owner), re.MULTILINE)
    assert {model.quantities[n].owner for n in names} == {owner}


@pytest.mark.parametrize("owner", OWNERS)
def test_entries_are_whole_and_without_marks(owner: str) -> None:
    for entry in guide(owner).entries.values():
        said = {f.name: getattr(entry, f.name) for f in fields(entry)}
        assert all(said[name] for name in said if name not in ("care", "drawing")), said
        assert not any(mark in text for text in said.values() for mark in ("`", "**", "\n", "  ")), said
        # Every word stands on the page, in its order.
        words = " ".join(page(owner).replace("`", "").replace("**", "").split())
        assert all(text in words for text in (entry.tool, entry.how, entry.care)), said


@pytest.mark.parametrize("owner", OWNERS)
def test_cautions_come_before_the_entries(owner: str) -> None:
    found: Guide = guide(owner)
    text = " ".join(found.cautions)
    assert len(found.cautions) >= 5
    assert all(word in text for word in ("burn", "makers of machine and filament", "glasses"))
    assert page(owner).index("## Before you measure") < page(owner).index("### ")


def test_what_can_hurt_when_a_filament_is_measured_has_its_caution() -> None:
    entries = guide("material").entries
    for name, word in {
        "modulus": "whips",
        "friction": "mass",
        "drive_slip": "pinches",
        "bed_lowest": "burns",
        "bed_highest": "burns",
        "nozzle_highest": "lined",
        "moisture": "oven",
        "drying_highest": "soften",
    }.items():
        assert word in entries[name].care


@pytest.mark.parametrize("owner", OWNERS)
def test_kinds_are_those_of_the_library_each_in_its_file(model: Model, owner: str) -> None:
    table = model.machines if owner == "machine" else model.materials
    assert sorted(guide(owner).kinds) == sorted(table)
    rows = dict(re.findall(r"^\| `(\w+)` \| `([\w.]+)` \|", page(owner), re.MULTILINE))
    assert rows == {name: e.span.file.removeprefix(f"library/{owner}s/") for name, e in table.items()}


def test_examples_of_the_materials_guide_are_good_text(tmp_path: Path) -> None:
    """All lines under Write make one material, within the ranges that the library believes."""
    lines = re.findall(r"^- \*\*Write\*\* `(.*)`$", page("material"), re.MULTILINE)
    path = tmp_path / "mine.melt"
    body = "\n".join(lines)
    path.write_text(f'use library "trade"\n\nmaterial mine {{\n{body}\n}}\n', encoding="utf-8")
    checked, faults, _ = check_file(path)
    assert checked is not None and not faults, faults
    assert list(checked.materials["mine"].values) == list(guide("material").entries)


def test_numbers_worked_in_the_materials_guide() -> None:
    """The three worked numbers, computed anew: Hooke's law, the capstan equation, mass over volume."""
    from math import log, pi

    how = {name: e.how for name, e in guide("material").entries.items()}
    assert "13.6 MPa" in how["modulus"] and pytest.approx(13.6e6, rel=5e-3) == 0.1 * 9.81 / 2.4e-6 / (15 / 500)
    assert "0.19" in how["friction"] and log(0.9 / 0.5) / pi == pytest.approx(0.19, abs=5e-3)
    assert "1.18 g/cm3" in how["density"] and 2.84 / (pi / 4 * 0.175**2 * 100) == pytest.approx(1.18, abs=5e-3)
