"""What it costs not to know: the numbers are those of ``worth`` on the same file, and a refusal says why."""

import json
from io import StringIO
from pathlib import Path

import pytest
from meltwright.starting.cost_text import told
from meltwright.starting.costs import Unknowns, costs
from meltwright.starting.guide import guide
from syrupy.assertion import SnapshotAssertion

from tests.starting.doing import run

JOB = """\
use library "materials/urethanes"
use "mine.melt"

profile job {
  material      urethane_85a
  machines      mine

  layer.height  0.20 mm
  stringing     at most hair
  bonding       at least light
  prefer        throughput, surface
}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", StringIO())
    return tmp_path


def start(*more: str) -> int:
    known = ["gap = 5 ± 0.3 mm", "land = 0.5 ± 0.05 mm", "end_fixity = 0.8 .. 0.9"]
    sets = [part for text in known for part in ("--set", text)]
    return run("new", "machine", "mine", "--from", "tube_fed_open_gap", *sets, *more)


def test_costs_agree_with_worth_on_the_same_file(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    (here / "job.melt").write_text(JOB, encoding="utf-8")
    assert start("--profile", "job.melt") == 0
    said = capsys.readouterr().out
    assert said == snapshot
    assert run("worth", "job.melt", "--json") == 0
    machine = json.loads(capsys.readouterr().out)["machines"][0]
    unknown = set(guide("machine").entries) - {"gap", "land", "end_fixity"}
    found = costs(Unknowns(here / "mine.melt", "machine", "mine", sorted(unknown & names(machine)), here / "job.melt"))
    assert found.worth is not None and not found.faults
    theirs = {i["name"]: i for i in machine["inputs"]}
    assert {i["name"]: i for i in found.worth["inputs"]} == {n: theirs[n] for n in theirs.keys() & unknown}
    assert found.worth["merits"] == machine["merits"]
    for one in found.worth["inputs"]:
        stated = next(e for e in one["exact"] if e["at"] == "stated")
        if stated["merits"][0]["effect"] == "better":
            row = next(line for line in said.splitlines() if line.startswith(f"    {one['name']} "))
            assert f"  {stated['merits'][0]['change']}  (" in row


def names(machine: dict[str, list[dict[str, str]]]) -> set[str]:
    return {i["name"] for i in machine["inputs"]}


def test_the_dearest_comes_first(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "job.melt").write_text(JOB, encoding="utf-8")
    assert start("--profile", "job.melt") == 0
    rows = [line.split("  (")[0].split() for line in capsys.readouterr().out.splitlines() if "  (+" in line]
    gains = [float(row[-2].removeprefix("+")) for row in rows]
    assert gains and gains == sorted(gains, reverse=True)


def test_where_nothing_holds_it_says_why(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    (here / "job.melt").write_text(JOB.replace("at least light", "at least light\n  throughput at least 9 mm3/s"))
    assert start("--profile", "job.melt") == 0
    assert capsys.readouterr().out == snapshot


def test_where_it_holds_at_the_stated_values_only(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    """Then it is told which of the unknowns would make settings hold for all values, and `worth` says the same."""
    (here / "job.melt").write_text(JOB.replace("at least light", "at least light\n  throughput at least 0.45 mm3/s"))
    assert start("--profile", "job.melt") == 0
    said = capsys.readouterr().out
    assert said == snapshot
    assert run("worth", "job.melt", "--json") == 0
    machine = json.loads(capsys.readouterr().out)["machines"][0]
    assert machine["holds"] == "stated values only"
    enough = {i["name"] for i in machine["inputs"] if any(e["outcome"].startswith("holds for all") for e in i["exact"])}
    rows = {line.split()[0] for line in said.splitlines() if "not enough" in line and line.startswith("    ")}
    assert rows == enough & set(guide("machine").entries) - {"gap", "land", "end_fixity"} != set()


def test_where_nothing_is_preferred(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "job.melt").write_text(JOB.replace("  prefer        throughput, surface\n", ""), encoding="utf-8")
    assert start("--profile", "job.melt") == 0
    assert "the profile prefers nothing" in capsys.readouterr().out


def test_a_profile_at_fault_is_told_and_the_file_stays(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for text, code in ((JOB.replace("0.20 mm", "0.20 s"), "M301"), (JOB.split("profile")[0], "M401")):
        (here / "job.melt").write_text(text, encoding="utf-8")
        (here / "mine.melt").unlink(missing_ok=True)
        assert start("--profile", "job.melt") == 1
        said = capsys.readouterr()
        assert f"error[{code} " in said.err and "--> job.melt" in said.err and "mine.melt: written" in said.out
    (here / "mine.melt").unlink()
    assert start("--profile", "none.melt") == 1
    assert "error[M101 no-file]: there is no file none.melt" in capsys.readouterr().err


def test_a_material_is_tried_on_a_machine_that_suits_it(here: Path) -> None:
    for base in ("urethane_95a_285", "styrene_abs", "polylactide"):
        assert run("new", "material", f"my_{base}", "--from", base, "--no-costs") == 0
        found = costs(Unknowns(here / f"my_{base}.melt", "material", f"my_{base}", ["friction", "nozzle_lowest"]))
        assert found.worth is not None and found.worth["holds"] == "all input values", (base, found.why)
        assert [i["name"] for i in found.worth["inputs"]] == ["friction"] and found.exact == ["nozzle_lowest"]
        assert "these are taken as exact" in told(found, guide("material").entries)
