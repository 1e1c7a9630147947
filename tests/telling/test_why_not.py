"""What a value would break, with the other settings kept."""

import json
from typing import Any

import pytest
from meltwright.cli import main
from meltwright.meaning.loading import library_folder
from syrupy.assertion import SnapshotAssertion

DEMO = str(library_folder() / "demos" / "watch_strap.melt")


def test_what_a_value_would_break(capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    assert main(["why", DEMO, "not", "retraction.length = 4 mm"]) == 0
    assert capsys.readouterr().out == snapshot


def test_a_value_that_holds_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", DEMO, "not", "fan.share = 100 %", "--machine", "bench_tube"]) == 0
    assert "holds too" in capsys.readouterr().out


def test_a_pinned_setting_is_tried_over_its_whole_lattice(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", DEMO, "not", "heat.bed = 120 degC", "--machine", "bench_tube"]) == 0
    assert "welds itself to the plate" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("heat.nozzle = 221.5 degC", "M405"),
        ("heat.nozzle = 900 degC", "M406"),
        ("heat.nozle = 220 degC", "M214"),
        ("heat.nozzle = 220 mm", "M301"),
        ("heat.nozzle", "M11"),
        ("gap = 3 mm", "M234"),
    ],
)
def test_a_question_at_fault(asked: str, code: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", DEMO, "not", asked, "--machine", "bench_tube"]) == 1
    assert f"[{code}" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["not"], ["heat.nozzle", "x = 1"]])
def test_misuse(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", DEMO, *words]) == 2
    assert "not 'SETTING = VALUE'" in capsys.readouterr().err


def test_programs_get_the_values_of_all_parts(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", DEMO, "not", "retraction.length = 4 mm", "--machine", "corner_tube", "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["machines"]
    assert [b["quoted"]["source"].split()[0] for b in told["broken"]] == ["require", "require", "stringing"]
    for b in told["broken"]:
        values = [_checked(q) for q in (b["quoted"], *(d["quoted"] for d in b["derivation"]))]
        assert {b["left"], b["right"]} - {v["value"] for v in values[0]} <= {0.03}
        for d, found in zip(b["derivation"], values[1:], strict=True):
            assert (found[0]["part"], found[0]["value"]) == (d["name"], d["value"])


def _checked(quoted: dict[str, Any]) -> list[dict[str, Any]]:
    for v in quoted["values"]:
        assert " ".join(quoted["source"][v["from"] : v["to"]].split()) == v["part"]
        assert v["text"].endswith(v["unit"])
    return list(quoted["values"])
