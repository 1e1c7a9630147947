"""``vary``: settings and merits over varied inputs, as a table, as JSON and as a picture."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from meltwright.cli import main
from meltwright.compiling import Compiled
from meltwright.meaning.loading import library_folder
from meltwright.telling.bundle import bundle
from meltwright.text.catalogue import CATALOGUE
from syrupy.assertion import SnapshotAssertion

DEMO = str(library_folder() / "demos" / "watch_strap.melt")
SVG = "{http://www.w3.org/2000/svg}"

TEXT = """\
quantity firmness of material : pressure in 1 .. 100 MPa "Stiffness of the rod."
quantity shade of material : one of pale, dark "What nothing asks for."
quantity gap of machine : length in 0 .. 40 mm "Length without support."
quantity guide of machine : one of open, closed "Whether the rod is held at its sides."
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given "Height of one layer."
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s "Speed of the outer line."
setting heat.bed : temperature in 20 .. 100 degC step 5 K "Bed temperature."
law flowing {
  about "What is laid down."
  source textbook "continuity"
  let flow = speed.contour * layer.height * 1 mm
  require flow <= 10 mm3/s else "more than <melts> & flows"
  require heat.bed >= 30 degC
}
law bowing {
  about "What bends the rod."
  source assumed "for this test"
  when gap > 0 mm and guide is open
  require speed.contour * gap <= firmness / 1 MPa * 10 mm2/s else "the rod bows out"
}
merit throughput = flow "Volume laid down per second."
merit calm = -speed.contour "Little speed."
material rod {
  firmness 20 ± 2 MPa
  shade pale
}
machine bench {
  gap 6 mm
  guide open
}
machine closed from bench {
  guide closed
}
profile job {
  material rod
  machines bench, closed
  layer.height 0.2 mm
  speed.contour at least 12 mm/s
  prefer throughput, calm
}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with the small text."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.melt").write_text(TEXT, encoding="utf-8")
    return tmp_path


def vary(*sets: str, options: tuple[str, ...] = ("--machine", "bench"), file: str = "job.melt") -> int:
    return main(["vary", file, *options, *(word for s in sets for word in ("--set", s))])


def data_of(capsys: pytest.CaptureFixture[str], *sets: str, options: tuple[str, ...] = ("--machine", "bench")) -> Any:
    assert vary(*sets, options=(*options, "--json")) == 0
    return json.loads(capsys.readouterr().out)


# ---- tables


def test_the_crossing_of_the_demonstration(capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    assert vary("gap = 0 .. 12 mm in 5 steps", options=("--machine", "corner_tube"), file=DEMO) == 0
    assert capsys.readouterr().out == snapshot


TABLES = {
    "one varied, to where nothing holds": ["gap = 0 .. 20 mm in 11 steps"],
    "two varied": ["gap = 3 .. 15 mm in 3 steps", "firmness = 20 .. 40 ± 10 MPa in 3 steps"],
    "a setting varied, another fixed": ["heat.bed = 60 degC", "speed.contour = 10 .. 40 mm/s in 4 steps"],
    "words, and what no law asks for": ["guide = closed", "shade = dark", "gap = 2 mm"],
    "no answer at any point": ["gap = 30 .. 40 mm in 2 steps"],
}


@pytest.mark.parametrize("case", TABLES)
def test_tables(case: str, here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    assert vary(*TABLES[case]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out == snapshot


def test_a_table_for_each_machine(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert vary("gap = 6 .. 8 mm in 2 steps", options=()) == 0
    said = capsys.readouterr().out
    assert said.index("job: rod on bench") < said.index("job: rod on closed")
    assert "Nothing changes over these values." not in said[: said.index("on closed")]
    assert "Nothing changes over these values." in said[said.index("on closed") :]


def test_every_profile_of_a_file(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "job.melt").write_text(TEXT + "profile other from job {\n  machines closed\n}\n", encoding="utf-8")
    tables = data_of(capsys, "gap = 1 mm", options=())["tables"]
    assert [(t["profile"], t["machine"]) for t in tables] == [("job", "bench"), ("job", "closed"), ("other", "closed")]


def test_a_profile_that_prefers_nothing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "job.melt").write_text(TEXT.replace("  prefer throughput, calm\n", ""), encoding="utf-8")
    assert vary("gap = 6 .. 20 mm in 3 steps", options=("--machine", "bench", "--picture", "it.svg")) == 0
    said = capsys.readouterr().out
    assert "limited by" not in said and "nothing holds: " in said
    assert ElementTree.parse(here / "it.svg").getroot().tag == f"{SVG}svg"


# ---- the answers are those of compile


def test_each_point_is_what_compile_gives(
    here: Path, capsys: pytest.CaptureFixture[str], compiled: Callable[..., Compiled]
) -> None:
    (table,) = data_of(capsys, "gap = 0 .. 16 mm in 5 steps")["tables"]
    assert [p["values"]["gap"] for p in table["points"]] == [0, 4, 8, 12, 16]
    for point in table["points"]:
        (solution,) = compiled(TEXT.replace("gap 6 mm", f"gap {point['values']['gap']:g} mm"), "bench").solutions
        told = bundle(solution)
        settings = {f"{g}.{n}": s["value"] for g, group in told["settings"].items() for n, s in group.items()}
        assert point["settings"] == settings
        assert point["holds"] == told["holds"]
        assert point["limited_by"] == {m["name"]: m["limited_by"] for m in told["merits"]}
        assert point["merits"] == {m["name"]: float(m["text"].split()[0]) for m in told["merits"]}
    assert {p["holds"] for p in table["points"]} == {"all input values", "stated values only"}


def test_what_is_set_wins_over_the_file_and_leaves_it_alone(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = TEXT.replace("  prefer", '  pin heat.bed = 40 degC because "so"\n  prefer')
    (here / "job.melt").write_text(text, encoding="utf-8")
    (table,) = data_of(capsys, "heat.bed = 75 degC", "layer.height = 0.1 mm", "firmness = 15 .. 25 MPa")["tables"]
    (point,) = table["points"]
    assert point["settings"] == {"layer.height": 0.1, "speed.contour": 25, "heat.bed": 75}
    assert (here / "job.melt").read_text(encoding="utf-8") == text
    assert [p.name for p in here.iterdir()] == ["job.melt"]


def test_what_the_file_lacks_may_be_set(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "job.melt").write_text(TEXT.replace("  gap 6 mm\n", ""), encoding="utf-8")
    assert vary("firmness = 10 .. 20 MPa in 2 steps") == 1
    assert "[M403 missing-input]" in capsys.readouterr().err
    assert vary("firmness = 10 .. 20 MPa in 2 steps", "gap = 3 mm") == 0


# ---- values


@pytest.mark.parametrize(
    ("asked", "values"),
    [
        ("gap = 0 .. 1 mm in 3 steps", [0, 0.5, 1]),
        ("gap=0..1mm in 4 steps", [0, 0.3333, 0.6667, 1]),
        ("gap = 500 um .. 2 mm in 4 steps", [0.5, 1, 1.5, 2]),
        ("gap = 1.0 .. 1.3 cm in 4 steps", [1, 1.1, 1.2, 1.3]),
        ("firmness = 10 .. 20 MPa ± 5 % in 2 steps", [10, 20]),
        ("firmness = 10 .. 20 +- 2 MPa in 2 steps", [10, 20]),
        ("heat.bed = 30 .. 40 degC in 3 steps", [30, 35, 40]),
    ],
)
def test_values_are_evenly_spaced(
    asked: str, values: list[float], here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert data_of(capsys, asked)["set"][0]["values"] == values


def test_a_tolerance_counts(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (table,) = data_of(capsys, "firmness = 20 .. 30 ± 2 MPa in 2 steps")["tables"]
    assert [p["settings"]["speed.contour"] for p in table["points"]] == [30, 46]
    (table,) = data_of(capsys, "firmness = 20 .. 30 MPa in 2 steps")["tables"]
    assert [p["settings"]["speed.contour"] for p in table["points"]] == [33, 49]


# ---- what cannot be asked

FAULTS = {
    "no name": ["= 3 mm"],
    "nothing": [" "],
    "no value": ["gap"],
    "more than a value": ["gap = 3 mm } profile more {"],
    "an unknown name": ["firmnes = 3 MPa"],
    "a merit": ["throughput = 3 mm3/s"],
    "a derived quantity": ["flow = 1 .. 3 mm3/s in 3 steps"],
    "a unit of something else": ["gap = 3 .. 9 s in 3 steps"],
    "a misspelt unit": ["gap = 3 .. 9 MM in 3 steps"],
    "a word that is none": ["guide = oben"],
    "an unbelievable value": ["gap = 20 .. 60 mm in 5 steps"],
    "one step": ["gap = 3 .. 9 mm in 1 steps"],
    "steps without a number": ["gap = 3 .. 9 mm in steps"],
    "a tolerance without steps": ["gap = 3 .. 9 mm ± 1 mm"],
    "a reversed range": ["gap = 9 .. 3 mm in 3 steps"],
    "a range of one value": ["gap = 9 .. 9 mm in 3 steps"],
    "a value in steps": ["gap = 9 mm in 3 steps"],
    "a word in steps": ["guide = open in 3 steps"],
    "a setting off its lattice": ["heat.bed = 41 .. 59 degC in 3 steps"],
    "a setting between two values of its lattice": ["heat.bed = 41 .. 44 degC in 3 steps"],
    "a setting over a range": ["heat.bed = 40 .. 60 degC"],
    "a setting with a tolerance": ["heat.bed = 40 .. 60 degC ± 5 K in 3 steps"],
    "the same twice, and three varied": [
        "gap = 1 mm",
        "gap = 3 .. 9 mm in 3 steps",
        "firmness = 10 .. 20 MPa in 2 steps",
        "heat.bed = 40 .. 60 degC in 3 steps",
        "speed.contour = 10 .. 20 mm/s in 2 steps",
    ],
    "more points than anyone reads": ["gap = 0 .. 40 mm in 401 steps", "firmness = 10 .. 20 MPa in 3 steps"],
}


@pytest.mark.parametrize("case", FAULTS)
def test_faults(case: str, here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    assert vary(*FAULTS[case], options=("--machine", "bench", "--picture", "it.svg")) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.endswith("nothing was written\n")
    assert not (here / "it.svg").exists()
    assert "\n".join(FAULTS[case]) + "\n\n" + said.err == snapshot


@pytest.mark.parametrize(("picture", "code"), [("it.svg", "M426"), ("job.melt", "M427")])
def test_a_picture_that_cannot_be_drawn(
    picture: str, code: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert vary("gap = 3 mm", options=("--picture", picture)) == 1
    assert f"[{code} " in capsys.readouterr().err
    assert (here / "job.melt").read_text(encoding="utf-8") == TEXT


@pytest.mark.parametrize("code", sorted(c for c in CATALOGUE if c.startswith("M42")))
def test_every_message_of_this_command_is_shown_by_a_case(code: str) -> None:
    shown = (Path(__file__).parent / "__snapshots__" / "test_vary.ambr").read_text(encoding="utf-8")
    assert f"[{code} " in shown or code in ("M426", "M427")


def test_a_formula_that_is_undefined_at_a_point(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = TEXT.replace(
        "speed.contour * gap <= firmness / 1 MPa * 10 mm2/s", "speed.contour <= 300 mm2/s / (gap - 6 mm)"
    )
    (here / "job.melt").write_text(text, encoding="utf-8")
    assert vary("firmness = 20 MPa", "gap = 4 .. 8 mm in 3 steps") == 1
    said = capsys.readouterr().err
    assert "[M501 divides-by-zero]" in said and "--> --set:2:1  (where gap is 6 mm)" in said
    assert said.endswith("job.melt: 1 error\n")


def test_an_unknown_machine_and_nothing_set(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert vary("gap = 3 mm", options=("--machine", "bensh")) == 1
    assert "did you mean bench?" in capsys.readouterr().err
    with pytest.raises(SystemExit) as ended:
        vary()
    assert ended.value.code == 2


def test_a_search_that_ends_too_early(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ("--machine", "corner_tube", "--effort", "1", "--picture", "it.svg")
    assert vary("gap = 0 .. 1 mm in 2 steps", options=options, file=DEMO) == 0
    said = capsys.readouterr().out
    assert "? holds, but the search ended" in said
    assert vary("gap = 0 .. 1 mm in 2 steps", file=DEMO, options=("--machine", "corner_tube")) == 0
    assert "?" not in capsys.readouterr().out


# ---- pictures


def drawn(here: Path, *sets: str, options: tuple[str, ...] = ("--machine", "bench")) -> ElementTree.Element:
    assert vary(*sets, options=(*options, "--picture", "made/it.svg")) == 0
    return ElementTree.parse(here / "made" / "it.svg").getroot()


def texts_of(picture: ElementTree.Element, kind: str = "text") -> list[str]:
    return [e.text or "" for e in picture.iter(f"{SVG}{kind}")]


def test_a_picture_shows_the_crossing_and_where_nothing_holds(here: Path) -> None:
    picture = drawn(here, "gap = 0 .. 20 mm in 11 steps")
    crossings = [e for e in picture.iter(f"{SVG}line") if e.get("class") == "crossing"]
    assert len(crossings) == 1
    assert {"flowing", "bowing", "nothing holds", "speed.contour, mm/s"} <= set(texts_of(picture))
    marks = [e for e in picture.iter(f"{SVG}path") if e.find(f"{SVG}title") is not None]
    crosses = [e for e in marks if e.get("class") == "cross"]
    assert [e.findtext(f"{SVG}title") for e in crosses] == [
        "gap 18 mm: nothing holds: bowing, speed.contour at least 12 mm/s",
        "gap 20 mm: nothing holds: bowing, speed.contour at least 12 mm/s",
    ]
    assert len(marks) == 11
    assert [e.findtext(f"{SVG}title") for e in marks if "hollow" in str(e.get("class"))] == [
        "gap 16 mm: throughput 2.4 mm3/s; limited by bowing; speed.contour 12 mm/s; at the stated input values only"
    ]


def test_a_picture_is_told_in_words(here: Path) -> None:
    picture = drawn(here, "gap = 0 .. 20 mm in 11 steps")
    assert picture.get("role") == "img"
    assert picture.get("aria-labelledby") == "vary-title vary-about"
    assert picture.findtext(f"{SVG}title") == "job: rod on bench"
    about = picture.findtext(f"{SVG}desc") or ""
    assert "Limited by flowing from 0 to 2 mm. Limited by bowing from 4 to 16 mm." in about
    assert "Nothing holds at 2 of 11 points." in about
    titles = texts_of(picture, "title")
    assert "flowing: more than <melts> & flows" in titles, "what an author writes cannot break the picture"


def test_lines_of_a_second_input_differ_without_colour(here: Path) -> None:
    picture = drawn(here, "gap = 3 .. 15 mm in 3 steps", "firmness = 20 .. 40 MPa in 3 steps")
    curves = {e.get("class") for e in picture.iter(f"{SVG}polyline") if "curve" in str(e.get("class"))}
    assert curves == {"curve s0", "curve s1", "curve s2"}
    style = picture.findtext(f"{SVG}style") or ""
    dashes = [line for line in style.splitlines() if "dasharray" in line and ".curve.s" in line]
    assert len({line.partition("{")[2] for line in dashes}) == 5, "each has its own dashes, the first is whole"
    assert {"20 MPa", "30 MPa", "40 MPa"} <= set(texts_of(picture))


def test_the_same_text_gives_the_same_picture(here: Path) -> None:
    made = []
    for _ in range(2):
        drawn(here, "gap = 0 .. 20 mm in 5 steps", options=())
        made.append((here / "made" / "it.svg").read_bytes())
    assert made[0] == made[1]
    assert b"nan" not in made[0] and b"inf" not in made[0]


def test_a_picture_where_nothing_changes_or_holds(here: Path) -> None:
    assert "nothing holds" in texts_of(drawn(here, "gap = 30 .. 40 mm in 2 steps"))
    still = texts_of(drawn(here, "gap = 0.1 .. 0.2 mm in 2 steps"))
    assert "throughput, mm3/s" in still and "nothing holds" not in still and "speed.contour, mm/s" not in still


def test_a_picture_that_cannot_be_written(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "it.svg").mkdir()
    (here / "made").write_text("mine", encoding="utf-8")
    for path in ("it.svg", "made/it.svg"):
        assert vary("gap = 1 .. 2 mm in 2 steps", options=("--picture", path)) == 1
        said = capsys.readouterr()
        assert said.out == "" and "[M603 cannot-write]" in said.err and "--picture" in said.err
    assert sorted(p.name for p in here.iterdir()) == ["it.svg", "job.melt", "made"]
    assert list((here / "it.svg").iterdir()) == []
