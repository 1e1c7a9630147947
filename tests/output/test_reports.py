"""Reports for other programs: valid by the formats' own rules, relative, and the same on every run.

SARIF: pydantic-sarif, whose models are generated from the OASIS schema of version 2.1.0 and forbid what it forbids.
JUnit XML has no standard; the structure that its readers agree on is restated here, from memory.
"""

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from meltwright import __version__
from meltwright.cli import main
from meltwright.output.reports import Part, place_of, report_text
from meltwright.text.diagnostic import Related, diagnose
from meltwright.text.source import NOWHERE, Source, Span

from tests.test_cli import BAD, GOOD


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "good one.melt").write_text(GOOD, encoding="utf-8")
    (tmp_path / "shop" / "bad.melt").write_text(BAD, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def valid_sarif(path: Path) -> dict[str, Any]:
    from pydantic_sarif.model import StaticAnalysisResultsFormatSarifVersion210JsonSchema as Log

    text = path.read_text(encoding="utf-8")
    Log.model_validate_json(text)
    run: dict[str, Any] = json.loads(text)["runs"][0]
    rules = [r["id"] for r in run["tool"]["driver"]["rules"]]
    for result in run["results"]:
        assert rules[result["ruleIndex"]] == result["ruleId"]
        for location in result.get("locations", []) + result.get("relatedLocations", []):
            where = location["physicalLocation"]["artifactLocation"]
            assert where["uriBaseId"] in run["originalUriBaseIds"]
            assert not where["uri"].startswith("/") and ":" not in where["uri"] and "\\" not in where["uri"]
    return run


def valid_junit(path: Path) -> ElementTree.Element:
    """Check what readers of JUnit XML agree on: elements, their order, attributes, and counts that add up."""
    root = ElementTree.fromstring(path.read_bytes())
    assert root.tag == "testsuites"
    totals = {"tests": 0, "failures": 0, "skipped": 0, "errors": 0}
    for suite in root:
        assert suite.tag == "testsuite" and suite.get("name")
        cases = suite.findall("testcase")
        assert [e.tag for e in suite] == ["testcase"] * len(cases) + ["system-out"] * (len(suite) - len(cases))
        assert len(suite) - len(cases) <= 1
        for case in cases:
            assert set(case.attrib) == {"classname", "name", "time"} and float(case.attrib["time"]) == 0
            assert [e.tag for e in case] in ([], ["failure"], ["skipped"])
            assert all(e.get("message") for e in case)
            assert all(e.get("type") and e.text for e in case.findall("failure"))
        counted = {
            "tests": len(cases),
            "failures": len(suite.findall("testcase/failure")),
            "skipped": len(suite.findall("testcase/skipped")),
            "errors": 0,
        }
        assert {k: int(suite.attrib[k]) for k in counted} == counted
        totals = {k: totals[k] + counted[k] for k in totals}
    assert {k: int(root.attrib[k]) for k in totals} == totals
    return root


def run(*arguments: str) -> int:
    return main([*arguments, "--report", "r/all.xml", "--report", "r/all.sarif"])


def test_a_good_file(here: Path) -> None:
    assert run("check", "shop/good one.melt") == 0
    sarif, junit = valid_sarif(here / "r" / "all.sarif"), valid_junit(here / "r" / "all.xml")
    assert sarif["results"] == [] and sarif["tool"]["driver"]["version"] == __version__
    (case,) = junit.iter("testcase")
    assert (case.get("classname"), case.get("name")) == ("shop/good one.melt", "job on tube")
    assert len(case) == 0


def test_a_bad_file_and_a_good_one(here: Path) -> None:
    assert run("check", "shop/bad.melt", "shop/good one.melt") == 1
    sarif, junit = valid_sarif(here / "r" / "all.sarif"), valid_junit(here / "r" / "all.xml")
    assert [r["ruleId"] for r in sarif["results"]] == ["M215", "M222"]
    (location,) = sarif["results"][0]["locations"]
    assert location["physicalLocation"]["artifactLocation"]["uri"] == "shop/bad.melt"
    line = BAD[: BAD.index("1.75 MM")].count("\n") + 1
    region = location["physicalLocation"]["region"]
    text = BAD.splitlines()[line - 1]
    assert region["startLine"] == region["endLine"] == line
    assert text[region["startColumn"] - 1 : region["endColumn"] - 1] == "MM"
    (rule, _) = sarif["tool"]["driver"]["rules"]
    assert rule["shortDescription"]["text"] == "<unit> is not a unit"
    assert (
        rule["help"]["markdown"].startswith("# M215 unknown-unit\n") and "## How to mend it" in rule["help"]["markdown"]
    )
    assert rule["defaultConfiguration"]["level"] == "error"
    assert [s.get("failures") for s in junit] == ["2", "0"]
    assert f"at shop/bad.melt:{line}:" in (junit[0][0][0].text or "")
    assert not list(junit[1].iter("failure"))


def test_warnings_fail_nothing(here: Path) -> None:
    text = GOOD.replace("law flowing", 'setting fan.share : share in 0 .. 100 % step 5 %\n  "Fan."\nlaw flowing')
    (here / "loose.melt").write_text(text, encoding="utf-8")
    assert run("compile", "loose.melt", "--out", "made") == 0
    sarif, junit = valid_sarif(here / "r" / "all.sarif"), valid_junit(here / "r" / "all.xml")
    assert [(r["ruleId"], r["level"]) for r in sarif["results"]] == [("M409", "warning")]
    assert junit.get("failures") == "0" and "M409" in (junit[0][-1].text or "")


@pytest.mark.parametrize("name", ["none.melt", "shop"])
def test_files_that_cannot_be_read(here: Path, name: str) -> None:
    assert run("check", f"shop/../{name}") == 1
    (result,) = valid_sarif(here / "r" / "all.sarif")["results"]
    assert result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == name
    assert valid_junit(here / "r" / "all.xml").get("failures") == "1"


def test_outputs_that_differ(here: Path) -> None:
    assert main(["compile", "shop/good one.melt", "--out", "made"]) == 0
    assert run("compile", "shop/good one.melt", "--out", "made", "--check") == 0
    fresh = valid_junit(here / "r" / "all.xml")
    outputs = [c.get("name") for c in fresh.iter("testcase")]
    assert "made/job/tube.ini" in outputs
    (here / "made" / "job" / "tube.ini").unlink()
    (here / "made" / "job" / "mine.txt").touch()
    assert run("compile", "shop/good one.melt", "--out", "made", "--check") == 1
    junit = valid_junit(here / "r" / "all.xml")
    failed = {c.get("name"): c[0].get("type") for c in junit.iter("testcase") if len(c)}
    assert failed == {
        "made/job/tube.ini": "M605 output-missing",
        "made/job/mine.txt": "M608 output-superfluous",
    }
    assert [r["ruleId"] for r in valid_sarif(here / "r" / "all.sarif")["results"]] == ["M608", "M605"]


def test_a_report_in_the_folder_that_is_compared_is_no_output(here: Path) -> None:
    options = ("compile", "shop/good one.melt", "--out", "made", "--report", "made/report.xml")
    assert main([*options]) == 0
    assert main([*options, "--check"]) == 0
    assert main([*options, "--check"]) == 0


def test_places_in_the_library_name_no_folder_of_this_machine(here: Path) -> None:
    (here / "odd.melt").write_text(
        'use library "trade"\nmachine odd {\n  gap 1 km\n  gap 900 mm\n}\n', encoding="utf-8"
    )
    assert run("check", "odd.melt") == 1
    run_ = valid_sarif(here / "r" / "all.sarif")
    related = [r for result in run_["results"] for r in result.get("relatedLocations", [])]
    bases = {r["physicalLocation"]["artifactLocation"]["uriBaseId"] for r in related}
    places = [x for r in run_["results"] for x in r["locations"]]
    bases |= {x["physicalLocation"]["artifactLocation"]["uriBaseId"] for x in places}
    assert "LIBRARY" in bases
    for name in ("all.sarif", "all.xml"):
        text = (here / "r" / name).read_text(encoding="utf-8")
        assert str(here) not in text and "site-packages" not in text


def test_the_same_check_gives_the_same_bytes(here: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert run("check", "shop/bad.melt") == 1
    first = {p.name: p.read_bytes() for p in (here / "r").iterdir()}
    other = tmp_path / "other" / "place"
    (other / "shop").mkdir(parents=True)
    (other / "shop" / "bad.melt").write_text(BAD, encoding="utf-8")
    monkeypatch.chdir(other)
    assert run("check", "shop/bad.melt") == 1
    assert {p.name: p.read_bytes() for p in (other / "r").iterdir()} == first


def test_texts_that_xml_has_no_form_for(tmp_path: Path) -> None:
    source = Source("a\x07b.melt", tmp_path / "a.melt", 'é\x00 <&> "line"\n')
    found = diagnose("M602", Span(source.name, 0, 3), name="<&>\x00", why="\ud800", related=[Related(NOWHERE, "x")])
    part = Part("<a>\x0b", ("c & d",), (found,), {source.name: source})
    path = tmp_path / "r.xml"
    path.write_text(report_text(path, [part]), encoding="utf-8")
    assert "<&>" in (next(valid_junit(path).iter("failure")).text or "")
    place = place_of(found.span, part.sources)
    assert place and (place.line, place.column, place.end_column) == (1, 1, 4)


@pytest.mark.parametrize("name", ["report", "report.yaml", "report.xml.txt"])
def test_other_endings_are_misuse(here: Path, name: str) -> None:
    for command in (["check", "shop/bad.melt"], ["compile", "shop/bad.melt", "--out", "made"]):
        with pytest.raises(SystemExit) as ended:
            main([*command, "--report", name])
        assert ended.value.code == 2
    assert not (here / name).exists()


def test_a_report_that_cannot_be_written(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "taken").write_text("a file", encoding="utf-8")
    assert main(["check", "shop/good one.melt", "--report", "taken/r.xml"]) == 1
    said = capsys.readouterr().err
    assert "error[M603 cannot-write]" in said and "help: name another file for the report" in said
    assert (here / "taken").read_text(encoding="utf-8") == "a file"


def test_a_target_at_fault_is_reported_too(here: Path) -> None:
    (here / "mine").mkdir()
    (here / "mine" / "target.toml").write_text("about = 1\n", encoding="utf-8")
    assert run("compile", "shop/good one.melt", "--out", "made", "--targets", "mine") == 1
    results = valid_sarif(here / "r" / "all.sarif")["results"]
    assert {r["ruleId"] for r in results} == {"M601"}
    uris = {r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in results}
    assert uris == {"mine/target.toml"}
    assert not (here / "made").exists()
