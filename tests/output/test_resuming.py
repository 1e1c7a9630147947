"""Interrupted runs: only whole files are left, and another run does the rest, unless something has changed."""

from collections.abc import Iterator
from pathlib import Path

import meltwright.compiling as compiling
import pytest
from meltwright.cli import main
from meltwright.output.resuming import NAME

from tests.test_cli import GOOD

SOLVE = compiling.solve_in_turn
MACHINES = ("tube", "second", "third")
TEXT = GOOD.replace("machines tube", f"machines {', '.join(MACHINES)}") + "".join(
    f"machine {name} {{\n  gap {gap} mm\n}}\n" for name, gap in (("second", 5), ("third", 4))
)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with a profile on three machines, which are made one at a time."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(compiling, "AT_A_TIME", 1)
    (tmp_path / "shop.melt").write_text(TEXT, encoding="utf-8")
    return tmp_path


def run(*options: str) -> int:
    return main(["compile", "shop.melt", *options])


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def made(folder: Path) -> set[str]:
    """The machines that have files."""
    return {Path(name).stem for name in contents(folder) if name.endswith(".json")}


class Interrupting:
    """Solves as ever, but is stopped when it comes to a part; notes the machines that it was asked for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, stop_at: int) -> None:
        self.asked: list[str] = []
        self.stop_at = stop_at
        monkeypatch.setattr(compiling, "solve_in_turn", self)

    def __call__(self, prepared: object, networks: list, *rest: object) -> Iterator[object]:  # type: ignore[type-arg]
        self.asked = [n.machine for n in networks]
        for k, part in enumerate(SOLVE(prepared, networks, *rest)):  # type: ignore[arg-type]
            if k == self.stop_at:
                raise KeyboardInterrupt
            yield part


def test_an_interrupted_run_is_resumed(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("--out", "whole") == 0
    Interrupting(monkeypatch, 2)
    assert run("--out", "parts", "--resume") == 1
    assert made(here / "parts") == {"tube", "second"}
    again = Interrupting(monkeypatch, 9)
    assert run("--out", "parts", "--resume") == 0
    assert again.asked == ["third"]
    assert contents(here / "parts") == contents(here / "whole")


def test_without_resume_an_interrupted_run_leaves_nothing(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Interrupting(monkeypatch, 2)
    assert run("--out", "parts") == 1
    assert not (here / "parts").exists()


@pytest.mark.parametrize("change", ["text", "effort", "record", "file"])
def test_what_changed_is_made_anew(here: Path, monkeypatch: pytest.MonkeyPatch, change: str) -> None:
    Interrupting(monkeypatch, 2)
    assert run("--out", "parts", "--resume") == 1
    options = ["--out", "parts", "--resume"]
    if change == "text":
        (here / "shop.melt").write_text(TEXT.replace("gap 5 mm", "gap 5.5 mm"), encoding="utf-8")
    elif change == "effort":
        options += ["--effort", "77"]
    elif change == "record":
        (here / "parts" / "job" / NAME).write_bytes(b"\xff{ no record }\n")
    else:
        (here / "parts" / "job" / "tube.ini").unlink()
    again = Interrupting(monkeypatch, 9)
    assert run(*options) == 0
    assert again.asked == (["tube", "third"] if change == "file" else list(MACHINES))
    assert set(made(here / "parts")) == set(MACHINES)
    assert not (here / "parts" / "job" / NAME).exists()


def test_a_refused_machine_does_not_keep_the_others_from_being_made(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    law = '  require gap <= 5 mm\n    else "the gap is too wide"\n}\nmerit'
    (here / "shop.melt").write_text(TEXT.replace("}\nmerit", law, 1), encoding="utf-8")
    assert run("--out", "parts", "--resume") == 1
    said = capsys.readouterr().err
    assert "the gap is too wide" in said and "10 files were written" in said
    assert made(here / "parts") == {"second", "third"}
    assert not (here / "parts" / "job" / "overview.md").exists()
    assert run("--out", "none") == 1
    assert not (here / "none").exists()
