"""The measuring guide: all quantities of a machine, its examples as text of the language, and its drawing.

Nothing outside is compared here: the guide must say neither more nor less than the library declares, and its drawing
must show what it says that it shows.
"""

import re
from functools import cache
from xml.etree import ElementTree

import pytest
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder

FOLDER = library_folder() / "machines"
GUIDE = (FOLDER / "README.md").read_text(encoding="utf-8")
DRAWING = (FOLDER / "measures.svg").read_text(encoding="utf-8")
SVG = "{http://www.w3.org/2000/svg}"
FIELDS = ("Drawing", "Tool", "How", "Write", "Care")


@cache
def quantities() -> set[str]:
    """Give the names of all declared quantities of a machine."""
    model, faults, _ = check_file(library_folder() / "trade.melt")
    assert model is not None, faults
    return {q.name for q in model.quantities.values() if q.owner == "machine"}


def entries() -> list[tuple[str, dict[str, str]]]:
    """Give the guide's entries in order: name, and the text of each field."""
    found = []
    for part in re.split(r"^### ", GUIDE, flags=re.MULTILINE)[1:]:
        name, _, text = re.split(r"^## ", part, flags=re.MULTILINE)[0].partition("\n")
        fields = dict(re.findall(r"^- \*\*(\w+)\*\* (.*(?:\n  .*)*)", text, flags=re.MULTILINE))
        found.append((name.strip("`"), fields))
    return found


def labels() -> dict[str, set[str]]:
    """Give the names of quantities that each panel of the drawing shows, by the panel's letter."""
    root = ElementTree.fromstring(DRAWING)
    return {
        panel.attrib["id"].removeprefix("panel-").upper(): {
            t.text or "" for t in panel.iter(f"{SVG}text") if t.get("class") == "quantity"
        }
        for panel in root.iter(f"{SVG}g")
        if panel.get("id", "").startswith("panel-")
    }


def test_guide_has_each_quantity_once_and_no_other():
    names = [name for name, _ in entries()]
    assert sorted(names) == sorted(quantities())


@pytest.mark.parametrize(("name", "fields"), entries(), ids=[name for name, _ in entries()])
def test_entry_is_complete(name, fields):
    assert set(fields) <= set(FIELDS)
    assert all(fields.get(field, "").strip() for field in FIELDS[:4]), fields
    assert fields["Write"].strip("`").split()[0] == name


@pytest.mark.parametrize(("name", "fields"), entries(), ids=[name for name, _ in entries()])
def test_entry_names_the_panels_that_show_it(name, fields):
    assert set(fields["Drawing"].split(", ")) == {letter for letter, shown in labels().items() if name in shown}


def test_labels_of_the_drawing_are_quantities():
    shown = set.union(*labels().values())
    assert shown == quantities()


def test_drawing_says_what_it_is():
    root = ElementTree.fromstring(DRAWING)
    title, described = (root.find(f"{SVG}{tag}") for tag in ("title", "desc"))
    assert title is not None and described is not None
    assert root.attrib["aria-labelledby"].split() == [title.attrib["id"], described.attrib["id"]]
    assert all(f"{letter}:" in (described.text or "") for letter in labels())
    assert "](measures.svg)" in GUIDE


def test_drawing_is_on_its_own():
    """Nothing is fetched and nothing runs; a card of its own is readable on light and dark pages."""
    assert not re.findall(r"href|url\(|<script|<style|<image", DRAWING)
    root = ElementTree.fromstring(DRAWING)
    card = next(child for child in root if child.tag == f"{SVG}rect")
    assert (card.get("x"), card.get("fill")) == (None, "#fcfcf9")


def test_examples_are_good_text(tmp_path):
    """All lines under Write make one machine, within the ranges that the library believes."""
    lines = "\n".join("  " + fields["Write"].strip("`") for _, fields in entries())
    path = tmp_path / "mine.melt"
    path.write_text(f'use library "trade"\n\nmachine mine {{\n{lines}\n}}\n', encoding="utf-8")
    model, faults, _ = check_file(path)
    assert model is not None and not faults, faults
    assert set(model.machines["mine"].values) == quantities()


def test_first_example_is_good_text(tmp_path):
    path = tmp_path / "mine.melt"
    path.write_text(re.findall(r"```melt\n(.*?)```", GUIDE, flags=re.DOTALL)[0], encoding="utf-8")
    model, faults, _ = check_file(path)
    assert model is not None and not faults, faults


HAZARDS = {
    "hot": (
        r"\b(hot|cold|burns|heats|warm)\b",
        [
            "nozzle_bore",
            "heated_length",
            "heater_share",
            "guide_length",
            "bed_reach",
            "part_cooling",
            "bed_limit",
            "plate_error",
        ],
    ),
    "pinching": (r"pinch|gears", ["drive_push", "drive_contact", "drive_speed", "grip_point", "gap", "play"]),
    "moving": (
        r"moves|motors off",
        [
            "contour_limit",
            "fill_limit",
            "travel_limit",
            "acceleration",
            "plate_error",
            "bend",
            "fan_air",
            "part_fan",
            "room",
        ],
    ),
    "mains": (r"mains", ["heater_power", "bed_limit"]),
    "fluoropolymer": (r"overheated|hot near", ["liner", "guide_modulus"]),
    "left alone": (r"alone", ["dryer_limit"]),
}


@pytest.mark.parametrize(
    ("words", "name"),
    [(words, name) for words, names in HAZARDS.values() for name in names],
    ids=lambda part: part[:20],
)
def test_what_can_hurt_has_its_caution(words, name):
    assert re.search(words, dict(entries())[name].get("Care", ""), flags=re.IGNORECASE)


@pytest.mark.parametrize(
    "word", ["unplug", "burn", "pinches", "moves|move without", "Mains", "Fluoropolymer", "240 degC"]
)
def test_cautions_come_first(word):
    """The general cautions stand before the first entry."""
    assert re.search(word, GUIDE[: GUIDE.index("### ")])
