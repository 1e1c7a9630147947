"""The loom, an invented tool chain with names and units of its own: the worked example of the page on targets."""

import json
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from meltwright.cli import main
from meltwright.meaning.loading import library_folder
from meltwright.output.targets import builtin_folder
from meltwright.output.toml_places import read_toml
from meltwright.text.source import Source

from tests.conftest import library_model

LOOM = Path(__file__).parent / "loom"
DEMO = library_folder() / "demos" / "watch_strap.melt"


def missing_names() -> str:
    """Write a line for every setting of the library that the loom does not name yet."""
    data, _, why = read_toml(Source("names.toml", LOOM / "names.toml", (LOOM / "names.toml").read_text("utf-8")))
    assert not why
    said = {*data["names"], *data["left_out"]}
    new = [s for name, s in sorted(library_model().settings.items()) if name not in said]
    return "".join(f'"{s.name}" = {{ name = "new_{i}", unit = "{s.unit.symbol}" }}\n' for i, s in enumerate(new))


def test_the_loom_names_every_setting_of_the_library() -> None:
    lines = missing_names()
    assert not lines, f"give these names of the loom's own, below [names] in {LOOM / 'names.toml'}:\n{lines}"


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    """Copy the loom; settings that it does not name yet get a name, so that one test alone asks for them."""
    folder = tmp_path / "loom"
    shutil.copytree(LOOM, folder)
    with (folder / "names.toml").open("a", encoding="utf-8") as file:
        file.write(missing_names())
    return folder


def test_the_loom_is_sound(loom: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["target", "check", str(loom)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out.startswith(
        f"loom: sound ({len(library_model().settings)} settings named, 0 left out; writes watch_strap/"
    )


def test_the_loom_gets_the_same_settings_as_everybody(
    loom: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compile", str(DEMO), "--out", str(tmp_path / "made"), "--targets", str(loom)]) == 0
    assert capsys.readouterr().err == ""
    folder = tmp_path / "made" / "watch_strap"
    for path in sorted(folder.glob("*.json")):
        settings = json.loads(path.read_text("utf-8"))["settings"]
        lines = (line.split(" : ") for line in path.with_suffix(".card").read_text("utf-8").splitlines())
        card = {line[0].strip(): line[1].strip() for line in lines if len(line) == 2}

        def value(group: str, name: str, settings: dict[str, dict[str, dict[str, str]]] = settings) -> Fraction:
            return Fraction(settings[group][name]["text"])

        # The conversions worked out by hand: SI, and what the map's comments say of the loom's own scales.
        assert Fraction(card["ply"]) == value("layer", "height")
        assert Fraction(card["eyelet_heat"]) == value("heat", "nozzle") * Fraction(4, 5)
        assert Fraction(card["frame_heat"]) == value("heat", "bed") + Fraction("273.15")
        assert Fraction(card["yarn_breadth"]) == value("bead", "width") * 1000
        assert Fraction(card["hem_pace"]) == value("speed", "contour") * 60 / 1000
        assert Fraction(card["slack_pace"]) == value("retraction", "speed") * 60
        assert Fraction(card["breeze"]) == value("fan", "share") * 2
        assert abs(Fraction(card["ply_rest"]) - value("layer", "shortest_time") / 60) <= Fraction(1, 100_000)
        assert (card["selvedge"], card["yarn"], card["knots"], card["card"]) == ("0.50", "warm", "false", "3")
        caution = json.loads(path.read_text("utf-8"))["cautions"][0]["text"]
        assert f"( caution: {caution} )" in path.with_suffix(".card").read_text("utf-8")
    rows = (folder / "cards.txt").read_text("utf-8").splitlines()
    assert sorted(row.partition(":")[0] for row in rows) == sorted(p.stem for p in folder.glob("*.json"))
    assert all(" ply=0.20 " in row for row in rows)


def test_the_readme_shows_the_loom() -> None:
    text = (builtin_folder() / "README.md").read_text(encoding="utf-8")
    for name in ("target.toml", "names.toml", "card.j2"):
        shown = (LOOM / name).read_text(encoding="utf-8")
        if name == "names.toml":
            # Of the names the page shows the first ones.
            shown = shown[: shown.index('"bead.width"')]
        assert shown in text, name
