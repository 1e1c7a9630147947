"""What the library covers, told from a small library of its own; every snapshot is what a person or a program sees."""

import json
from pathlib import Path

import pytest
from meltwright.cli import main
from meltwright.telling.coverage import KINDS
from syrupy.assertion import SnapshotAssertion

TRADE = """\
quantity diameter of material : length in 1 .. 4 mm "Diameter of the filament."
quantity hardness of material : hardness in 10 .. 98 shore_a, 20 .. 85 shore_d "Indentation hardness."
quantity modulus of material : pressure in 1 .. 5000 MPa "Stiffness | of the filament."
quantity gap of machine : length in 0 .. 40 mm "Length without support."
quantity liner of machine : one of none, fluoropolymer "What lines the hot end."
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given "Height of one layer."
setting heat.nozzle : temperature in 180 .. 260 degC step 1 degC rather low "Nozzle temperature."
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s "Speed of the outer line."
grade strength by flow "How firm (invented)." {
  firm  up to 5 mm3/s  "breaks like solid"
  weak  above
}
merit throughput = flow "Volume laid down per second."
law flowing {
  about "Flow is speed by section. That holds for every bead."
  source textbook "continuity"
  let flow = speed.contour * layer.height * 1 mm "Volume laid down per second."
  require flow <= 20 mm3/s
    else "more than melts"
  valid flow >= 0.1 mm3/s else "too little to be even"
  checked "flow against a worked example (invented)" by "tests/published/test_flow.py::test_flow"
  checked "section against plane geometry" by "tests/published/test_flow.py"
}
law lined {
  about "A lined hot end has a limit."
  source practice "common practice, no source"
  when liner is fluoropolymer
  require heat.nozzle <= 240 degC
  caution "Ventilate." where heat.nozzle > 230 degC
  unchecked "nobody has published the limit (invented)"
}
law stiff {
  about "A soft rubber."
  source assumed "own model"
  let modulus = 20 MPa
}
"""
STOCK = """\
use "trade.melt"
material hard from plain {
  modulus 3000 MPa typical "from memory"
}
material plain {
  diameter 1.75 ± 0.05 mm published "a maker's sheet (invented)"
  modulus 10 .. 30 MPa assumed "candidate for a trial"
}
machine tube {
  gap 6 mm measured "calliper (invented)"
}
"""
SHOP = """\
use library "stock"
material ours from hard {
  diameter 1.8 mm
}
law ours_too {
  about "A shop's law."
  source practice "our own"
  require gap <= 30 mm
}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a shop's folder, with a small library installed elsewhere."""
    library, shop = tmp_path / "installed", tmp_path / "shop"
    (library / "demos").mkdir(parents=True)
    shop.mkdir()
    (library / "trade.melt").write_text(TRADE, encoding="utf-8")
    (library / "stock.melt").write_text(STOCK, encoding="utf-8")
    (library / "demos" / "shown.melt").write_text('use library "stock"\nmachine shown {\n}\n', encoding="utf-8")
    (shop / "shop.melt").write_text(SHOP, encoding="utf-8")
    monkeypatch.setattr("meltwright.meaning.loading.library_folder", lambda: library)
    monkeypatch.chdir(shop)
    return shop


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["library", *arguments]) == 0
    out, err = capsys.readouterr()
    assert not err
    return "\n" + out


SHOWN = {
    "summary": [],
    "summary with a shop": ["--file", "shop.melt"],
    "kinds": list(KINDS),
    "entries": ["diameter", "hardness", "liner", "layer.height", "heat.nozzle", "strength", "throughput", "lined"],
    "a derived name and a law": ["flow", "flowing"],
    "families": ["hard", "ours", "tube", "--file", "shop.melt"],
    "page": ["--markdown"],
    "page of some": ["--markdown", "laws", "hard"],
}


@pytest.mark.parametrize("shown", SHOWN)
def test_what_is_told(shown: str, here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    text = told(capsys, *SHOWN[shown])
    assert text == told(capsys, *SHOWN[shown])
    assert snapshot == text


@pytest.mark.parametrize("asked", [[], ["materials", "stiff"]])
def test_for_programs(
    asked: list[str], here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    text = told(capsys, "--json", *asked)
    assert tuple(json.loads(text)) == (KINDS if not asked else ("laws", "materials"))
    assert snapshot == text


def test_every_declaration_of_the_text_is_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(told(capsys, "--json", "--file", "shop.melt"))
    names = {kind: [e["name"] for e in entries] for kind, entries in data.items()}
    assert names == {
        "quantities": ["diameter", "hardness", "modulus", "gap", "liner"],
        "settings": ["layer.height", "heat.nozzle", "speed.contour"],
        "laws": ["flowing", "lined", "stiff", "ours_too"],
        "grades": ["strength"],
        "merits": ["throughput"],
        "materials": ["plain", "hard", "ours"],
        "machines": ["tube"],
    }
    ours = data["materials"][-1]
    assert (ours["line"], ours["without_evidence"], ours["place"]) == (["hard", "plain"], ["diameter"], "shop.melt:2")


def test_files_in_several_folders(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in ("one", "two"):
        (here / folder).mkdir()
        (here / folder / "shop.melt").write_text(f"machine of_{folder} {{\n}}\n", encoding="utf-8")
    data = json.loads(told(capsys, "--json", "machines", "--file", "one/shop.melt", "--file", "two/shop.melt"))
    assert [e["place"] for e in data["machines"]] == ["library/stock.melt:9", "one/shop.melt:1", "two/shop.melt:1"]


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["flowin"], "M430"),
        (["laws", "colour"], "M430"),
        (["--file", "missing.melt"], "M101"),
        (["--file", "."], "M105"),
        (["--file", "broken.melt"], "M110"),
    ],
)
def test_a_request_at_fault(arguments: list[str], code: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "broken.melt").write_text("machine a from 3 {\n}\n", encoding="utf-8")
    assert main(["library", *arguments]) == 1
    out, err = capsys.readouterr()
    assert not out and f"error[{code} " in err and "help: " in err
    assert arguments != ["flowin"] or "did you mean flowing or flow?" in err


def test_two_shapes_at_once_are_misuse(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["library", "--json", "--markdown"])
    assert stopped.value.code == 2
