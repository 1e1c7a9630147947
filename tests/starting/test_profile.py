"""Starting a profile: what lies beside it is used, every line that is offered holds, and it compiles as it stands."""

import re
from io import StringIO
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_file
from meltwright.starting import profile
from meltwright.starting.talking import Talk
from syrupy.assertion import SnapshotAssertion

from tests.starting.doing import laid_out, run


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", StringIO())
    return tmp_path


def test_a_profile_with_its_material_and_machines(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    names = ("--material", "urethane_85a", "--machines", "direct_drive, tube_fed")
    assert run("new", "profile", "job", *names, "--set", "layer.height = 0.2 mm", "--set", "heat.bed = 40 degC") == 0
    text = (here / "job.melt").read_text(encoding="utf-8")
    assert text == snapshot
    assert laid_out(text) == text
    assert run("check", "job.melt") == 0 and run("compile", "job.melt", "--out", "out") == 0
    said = capsys.readouterr()
    assert "sound (job on direct_drive, job on tube_fed)" in said.out and not said.err


def test_every_line_that_is_offered_is_sound(here: Path) -> None:
    assert run("new", "profile", "job", "--material", "urethane_85a", "--machines", "direct_drive") == 0
    text = (here / "job.melt").read_text(encoding="utf-8")
    all_of_it = re.sub(r"^  # (\w+ at (?:most|least) \w+)$", r"  \1", text, flags=re.MULTILINE)
    (here / "job.melt").write_text(all_of_it, encoding="utf-8")
    model, faults, _ = check_file(here / "job.melt")
    assert model is not None and not faults, faults
    assert {w.name for w in model.profiles["job"].wants} == set(model.grades)
    assert all(f"#   {name}: " in text for name in model.merits)
    assert all(f"#   {band.name}: " in text for grade in model.grades.values() for band in grade.bands)


def test_what_is_left_to_fill_in_is_what_check_says(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    assert run("new", "profile", "job") == 0
    assert run("format", "--check", "job.melt") == 0
    assert run("check", "job.melt") == 1
    assert capsys.readouterr().err == snapshot


def test_a_file_with_faults_beside_is_left_out_and_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "bad.melt").write_text('use library "machines/tube_fed"\nmachine bad from tube_fed {\n  gap 4 5\n}\n')
    (here / "good.melt").write_text('use library "machines/tube_fed"\nmachine good from tube_fed {\n}\n')
    assert run("new", "profile", "job", "--material", "petg") == 0
    assert "bad.melt has faults, so it was left out: meltwright check bad.melt" in capsys.readouterr().out
    assert "machines      good\n" in (here / "job.melt").read_text(encoding="utf-8")
    assert run("new", "profile", "other", "--material", "petg", "--machines", "bad") == 1
    assert "bad.melt:3:" in capsys.readouterr().err


def test_what_lies_beside_is_used(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("new", "material", "strap", "--from", "urethane_85a", "--no-costs") == 0
    assert run("new", "machine", "bench", "--from", "tube_fed", "--no-costs") == 0
    assert run("new", "machine", "gantry", "--from", "direct_drive", "--no-costs") == 0
    (here / "broken.melt").write_text("machine odd {", encoding="utf-8")
    (here / "odd").mkdir()
    assert run("new", "profile", "job", "--machines", "gantry,tube_fed") == 0
    text = (here / "job.melt").read_text(encoding="utf-8")
    assert 'use "gantry.melt"\nuse "strap.melt"\nuse library "machines/tube_fed"\n' in text
    assert "\n  material      strap\n  machines      gantry, tube_fed\n" in text
    assert run("check", "job.melt") == 0


def asked(folder: Path, lines: list[str]) -> tuple[str, str]:
    """Hold the conversation about a profile; gives what is seen, and the file."""
    request = profile.Request("job", folder / "job.melt")
    start = profile.prepare(request)
    seen: list[str] = []
    start = profile.prepare(profile.converse(start, request, Talk(iter(lines), seen.append)))
    assert not start.failed, start.faults
    return "".join(seen), profile.text_of(start)


def test_asked_in_a_terminal(here: Path) -> None:
    (here / "shop.melt").write_text('use library "machines/tube_fed"\nmachine mine from tube_fed {\n}\n')
    seen, text = asked(here, ["rubber", "?", "urethane_85a", "1, direct_drive, 99", "1, direct_drive"])
    assert "error[M212 unknown-entity]: there is no material rubber" in seen and "no machine 99" in seen
    assert "meltwright new material NAME" in seen and "1  mine" in seen
    assert "\n  material      urethane_85a\n  machines      mine, direct_drive\n" in text


def test_what_is_not_answered_is_left(here: Path) -> None:
    for lines in ([], ["stop"], ["", ""], ["", "stop"]):
        _, text = asked(here, lines)
        assert "# material NAME" in text and "# machines NAME" in text
        assert laid_out(text) == text
