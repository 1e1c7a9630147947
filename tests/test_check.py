"""The command ``check``: mending with ``--fix``, and what it tells to programs."""

import json
import os
import stat
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from meltwright.cli import main
from meltwright.meaning.loading import library_folder
from meltwright.output import mending, rewriting
from meltwright.text.source import Source

from tests.test_cli import BAD, GOOD

SCHEMA = Path(mending.__file__).parent / "reports" / "schema.json"
SLIPS = GOOD.replace("1.75 mm", "1.75 MM").replace("material rub\n", "material Rub\n")
"""A text with two mistakes that leave no doubt."""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder with a good file, one with slips, and one whose second fault asks for thought."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("good", GOOD), ("slips", SLIPS), ("bad", BAD)):
        (tmp_path / f"{name}.melt").write_text(text, encoding="utf-8")
    return tmp_path


def run(*arguments: str) -> int:
    return main(["check", *arguments])


def place(text: str, part: str) -> str:
    at = text.index(part)
    return f"{text.count(chr(10), 0, at) + 1}:{at - text.rfind(chr(10), 0, at)}"


def told_as_json(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    said = capsys.readouterr()
    assert said.err == ""
    data: dict[str, Any] = json.loads(said.out)
    Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(data)
    return data


# ---- mending


def test_what_leaves_no_doubt_is_mended_and_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--fix", "slips.melt") == 0
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        f"slips.melt:{place(SLIPS, 'MM')}: write mm for MM",
        f"slips.melt:{place(SLIPS, 'Rub')}: write rub for Rub",
        "slips.melt: sound (job on tube)",
    ]
    assert said.err == ""
    assert (here / "slips.melt").read_text(encoding="utf-8") == GOOD
    assert sorted(os.listdir()) == ["bad.melt", "good.melt", "slips.melt"]


def test_what_is_in_doubt_is_left_and_reported(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--fix", "bad.melt") == 1
    said = capsys.readouterr()
    assert said.out == f"bad.melt:{place(BAD, 'MM')}: write mm for MM\n"
    assert "M215" not in said.err and "error[M222 not-believable]" in said.err
    assert "can be mended" not in said.err
    assert (here / "bad.melt").read_text(encoding="utf-8") == BAD.replace("MM", "mm")


def test_without_the_option_one_line_at_the_end_tells_of_it(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("bad.melt", "slips.melt", "good.melt") == 1
    assert capsys.readouterr().err.endswith("slips.melt: 2 errors\n3 of these can be mended with --fix\n")
    assert (here / "slips.melt").read_text(encoding="utf-8") == SLIPS
    # What two files use is counted once.
    (here / "user.melt").write_text('use "slips"\n', encoding="utf-8")
    assert run("user.melt", "slips.melt") == 1
    assert capsys.readouterr().err.endswith("2 of these can be mended with --fix\n")
    (here / "odd.melt").write_text(GOOD.replace("gap 6 mm", "gap 60 mm"), encoding="utf-8")
    assert run("odd.melt") == 1
    assert "--fix" not in capsys.readouterr().err


def test_a_sound_file_is_not_written(here: Path) -> None:
    before = (here / "good.melt").stat()
    assert run("--fix", "good.melt") == 0
    after = (here / "good.melt").stat()
    assert (after.st_mtime_ns, after.st_ino) == (before.st_mtime_ns, before.st_ino)


def test_files_that_are_used_are_mended_too(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = here / "shop" / "parts.melt"
    shop.parent.mkdir()
    shop.write_text("machine shelf {\n  gap 6 MM\n}\n", encoding="utf-8")
    main = f'use "shop/parts"\n{GOOD}'.replace("machines tube", "machines shelv")
    (here / "main.melt").write_text(main, encoding="utf-8")
    assert run("--fix", "main.melt") == 0
    assert capsys.readouterr().out.splitlines()[:2] == [
        f"main.melt:{place(main, 'shelv')}: write shelf for shelv",
        "shop/parts.melt:2:9: write mm for MM",
    ]
    assert shop.read_text(encoding="utf-8") == "machine shelf {\n  gap 6 mm\n}\n"


def test_line_ends_a_mark_and_rights_stay(here: Path) -> None:
    data = b"\xef\xbb\xbf" + SLIPS.replace("\n", "\r\n").encode()
    (here / "slips.melt").write_bytes(data)
    (here / "slips.melt").chmod(0o640)
    assert run("--fix", "slips.melt") == 0
    assert (here / "slips.melt").read_bytes() == b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()
    assert stat.S_IMODE((here / "slips.melt").stat().st_mode) == 0o640


def test_a_link_stays_one(here: Path) -> None:
    (here / "real").mkdir()
    (here / "real" / "slips.melt").write_text(SLIPS, encoding="utf-8")
    (here / "link.melt").symlink_to("real/slips.melt")
    assert run("--fix", "link.melt") == 0
    assert (here / "link.melt").is_symlink()
    assert (here / "real" / "slips.melt").read_text(encoding="utf-8") == GOOD


def test_a_file_that_changed_meanwhile_is_not_overwritten(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    original = rewriting.stage_beside

    def changing(path: str, data: bytes) -> str:
        (here / "slips.melt").write_text("# mine\n" + SLIPS, encoding="utf-8")
        return original(path, data)

    monkeypatch.setattr(rewriting, "stage_beside", changing)
    assert run("--fix", "slips.melt") == 1
    said = capsys.readouterr()
    assert "error[M603 cannot-write]: slips.melt cannot be written: it was changed meanwhile" in said.err
    assert "help: run the command again" in said.err
    assert said.out == ""
    assert (here / "slips.melt").read_text(encoding="utf-8") == "# mine\n" + SLIPS
    assert sorted(os.listdir()) == ["bad.melt", "good.melt", "slips.melt"]


def test_a_file_that_may_not_be_written_is_reported(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert run("--fix", "slips.melt") == 1
    assert "cannot be written: you may not write it" in capsys.readouterr().err
    assert (here / "slips.melt").read_text(encoding="utf-8") == SLIPS


def test_the_library_is_never_written(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    library = here / "lib"
    library.mkdir()
    (library / "trade.melt").write_text(SLIPS[: SLIPS.index("profile")], encoding="utf-8")
    for module in ("meltwright.meaning.loading", "meltwright.output.mending"):
        monkeypatch.setattr(f"{module}.library_folder", lambda: library)
    before = (library / "trade.melt").read_bytes()
    (here / "main.melt").write_text(f'use library "trade"\n{SLIPS[SLIPS.index("profile") :]}', encoding="utf-8")
    assert run("--fix", "main.melt") == 1
    assert (library / "trade.melt").read_bytes() == before
    assert "material rub\n" in (here / "main.melt").read_text(encoding="utf-8")
    # Nor where it is named itself.
    assert run("--fix", "lib/trade.melt") == 1
    assert (library / "trade.melt").read_bytes() == before
    assert not mending.may_write(Source("x.melt", library / "x.melt", ""))


def test_the_installed_library_is_the_library() -> None:
    assert not mending.may_write(Source("library/trade.melt", library_folder().resolve() / "trade.melt", ""))
    assert mending.may_write(Source("mine.melt", Path("/somewhere/mine.melt"), ""))


def test_files_that_cannot_be_read_are_reported_once(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--fix", "none.melt") == 1
    assert capsys.readouterr().err.count("error[M101 ") == 1


def test_a_fix_that_is_not_proved_good_is_not_made(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("meltwright.text.fixing._spoilt", lambda before, picked, edits, *after: set(edits))
    assert run("--fix", "slips.melt") == 1
    said = capsys.readouterr()
    assert "error[M629 fix-failed]: a fix tried on slips.melt was not proved good" in said.err
    assert "error[M215 unknown-unit]" in said.err and said.out == ""
    assert (here / "slips.melt").read_text(encoding="utf-8") == SLIPS


# ---- told to programs


def test_json(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--format", "json", "bad.melt", "good.melt", "none.melt") == 1
    data = told_as_json(capsys)
    assert data["format"] == 1 and not data["sound"]
    bad, good, none = data["files"]
    assert good == {"file": "good.melt", "sound": True, "cases": ["job on tube"], "mended": [], "diagnostics": []}
    assert none["diagnostics"][0]["place"] == {"file": "none.melt", "in_library": False}
    unit = bad["diagnostics"][0]
    line, column = map(int, place(BAD, "MM").split(":"))
    stretch = {"line": line, "column": column, "end_line": line, "end_column": column + 2}
    where = {"file": "bad.melt", "in_library": False, **stretch}
    assert unit == {
        "code": "M215",
        "slug": "unknown-unit",
        "severity": "error",
        "message": "MM is not a unit",
        "help": "did you mean mm?",
        "place": where,
        "related": [],
        "values": [],
        "fixes": [{"title": "write mm for MM", "safe": True, "edits": [{"place": where, "text": "mm"}]}],
    }
    assert [r["role"] for r in bad["diagnostics"][1]["related"]] == ["declared here"]


def test_json_tells_what_was_mended(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--fix", "--format", "json", "slips.melt") == 0
    (file,) = told_as_json(capsys)["files"]
    assert [(m["code"], m["title"]) for m in file["mended"]] == [
        ("M215", "write mm for MM"),
        ("M212", "write rub for Rub"),
    ]
    assert file["diagnostics"] == []


def test_the_edits_of_json_mend_when_they_are_carried_out(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("--format", "json", "slips.melt")
    (file,) = told_as_json(capsys)["files"]
    lines = SLIPS.split("\n")
    for d in reversed(file["diagnostics"]):
        for edit in d["fixes"][0]["edits"]:
            p = edit["place"]
            line = lines[p["line"] - 1]
            lines[p["line"] - 1] = line[: p["column"] - 1] + edit["text"] + line[p["end_column"] - 1 :]
    assert "\n".join(lines) == GOOD


@pytest.mark.parametrize("name", ["json", "sarif"])
def test_standard_output_and_report_are_alike(here: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    assert run("--format", name, "bad.melt", "--report", f"r/all.{name}") == 1
    said = capsys.readouterr()
    assert (here / "r" / f"all.{name}").read_text(encoding="utf-8") == said.out
    assert said.err == ""


def test_sarif_has_the_fixes(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from pydantic_sarif.model import StaticAnalysisResultsFormatSarifVersion210JsonSchema as Log

    assert run("--format", "sarif", "slips.melt") == 1
    text = capsys.readouterr().out
    Log.model_validate_json(text)
    fixes = [fix for result in json.loads(text)["runs"][0]["results"] for fix in result["fixes"]]
    assert [f["description"]["text"] for f in fixes] == ["write mm for MM", "write rub for Rub"]
    (change,) = fixes[0]["artifactChanges"]
    assert change["artifactLocation"] == {"uri": "slips.melt", "uriBaseId": "SOURCES"}
    (replacement,) = change["replacements"]
    line, column = map(int, place(SLIPS, "MM").split(":"))
    assert replacement == {
        "deletedRegion": {"startLine": line, "startColumn": column, "endLine": line, "endColumn": column + 2},
        "insertedContent": {"text": "mm"},
    }


def test_other_formats_are_misuse(here: Path) -> None:
    with pytest.raises(SystemExit) as ended:
        run("--format", "xml", "good.melt")
    assert ended.value.code == 2


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(json.loads(SCHEMA.read_text(encoding="utf-8")))
