"""``compile --check``: every way in which kept outputs can differ is told apart, and nothing is written."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from meltwright.cli import main
from meltwright.meaning.loading import library_folder

from tests.test_cli import BAD, GOOD

README = library_folder().parent / "README.md"
FILES = ["job/overview.md", "job/tube.ini", "job/tube.json", "job/tube.md"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """Stand in a folder with a profile and its outputs."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shop.melt").write_text(GOOD, encoding="utf-8")
    assert main(["compile", "shop.melt", "--out", "made"]) == 0
    capsys.readouterr()
    return tmp_path


def state(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        p.relative_to(folder).as_posix(): (p.read_bytes(), p.stat().st_mtime_ns)
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def checked(folder: Path, capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, str]:
    """Check; gives the exit code and what was said of faults. Nothing may be written."""
    before = state(folder)
    code = main(["compile", "shop.melt", "--out", "made", "--check", *options])
    assert state(folder) == before
    said = capsys.readouterr()
    assert (code == 0) == (said.err == "")
    return code, said.err


def codes(said: str) -> list[str]:
    return sorted(line.split()[0] for line in said.splitlines() if line.startswith(("error[", "warning[")))


def test_fresh(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert set(FILES) <= {p.relative_to(here / "made").as_posix() for p in (here / "made").rglob("*")}
    assert main(["compile", "shop.melt", "--out", "made", "--check"]) == 0
    count = sum(p.is_file() for p in (here / "made").rglob("*"))
    assert capsys.readouterr() == (f"made: fresh ({count} files)\n", "")


def test_missing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "made" / "job" / "tube.ini").unlink()
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M605"])
    assert "made/job/tube.ini is not there" in said
    assert "help: run: meltwright compile shop.melt --out made," in said
    assert said.endswith("made: 1 error\n")


def test_no_folder_at_all(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    count = sum(p.is_file() for p in (here / "made").rglob("*"))
    (here / "made").rename(here / "elsewhere")
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M605"] * count)


def test_edited_by_hand(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "made" / "job" / "tube.ini"
    text = path.read_text(encoding="utf-8").replace("height = 0.20", "height = 0.30")
    path.write_text(text, encoding="utf-8")
    line = text.splitlines().index("height = 0.30") + 1
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M607"])
    assert f"--> made/job/tube.ini:{line}:1\n    | height = 0.30\n" in said


def test_edited_below_the_last_line(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "made" / "job" / "overview.md"
    path.write_text(path.read_text(encoding="utf-8") + "One more line.\n", encoding="utf-8")
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M607"])
    assert "    | One more line.\n" in said


def test_stale(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "shop.melt").write_text(GOOD.replace("0.2 mm\n", "0.3 mm\n"), encoding="utf-8")
    code, said = checked(here, capsys)
    assert code == 1 and set(codes(said)) == {"error[M606"}
    for name in FILES:
        assert f"made/{name} is not what the sources give now" in said


def test_edited_and_stale_is_stale(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ini = here / "made" / "job" / "tube.ini"
    ini.write_text(ini.read_text(encoding="utf-8") + "mine = 1\n", encoding="utf-8")
    (here / "shop.melt").write_text("# moved\n" + GOOD, encoding="utf-8")
    code, said = checked(here, capsys)
    assert code == 1 and set(codes(said)) == {"error[M606"}


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda data: data["program"].update(version="0.0"), "error[M606"),
        (lambda data: data["work"].update(limit=7), "error[M606"),
        (lambda data: data["sources"].clear(), "error[M606"),
        (lambda data: data["settings"].clear(), "error[M607"),
        (lambda data: data.update(work=None), "error[M606"),
    ],
)
def test_what_a_bundle_was_made_from_decides(
    here: Path, capsys: pytest.CaptureFixture[str], spoil: Callable[[object], None], code: str
) -> None:
    path = here / "made" / "job" / "tube.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    spoil(data)
    path.write_text(json.dumps(data), encoding="utf-8")
    assert checked(here, capsys)[0] == 1
    assert main(["compile", "shop.melt", "--out", "made", "--check"]) == 1
    assert codes(capsys.readouterr().err) == [code]


@pytest.mark.parametrize("text", [b"", b"{", b"[1]", b"null", b"[" * 100_000, b'"text"'])
def test_a_spoilt_bundle_is_stale(here: Path, capsys: pytest.CaptureFixture[str], text: bytes) -> None:
    (here / "made" / "job" / "tube.json").write_bytes(text)
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M606"])


def test_superfluous(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "made" / "job" / "old.ini").write_text("x", encoding="utf-8")
    (here / "made" / "gone").mkdir()
    (here / "made" / "gone" / "tube.md").write_text("x", encoding="utf-8")
    (here / "made" / ".gitignore").write_text("hidden files are left alone", encoding="utf-8")
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M608", "error[M608"])
    assert "made/gone/tube.md is not among" in said and "made/job/old.ini is not among" in said


def test_files_that_cannot_be_read(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "made" / "job" / "tube.md").write_bytes(b"\xff")
    (here / "made" / "job" / "tube.ini").unlink()
    (here / "made" / "job" / "tube.ini").mkdir()
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M609", "error[M609"])
    assert "tube.md cannot be compared: it is not UTF-8 text" in said
    assert "tube.ini cannot be compared: is a directory" in said


def test_other_ends_of_lines_are_told_as_such(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "made" / "job" / "tube.ini"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    code, said = checked(here, capsys)
    assert (code, codes(said)) == (1, ["error[M606"])
    assert "only its ends of lines differ" in said


def test_a_text_at_fault_compares_nothing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "shop.melt").write_text(BAD, encoding="utf-8")
    code, said = checked(here, capsys)
    assert code == 1 and said.endswith("nothing was compared\n")
    assert not {c for c in codes(said) if c.startswith("error[M6")}


def test_several_files_share_a_folder(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "more.melt").write_text(GOOD.replace("profile job", "profile other"), encoding="utf-8")
    assert main(["compile", "shop.melt", "more.melt", "--out", "made"]) == 0
    assert main(["compile", "shop.melt", "more.melt", "--out", "made", "--check"]) == 0
    capsys.readouterr()
    code, said = checked(here, capsys)
    assert code == 1 and set(codes(said)) == {"error[M608"}
    assert "name these in the same command" in said


def test_one_target_alone_is_compared(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in (here / "made" / "job").iterdir():
        if path.suffix != ".ini":
            path.unlink()
    assert checked(here, capsys, "--only", "ini") == (0, "")
    assert main(["compile", "shop.melt", "--out", "made", "--check"]) == 1


def test_without_a_bundle_nobody_is_said_to_have_edited_it(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "shop.melt").write_text(GOOD.replace("0.2 mm\n", "0.3 mm\n"), encoding="utf-8")
    code, said = checked(here, capsys, "--only", "ini")
    assert code == 1 and set(codes(said)) == {"error[M606", "error[M608"}


def test_the_command_in_the_help_can_be_run(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "made" / "job" / "tube.ini").unlink()
    _, said = checked(here, capsys, "--only", "ini", "--effort", "900")
    assert "run: meltwright compile shop.melt --out made --only ini --effort 900, and" in said


def test_checking_does_not_go_with_resuming(here: Path) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["compile", "shop.melt", "--out", "made", "--check", "--resume"])
    assert ended.value.code == 2


# ---- the recipes


@pytest.mark.skipif(not README.is_file(), reason="the README is not beside the library of this installation")
def test_the_recipes_of_the_readme(here: Path) -> None:
    section = README.read_text(encoding="utf-8").partition("## Kept under version control")[2].partition("\n## ")[0]
    hook, job = (block.partition("```")[0] for block in section.split("```sh\n")[1:])
    job = job.split("\n", 1)[1].replace(".venv/bin/", "")
    assert hook.startswith("#!/bin/sh\n") and job.count("meltwright") == 2
    (here / "profiles").mkdir()
    (here / "shop.melt").rename(here / "profiles" / "shop.melt")

    def ran(script: str) -> int:
        path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
        command = ["sh", "-e", "-c", script]
        return subprocess.run(
            command, cwd=here, env={**os.environ, "PATH": path}, capture_output=True, timeout=120, check=False
        ).returncode

    assert main(["compile", "profiles/shop.melt", "--out", "out"]) == 0
    assert (ran(hook), ran(job)) == (0, 0)
    reports = {p.name for p in (here / "reports").iterdir()}
    assert reports == {"texts.xml", "texts.sarif", "outputs.xml", "outputs.sarif"}
    (here / "out" / "job" / "tube.ini").write_text("", encoding="utf-8")
    assert (ran(hook), ran(job)) == (1, 1)
