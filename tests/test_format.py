"""The command ``format``: files in their place, standard input, what is listed, what is left alone."""

import io
import os
import stat
import sys
from pathlib import Path

import pytest
from meltwright.cli import main

ROUGH = "material m{gap 3mm}#c"
SET = "material m {\n  gap  3 mm\n}  #c\n"
BAD = "material m {\n gap 3 3\n}"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder; nothing is known of any text."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MELTWRIGHT_CACHE", "off")
    return tmp_path


def run(*arguments: str) -> int:
    return main(["format", *arguments])


def put(path: str, text: str | bytes) -> Path:
    file = Path(path)
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return file


def test_files_are_set_in_their_place(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rough, done = put("rough.melt", ROUGH), put("done.melt", SET)
    before = done.stat().st_mtime_ns
    assert run("rough.melt", "done.melt") == 0
    assert capsys.readouterr() == ("rough.melt: formatted\n", "")
    assert rough.read_bytes() == SET.encode()
    assert done.stat().st_mtime_ns == before
    assert sorted(os.listdir()) == ["done.melt", "rough.melt"]


@pytest.mark.parametrize(
    "data", [SET.replace("\n", "\r\n").encode(), b"\xef\xbb\xbf" + SET.encode(), SET[:-1].encode()]
)
def test_line_ends_and_marks_alone_are_changes(here: Path, data: bytes) -> None:
    file = put("a.melt", data)
    assert run("--check", "a.melt") == 1
    assert file.read_bytes() == data
    assert run("a.melt") == 0
    assert file.read_bytes() == SET.encode()


def test_check_lists_and_changes_nothing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put("rough.melt", ROUGH)
    put("done.melt", SET)
    assert run("--check", "done.melt") == 0
    assert run("--check", "rough.melt", "done.melt") == 1
    assert capsys.readouterr() == ("rough.melt\n", "")
    assert Path("rough.melt").read_text() == ROUGH


def test_a_file_with_faults_is_left_alone_and_the_others_are_set(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put("bad.melt", BAD)
    put("rough.melt", ROUGH)
    assert run("bad.melt", "missing.melt", "rough.melt") == 1
    said = capsys.readouterr()
    assert said.out == "rough.melt: formatted\n"
    assert "error[M110 unexpected]" in said.err and "--> bad.melt:2:8" in said.err
    assert "error[M101 no-file]" in said.err
    assert Path("bad.melt").read_text() == BAD
    assert Path("rough.melt").read_text() == SET


@pytest.mark.parametrize("text", ["", "# nothing but this\n"])
def test_a_file_that_says_nothing_is_no_fault(here: Path, text: str) -> None:
    put("a.melt", text)
    assert run("--check", "a.melt") == 0


def test_rights_and_links_stay(here: Path) -> None:
    file = put("rough.melt", ROUGH)
    file.chmod(0o640)
    link = here / "link.melt"
    link.symlink_to(file)
    assert run("link.melt") == 0
    assert link.is_symlink()
    assert file.read_text() == SET
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_file_that_cannot_be_written_stays(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    file = put("rough.melt", ROUGH)
    monkeypatch.setattr(os, "replace", full)
    assert run("rough.melt") == 1
    assert "error[M603 cannot-write]: rough.melt cannot be written: no space left on device" in capsys.readouterr().err
    assert file.read_text() == ROUGH
    assert os.listdir() == ["rough.melt"]


def test_a_file_that_may_not_be_written_stays(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder would allow the renaming; the file's own rights count. A superuser may write anything."""
    file = put("rough.melt", ROUGH)
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert run("rough.melt") == 1
    assert "rough.melt cannot be written: you may not write it" in capsys.readouterr().err
    assert file.read_text() == ROUGH


# ---- standard input


def feed(data: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))


def test_standard_input(monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    feed("material m{gap 3 +- 1 mm}# µ".encode(), monkeypatch)
    assert run("-") == 0
    assert capfdbinary.readouterr() == ("material m {\n  gap  3 ± 1 mm\n}  # µ\n".encode(), b"")


def test_standard_input_checked(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    feed(ROUGH.encode(), monkeypatch)
    assert run("--check", "-") == 1
    assert capsys.readouterr() == ("standard input\n", "")
    feed(SET.encode(), monkeypatch)
    assert run("--check", "-") == 0
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("data", "said"),
    [(BAD.encode(), "--> standard input:2:8"), (b"\xff", "M102 not-text"), (b"#" * 1_000_001, "M103 too-large")],
)
def test_standard_input_with_faults_gives_nothing(
    data: bytes, said: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    feed(data, monkeypatch)
    assert run("-") == 1
    out, err = capfd.readouterr()
    assert out == ""
    assert said in err


def test_no_standard_input_at_all(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    assert run("-") == 0
    assert capfd.readouterr().out == ""


def test_standard_input_beside_a_file_is_a_misuse(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put("rough.melt", ROUGH)
    with pytest.raises(SystemExit) as stopped:
        run("-", "rough.melt")
    assert stopped.value.code == 2
    assert "no file can be named beside it" in capsys.readouterr().err
    assert Path("rough.melt").read_text() == ROUGH


def test_what_is_known_to_be_in_its_layout_is_not_parsed_again(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("MELTWRIGHT_CACHE", str(here / "cache"))
    put("rough.melt", ROUGH)
    put("bad.melt", BAD)
    assert run("rough.melt", "bad.melt") == 1
    monkeypatch.setattr("meltwright.syntax.formatting.format_text", None)
    assert run("rough.melt") == 0
    assert run("--check", "rough.melt") == 0
    capsys.readouterr()
    for other in (ROUGH, SET + "\n", BAD):
        put("rough.melt", other)
        with pytest.raises(TypeError):
            run("rough.melt")
