"""The files of the demo: read back by their readers, valid, the same on every run, and as reviewed."""

import configparser
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from meltwright.cli import main
from meltwright.compiling import compile_file
from meltwright.meaning.loading import library_folder
from meltwright.output.producing import produce
from meltwright.output.rendering import cell, one_line
from meltwright.output.schema import library_schema
from meltwright.output.targets import builtin_folder
from meltwright.telling.sentences import effort_told
from syrupy.assertion import SnapshotAssertion

DEMO = library_folder() / "demos" / "watch_strap.melt"
MACHINES = ("bench_tube", "corner_tube", "gantry_direct")


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("out")
    assert main(["compile", str(DEMO), "--out", str(folder)]) == 0
    yield folder / "watch_strap"


def bundle(out: Path, machine: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((out / f"{machine}.json").read_text(encoding="utf-8"))
    return data


def test_writes_exactly_these_files(out: Path) -> None:
    expected = [f"{m}.{ending}" for m in MACHINES for ending in ("html", "ini", "json", "md", "svg")]
    assert sorted(p.name for p in out.iterdir()) == sorted([*expected, "overview.html", "overview.md"])


def test_schema_is_the_one_the_library_gives() -> None:
    checked_in = (builtin_folder() / "json" / "schema.json").read_text(encoding="utf-8")
    assert checked_in == library_schema(), "run: python -m meltwright.output.schema > targets/json/schema.json"
    Draft202012Validator.check_schema(json.loads(checked_in))


@pytest.mark.parametrize("machine", MACHINES)
def test_json_is_valid_against_its_schema(out: Path, machine: str) -> None:
    validator = Draft202012Validator(json.loads((builtin_folder() / "json" / "schema.json").read_text("utf-8")))
    assert [e.message for e in validator.iter_errors(bundle(out, machine))] == []


def test_schema_refuses_a_setting_off_its_range(out: Path) -> None:
    validator = Draft202012Validator(json.loads((builtin_folder() / "json" / "schema.json").read_text("utf-8")))
    data = bundle(out, "bench_tube")
    data["settings"]["heat"]["nozzle"]["value"] = 4000
    assert not validator.is_valid(data)


@pytest.mark.parametrize("machine", MACHINES)
def test_ini_says_the_same_numbers_as_json(out: Path, machine: str) -> None:
    reader = configparser.ConfigParser(interpolation=None)
    reader.read_string((out / f"{machine}.ini").read_text(encoding="utf-8"))
    settings = bundle(out, machine)["settings"]
    assert set(reader.sections()) == {"made_for", *settings}
    for group, members in settings.items():
        assert {k: float(v) for k, v in reader[group].items()} == {k: float(s["value"]) for k, s in members.items()}


def test_a_second_run_gives_the_same_bytes(out: Path, tmp_path: Path) -> None:
    assert main(["compile", str(DEMO), "--out", str(tmp_path)]) == 0
    for path in sorted(out.iterdir()):
        assert (tmp_path / "watch_strap" / path.name).read_bytes() == path.read_bytes(), path.name


def test_no_output_names_a_path_of_this_machine(out: Path) -> None:
    for path in sorted(out.iterdir()):
        text = path.read_text(encoding="utf-8")
        assert str(library_folder()) not in text
        assert str(Path.home()) not in text


@pytest.mark.parametrize("machine", MACHINES)
def test_every_place_points_at_a_line_that_exists(out: Path, machine: str) -> None:
    data = bundle(out, machine)
    folders = {"library": library_folder().parent}
    places = {d["place"] for key in ("requirements", "inputs", "laws", "wants") for d in data[key]}
    places |= {d["place"] for d in data["derived"].values()}
    for place in places:
        file, _, line = place.rpartition(":")
        root = folders.get(file.split("/")[0], DEMO.parent)
        text = (
            (root / file) if "library/" not in file else library_folder() / file.removeprefix("library/")
        ).read_text(encoding="utf-8")
        assert 1 <= int(line) <= text.count("\n") + 1, place


@pytest.mark.parametrize(
    "name", [f"{m}.{e}" for m in MACHINES for e in ("ini", "md")] + ["overview.md", "bench_tube.json"]
)
def test_file_as_reviewed(out: Path, name: str, snapshot: SnapshotAssertion) -> None:
    assert (out / name).read_text(encoding="utf-8") == snapshot


def test_cautions_are_in_every_output_for_people(out: Path) -> None:
    for machine in MACHINES:
        cautions = [c["text"] for c in bundle(out, machine)["cautions"]]
        assert cautions
        for ending in ("ini", "md"):
            text = (out / f"{machine}.{ending}").read_text(encoding="utf-8")
            assert all(c in text for c in cautions)


# ---- how the answer is known


def test_outputs_say_whether_the_answer_is_certified(out: Path) -> None:
    for machine in MACHINES:
        work = bundle(out, machine)["work"]
        assert work["certified"] is True and work["says"].startswith("Certified to be the best")
        assert work["boxes"] > 0 and "boxes" not in work["says"]
        for ending in ("ini", "md"):
            assert work["says"] in (out / f"{machine}.{ending}").read_text(encoding="utf-8")


def test_an_answer_that_is_not_certified_says_so_everywhere() -> None:
    solution = compile_file(DEMO, "bench_tube").solutions[0]
    texts = produce([replace(solution, answer=replace(solution.answer, certified=False))], faults := [])
    assert faults == []
    data = json.loads(texts["watch_strap/bench_tube.json"])
    assert data["work"]["certified"] is False
    Draft202012Validator(json.loads((builtin_folder() / "json" / "schema.json").read_text("utf-8"))).validate(data)
    for ending in ("ini", "md"):
        text = texts[f"watch_strap/bench_tube.{ending}"]
        assert "not certified to be the best" in text and "Certified to be" not in text
    row = next(x for x in texts["watch_strap/overview.md"].splitlines() if x.startswith("| [bench_tube]"))
    assert row.endswith("| no |")


@pytest.mark.parametrize(
    ("certified", "prefers", "limit", "said"),
    [
        (True, True, 5000, "Certified to be the best by the preferences, within what they give back."),
        (True, False, None, "The profile prefers nothing"),
        (False, True, 5000, "not certified to be the best: the search ended at its limit of 5,000 boxes."),
        (False, False, None, "the search ended at its limit. More effort may find better ones."),
    ],
)
def test_what_is_said_of_the_effort(certified: bool, prefers: bool, limit: int | None, said: str) -> None:
    assert said in effort_told(certified, prefers, limit)


def test_every_source_is_told_once_in_the_rationale_and_found_by_its_number(out: Path) -> None:
    for machine in MACHINES:
        text, data = (out / f"{machine}.md").read_text(encoding="utf-8"), bundle(out, machine)
        listed = text[text.index("## Sources") : text.index("## What this does not cover")]
        for law in data["laws"]:
            (number,) = [
                line.split(".", 1)[0]
                for line in listed.splitlines()
                if line.endswith(f". {law['status'].capitalize()}: {one_line(law['source'])}")
            ]
            row = f"| `{law['name']}` | {cell(law['about'])} | {law['status']} [{number}] | {law['place']} |"
            assert text.count(row) == 1
            for d in data["derived"].values():
                if d["law"] == law["name"]:
                    assert f"Law `{d['law']}`, {d['status']} [{number}]; {d['place']}" in text
            for r in data["requirements"]:
                if r["law"] == law["name"]:
                    assert f"| {r['place']} [{number}] |" in text
        told = {law["name"] for law in data["laws"]}
        assert {d["law"] for d in data["derived"].values()} <= told
        assert {r["law"] for r in data["requirements"]} - {""} <= told


def test_the_rationale_tells_first_what_is_only_assumed(out: Path) -> None:
    for machine in MACHINES:
        text, data = (out / f"{machine}.md").read_text(encoding="utf-8"), bundle(out, machine)
        assumed = text[text.index("## What is only assumed") : text.index("## Settings")]
        known = text[text.index("## Inputs that are known") : text.index("## Derivations")]
        for i in data["inputs"]:
            row = f"| `{i['name']}` of {i['entity']} |"
            assert (row in assumed) == (i["evidence"] == "assumed") != (row in known)


def test_no_line_of_an_output_for_people_ends_in_a_blank(out: Path) -> None:
    for path in sorted(out.glob("*.md")):
        text = path.read_text(encoding="utf-8")
        assert not [line for line in text.splitlines() if line != line.rstrip()]
