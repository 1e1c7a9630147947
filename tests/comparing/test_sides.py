"""The sides of ``compare``: revisions, what ``compile`` wrote, and what cannot be compared."""

import json
import os
import shutil
from pathlib import Path

import pytest
from meltwright.cli import main
from syrupy.assertion import SnapshotAssertion

from . import project
from .project import (
    CLOSER,
    NEEDS_GIT,
    STIFFER,
    change_of,
    commit,
    compared,
    edit,
    git,
    machine_of,
    refused,
    told,
)

# ---- revisions


@NEEDS_GIT
def test_imports_are_those_of_the_revision(repo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The old side reads a file that the working tree no longer has, from another folder."""
    (repo / "parts").mkdir()
    git(repo, "mv", "shop/rods.melt", "parts/rods.melt")
    edit(repo / "shop", ("job", 'use "rods.melt"', 'use "../parts/rods.melt"'))
    commit(repo, "moved")
    assert compared(capsys, "shop/job.melt", "--from", "HEAD~1")["same"]
    edit(repo / "parts", STIFFER)
    data = compared(capsys, "shop", "--from", "HEAD")
    assert [e["new_place"] for e in data["edits"]] == ["parts/rods.melt:2"]
    assert not data["same"]


@NEEDS_GIT
def test_a_law_of_a_library_that_lies_in_the_repository(
    repo: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from meltwright.comparing import sides
    from meltwright.meaning import loading

    (repo / "library" / "laws").mkdir(parents=True)
    law = 'law ceiling {\n  about "Why"\n  source assumed "for this test"\n  require speed.contour <= 20 mm/s\n}\n'
    path = repo / "library" / "laws" / "ceiling.melt"
    path.write_text(law, encoding="utf-8")
    edit(repo / "shop", ("job", 'use "laws.melt"', 'use "laws.melt"\nuse library "laws/ceiling"'))
    commit(repo, "with a library")
    for module in (loading, sides):
        monkeypatch.setattr(module, "library_folder", lambda: repo / "library")
    path.write_text(law.replace("20 mm/s", "25 mm/s"), encoding="utf-8")
    data = compared(capsys, "shop/job.melt", "--from", "HEAD")
    assert [(e["subject"], e["new_place"]) for e in data["edits"]] == [("law ceiling", "library/laws/ceiling.melt:4")]
    assert data["old"]["library"] != data["new"]["library"]
    assert change_of(machine_of(data), "setting", "speed.contour")["change"] == 5
    assert "\nlibrary: " in told(capsys, "shop/job.melt", "--from", "HEAD")


@NEEDS_GIT
def test_the_repository_is_only_read(repo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = sorted((p.as_posix(), p.stat().st_mtime_ns) for p in repo.rglob("*"))
    told(capsys, "shop", "--from", "HEAD")
    assert sorted((p.as_posix(), p.stat().st_mtime_ns) for p in repo.rglob("*")) == before


@NEEDS_GIT
def test_a_link_that_leads_out_of_a_revision_is_not_followed(repo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    outside = repo.parent / f"{repo.name}-outside.melt"
    outside.write_text(project.RODS, encoding="utf-8")
    (repo / "shop" / "rods.melt").unlink()
    (repo / "shop" / "rods.melt").symlink_to(f"../../{outside.name}")
    commit(repo, "a link")
    said = refused(capsys, "shop/job.melt", "--from", "HEAD")
    assert "error[M203 import-missing]: there is no file rods.melt" in said
    assert "HEAD:shop/job.melt:2:5" in said


# ---- what compile wrote


def test_results_of_compile(here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    edit(here / "new", CLOSER)
    for side in ("old", "new"):
        assert main(["compile", f"{side}/job.melt", "--out", f"{side}.out"]) == 0
    capsys.readouterr()
    data = compared(capsys, "old.out", "new.out")
    assert [(e["kind"], e["name"]) for e in data["edits"]] == [("value", "gap"), ("file", "machines.melt")]
    bench = machine_of(data)
    assert bench["method"] == "outputs"
    assert change_of(bench, "setting", "speed.contour")["change"] == 30
    assert machine_of(data, "closed")["state"] == "same"
    assert told(capsys, "old.out", "new.out") == snapshot
    # A text against what was compiled from it; and one file of the folder.
    assert compared(capsys, "new.out", "new/job.melt", "--expect-same")["same"]
    assert compared(capsys, "new.out", "new", "--expect-same")["same"]
    one = compared(capsys, "old.out/job/bench.json", "new/job.melt")
    assert [m["machine"] for p in one["profiles"] for m in p["machines"]] == ["bench"]
    assert change_of(machine_of(one), "setting", "speed.contour")["change"] == 30


@NEEDS_GIT
def test_results_that_are_kept_in_the_repository(repo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", "shop/job.melt", "--out", "kept"]) == 0
    commit(repo, "results")
    edit(repo / "shop", CLOSER)
    assert main(["compile", "shop/job.melt", "--out", "kept"]) == 0
    capsys.readouterr()
    data = compared(capsys, "kept", "--from", "HEAD")
    assert (data["old"]["kind"], data["new"]["kind"]) == ("outputs", "outputs")
    assert change_of(machine_of(data), "setting", "speed.contour")["change"] == 30


def test_another_version_and_another_library_are_named(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", "old/job.melt", "--out", "a"]) == 0
    shutil.copytree("a", "b")
    path = here / "b" / "job" / "bench.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    data["program"]["version"] = "0.0.1"
    data["sources"].append({"file": "library/laws/new.melt", "sha256": "0" * 64})
    data["settings"]["speed"]["contour"]["value"] = 31
    path.write_text(json.dumps(data), encoding="utf-8")
    capsys.readouterr()
    found = compared(capsys, "a", "b")
    assert {(e["kind"], e["name"]) for e in found["edits"]} == {("version", ""), ("file", "library/laws/new.melt")}
    assert all(e["effect"] for e in found["edits"])
    said = told(capsys, "a", "b")
    assert "\ncompiler: " in said
    assert "\nlibrary: " not in said or "library/laws/new.melt" in said


SPOILT = {
    "a setting without a value": lambda d: d["settings"]["speed"]["contour"].pop("value"),
    "a band of one number": lambda d: d["settings"]["speed"]["contour"].update(band=[1]),
    "a band that is a text": lambda d: d["settings"]["speed"]["contour"].update(band_text=3),
    "settings that are a list": lambda d: d.update(settings=[1]),
    "a want that is a number": lambda d: d.update(wants=[3]),
    "no work": lambda d: d.pop("work"),
    "a merit that is a text": lambda d: d["merits"][0].update(value="much"),
    "inputs that are nothing": lambda d: d.update(inputs=None),
    "sources without digests": lambda d: d.update(sources=[{"file": "a"}]),
    "no number at all": lambda d: d["merits"][0].update(value=float("nan")),
}


@pytest.mark.parametrize("case", SPOILT)
def test_a_spoilt_result_is_reported(case: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compile", "old/job.melt", "--out", "a"]) == 0
    shutil.copytree("a", "b")
    path = here / "b" / "job" / "bench.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    SPOILT[case](data)
    path.write_text(json.dumps(data), encoding="utf-8")
    capsys.readouterr()
    said = refused(capsys, "a", "b/job/bench.json")
    assert "error[M710 bad-output]" in said
    assert "  help: compile again, or remove the file\n" in said


# ---- what cannot be compared


def test_a_side_with_faults_is_named(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    edit(here / "new", ("machines", "gap 6 mm", "gap 6 mn"))
    assert refused(capsys, "old/job.melt", "new/job.melt") == snapshot


@NEEDS_GIT
def test_a_revision_with_faults_is_named(
    repo: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    edit(repo / "shop", ("machines", "gap 6 mm", "gap 6 mn"))
    commit(repo, "broken")
    edit(repo / "shop", ("machines", "gap 6 mn", "gap 6 mm"))
    assert refused(capsys, "shop/job.melt", "--from", "HEAD") == snapshot


def test_what_is_not_defined_on_one_side(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(
        here / "new", ("laws", "speed.contour * gap <=", "speed.contour * 1 mm2 / gap <="), ("machines", "6 mm", "0 mm")
    )
    said = refused(capsys, "old/job.melt", "new/job.melt", "--machine", "bench")
    assert "error[M501 divides-by-zero]" in said
    assert "M706 side-at-fault]: new/job.melt cannot be compared: 1 error there" in said


@NEEDS_GIT
@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["shop/job.melt", "--from", "HEAD~5"], "M703"),
        (["shop/job.melt", "--from", "--all"], "usage"),
        (["shop/job.melt", "--from=--all"], "M703"),
        (["shop/job.melt", "--from", "HEAD", "--to", "nowhere"], "M703"),
        (["shop/none.melt", "--from", "HEAD"], "M704"),
        (["shop/late.melt", "--from", "HEAD"], "M704"),
        (["shop/gone.melt", "--from", "HEAD"], "M705"),
        (["shop/job.melt", "--from", "HEAD", "--machine", "benhc"], "M711"),
        (["shop/job.melt", "shop/late.melt"], "M707"),
        (["shop/job.melt", "nothing.melt"], "M101"),
        (["shop/job.melt", "empty"], "M709"),
        (["shop/job.melt", "other.json"], "M710"),
        (["shop/job.melt", "cut.json"], "M710"),
        (["shop/job.melt", "lacking.json"], "M710"),
        (["shop/job.melt", "newer.json"], "M712"),
        (["shop/laws.melt", "shop/job.melt"], "M401"),
        (["shop/job.melt"], "usage"),
        (["shop/job.melt", "shop", "--from", "HEAD"], "usage"),
        (["shop/job.melt", "shop", "--to", "HEAD"], "usage"),
    ],
)
def test_bad_requests(
    arguments: list[str], code: str, repo: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    (repo / "shop" / "gone.melt").write_text(project.JOB, encoding="utf-8")
    commit(repo, "with one that goes")
    (repo / "shop" / "gone.melt").unlink()
    late = project.JOB.replace("profile job", "profile late")
    (repo / "shop" / "late.melt").write_text(late, encoding="utf-8")
    (repo / "empty").mkdir()
    for name, text in {
        "other": "[1]",
        "cut": '{"program": ',
        "lacking": '{"program": {"name": "meltwright"}, "format": 2, "machine": "bench"}',
        "newer": '{"program": {"name": "meltwright"}, "format": 99, "machine": "bench"}',
    }.items():
        (repo / f"{name}.json").write_text(text, encoding="utf-8")
    if code == "usage":
        with pytest.raises(SystemExit) as ended:
            main(["compare", *arguments])
        assert ended.value.code == 2
        return
    said = refused(capsys, *arguments)
    assert f"error[{code} " in said
    assert "  help: " in said
    assert said == snapshot


@NEEDS_GIT
def test_no_repository(here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(here.parent))
    assert "error[M702 no-repository]: old/job.melt lies in no git repository" in refused(
        capsys, "old/job.melt", "--from", "HEAD"
    )


@NEEDS_GIT
def test_a_repository_without_a_commit(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    git(here, "init", "-q")
    assert "help: commit something first" in refused(capsys, "old/job.melt", "--from", "HEAD")


def test_git_is_not_installed(here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(here))
    assert "error[M701 no-git]" in refused(capsys, "old/job.melt", "--from", "HEAD")


def test_git_that_fails(here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    tool = here / "git"
    tool.write_text("#!/bin/sh\necho 'fatal: detected dubious ownership' >&2\nexit 128\n", encoding="utf-8")
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{here}{os.pathsep}{os.environ['PATH']}")
    assert "error[M708 git-failed]: git could not read the repository: detected dubious ownership" in refused(
        capsys, "old/job.melt", "--from", "HEAD"
    )
