"""``explain``: how a code is asked for, and the forms in which it is told. What pages say is tested with them."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from meltwright.cli import main
from meltwright.text.catalogue import CATALOGUE

from tests.test_cli import BAD, LIGHT

Said = pytest.CaptureFixture[str]


@pytest.mark.parametrize("asked", ["M214", "m214", "unknown-name", "Unknown-Name", " m214 "])
def test_a_code_and_its_slug(asked: str, capsys: Said) -> None:
    assert main(["explain", asked]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("M214 unknown-name\n  error: nothing is called <name>\n")
    headings = [line for line in out.splitlines() if line and not line.startswith(" ")]
    assert headings == ["M214 unknown-name", "What it means", "An example", "How to mend it"]
    assert "      error[M214 unknown-name]: nothing is called diametre\n        --> example.melt:4:3\n" in out


@pytest.mark.parametrize(
    ("asked", "advice"),
    [
        ("M11x", "those that begin with M11 are M110, M111, M112, M113, M114, M115, M116, M117, M118 and M119"),
        ("m309", "those that begin with M30 are M301, M302, M303, M304, M305, M306 and M307"),
        ("M9", "to see all codes, run: meltwright explain"),
        ("unknown-nam", "did you mean unknown-name, unknown-unit or unknown-entity?"),
        ("warp", "to see all codes, run: meltwright explain"),
    ],
)
def test_an_unknown_code(asked: str, advice: str, capsys: Said) -> None:
    assert main(["explain", asked]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"error[M432 no-such-code]: there is no code {asked} to explain\n  help: {advice}\n"


def test_all_codes(capsys: Said) -> None:
    assert main(["explain"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "M2  names and values" in lines
    told = [line.split()[:2] for line in lines if line.startswith("  M")]
    assert told == [[code, CATALOGUE[code].slug] for code in sorted(CATALOGUE)]
    assert main(["explain", "--json"]) == 0
    groups = json.loads(capsys.readouterr().out)["groups"]
    assert [c["code"] for g in groups for c in g["codes"]] == sorted(CATALOGUE)
    assert main(["explain", "--markdown"]) == 0
    rows = [line for line in capsys.readouterr().out.splitlines() if line.startswith("| M")]
    assert [row.split(" | ")[0] for row in rows] == [f"| {code}" for code in sorted(CATALOGUE)]


def test_for_programs(capsys: Said) -> None:
    assert main(["explain", "M215", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert list(data) == ["code", "slug", "severity", "says", "help", "meaning", "example", "mending"]
    assert (data["code"], data["slug"], data["severity"]) == ("M215", "unknown-unit", "error")
    assert "```melt\n" in data["example"] and "```text\nerror[M215 " in data["example"]


def test_as_a_page(capsys: Said) -> None:
    assert main(["explain", "M215", "--markdown"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("# M215 unknown-unit\n\nerror: \\<unit> is not a unit\n\n## What it means\n\n")
    assert out.count("```") % 2 == 0


def test_a_code_whose_page_is_still_to_be_written(capsys: Said, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("meltwright.text.page.page_of", lambda code: None)
    assert main(["explain", "M112"]) == 0
    said = 'M112 unclosed-text\n  error: this text has no closing quote\n  help: end it with " on the same line\n'
    assert capsys.readouterr().out == said
    assert main(["explain", "M112", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["example"] == ""


def test_nowhere_to_try_the_example(capsys: Said, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*given: object, **named: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.mkdtemp", full)
    assert main(["explain", "M214"]) == 0
    out, err = capsys.readouterr()
    assert err == "" and "Meltwright says" not in out and "How to mend it" in out


def test_a_report_names_the_first_code_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Said) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bad.melt").write_text(BAD, encoding="utf-8")
    assert main(["check", "bad.melt"]) == 1
    err = capsys.readouterr().err
    assert "\nmeltwright explain M215 tells more\nbad.melt: 2 errors\n" in err
    assert err.count("meltwright explain") == 1


def test_two_faults_of_usage(capsys: Said) -> None:
    for arguments in (["explain", "M101", "M102"], ["explain", "M101", "--json", "--markdown"]):
        with pytest.raises(SystemExit) as ended:
            main(arguments)
        assert ended.value.code == 2


@pytest.mark.parametrize("arguments", [[], ["M101"], ["M999"]])
def test_what_needs_no_example_loads_little(arguments: list[str]) -> None:
    heavy = (*LIGHT, "lark")
    program = (
        f"import sys\nfrom meltwright.cli import main\nmain(['explain', *{arguments!r}])\n"
        f"print([m for m in {heavy!r} if m in sys.modules])\n"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert ran.stdout.endswith("[]\n"), ran.stdout + ran.stderr
