"""``compare``: what changes on which machine, and which edit caused how much of it."""

import json
import os
import shutil
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from meltwright.cli import main
from meltwright.comparing import attributing
from meltwright.compiling import compile_file
from meltwright.telling.bundle import bundle
from syrupy.assertion import SnapshotAssertion

from . import project
from .project import commit, edit, git

NEEDS_GIT = pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")

STIFFER = ("rods", "20 ± 2 MPa", "27 ± 2 MPa")
CLOSER = ("machines", "gap 6 mm", "gap 3 mm")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with the project twice, as ``old`` and ``new``."""
    monkeypatch.chdir(tmp_path)
    project.write(tmp_path / "old")
    project.write(tmp_path / "new")
    return tmp_path


@pytest.fixture
def repo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a git repository with the project in its folder ``shop``, once committed."""
    monkeypatch.chdir(tmp_path)
    project.write(tmp_path / "shop")
    git(tmp_path, "init", "-q")
    commit(tmp_path, "first")
    return tmp_path


def compared(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    assert main(["compare", *arguments, "--json"]) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["compare", *arguments]) == 0, capsys.readouterr().err
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["compare", *arguments]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    return said.err


def machine_of(data: Any, machine: str = "bench", profile: str = "job") -> Any:
    (found,) = (
        m for p in data["profiles"] if p["profile"] == profile for m in p["machines"] if m["machine"] == machine
    )
    return found


def change_of(machine: Any, kind: str, name: str = "") -> Any:
    (found,) = (c for c in machine["changes"] if (c["kind"], c["name"]) == (kind, name))
    return found


def by_name(data: Any, change: Any) -> dict[str, float]:
    """Give the shares of a change by the names of the edits."""
    names = {e["id"]: e["name"] or e["subject"] for e in data["edits"]}
    return {" ".join(names[n] for n in c["edits"]): c["share"] for c in change["causes"]}


# ---- shares


@NEEDS_GIT
def test_two_causes_in_one_commit(repo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The rod bows at ``firmness * 10 / gap`` mm/s: 30 before, 60 and 41 with one edit each, 83 with both."""
    edit(repo / "shop", STIFFER, CLOSER)
    commit(repo, "second")
    data = compared(capsys, "shop/job.melt", "--from", "HEAD~1")
    speed = change_of(machine_of(data), "setting", "speed.contour")
    assert (speed["old_value"], speed["new_value"]) == (30, 83)
    assert by_name(data, speed) == {"gap": 36, "firmness": 17}
    assert [c["percent"] for c in speed["causes"]] == pytest.approx([100 * 36 / 53, 100 * 17 / 53], rel=1e-5)
    assert {by: c["alone"] for by, c in zip(("gap", "firmness"), speed["causes"], strict=True)} == {
        "gap": 30,
        "firmness": 11,
    }
    assert machine_of(data, "closed")["state"] == "same"
    assert [(e["old_place"], e["new_place"]) for e in data["edits"]] == [
        ("shop/machines.melt:2", "shop/machines.melt:2"),
        ("shop/rods.melt:2", "shop/rods.melt:2"),
    ]
    assert data["old"]["commit"] == git(repo, "rev-parse", "HEAD~1")
    assert data["new"]["name"] == "working tree"


@NEEDS_GIT
def test_two_causes_as_text_and_markdown(
    repo: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    edit(repo / "shop", STIFFER, CLOSER)
    commit(repo, "second")
    assert told(capsys, "shop/job.melt", "--from", "HEAD~1", "--to", "HEAD") == snapshot(name="text")
    assert told(capsys, "shop/job.melt", "--from", "HEAD~1", "--to", "HEAD", "--markdown") == snapshot(name="markdown")


THREE = {
    "inputs, a want and a law": [
        STIFFER,
        CLOSER,
        ("laws", "speed.contour * gap <=", "speed.contour * gap^1 * 1.2 <="),
    ],
    "a law and what it limits": [("laws", "flow <= 18", "flow <= 9"), CLOSER, ("job", "0.2 mm", "0.25 mm")],
}


@pytest.mark.parametrize("case", THREE)
def test_shares_against_every_order_compiled(case: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each text between is written to a file and compiled by itself, and every order walked through."""
    edits = THREE[case]
    edit(here / "new", *edits)
    data = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "bench")
    found: dict[frozenset[int], dict[str, float]] = {}
    for number in range(8):
        made = frozenset(i for i in range(3) if number >> i & 1)
        file = project.write(here / f"between{number}")
        edit(file.parent, *(edits[i] for i in made))
        told_there = bundle(compile_file(file, "bench").solutions[0])
        found[made] = {
            "speed.contour": told_there["settings"]["speed"]["contour"]["value"],
            "throughput": told_there["merits"][0]["value"],
        }
    order_of_edits = [e["new_place"].split(":")[0].removesuffix(".melt") for e in data["edits"]]
    for kind, name in (("setting", "speed.contour"), ("merit", "throughput")):
        expected = [0.0] * 3
        for order in permutations(range(3)):
            for k, i in enumerate(order):
                before, after = frozenset(order[:k]), frozenset(order[: k + 1])
                expected[i] += (found[after][name] - found[before][name]) / 6
        change = change_of(machine_of(data), kind, name)
        shares = {order_of_edits[n - 1]: c["share"] for c in change["causes"] for n in c["edits"]}
        for i, (file_name, _, _) in enumerate(edits):
            assert shares.get(file_name, 0.0) == pytest.approx(expected[i], abs=1e-5), (name, file_name)


def test_what_is_caused_in_kind_is_shared_out_too(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The flow's own limit takes over at 90 mm/s: only with a firmer rod and a closer guide."""
    edit(here / "new", ("rods", "20 ± 2 MPa", "32 ± 2 MPa"), CLOSER)
    data = compared(capsys, "old/job.melt", "new/job.melt")
    limit = change_of(machine_of(data), "merit_limits", "throughput")
    assert (limit["old"], limit["new"]) == ("bowing", "flowing: flow <= 18 mm3/s")
    assert [c["percent"] for c in limit["causes"]] == [50, 50]
    grade = change_of(machine_of(data), "grade", "pace")
    assert (grade["old"], grade["new"]) == ("slow", "brisk")
    # Alone: 50 mm/s * 0.2 mm2 is 10 mm3/s and brisk; 60 mm/s as well. Either does, so each has half.
    assert [c["percent"] for c in grade["causes"]] == [50, 50]


def test_an_edit_that_makes_nothing_hold(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(here / "new", CLOSER, ("job", "at least 2 mm/s", "at least 95 mm/s"))
    data = compared(capsys, "old/job.melt", "new/job.melt")
    bench = machine_of(data)
    (only,) = bench["changes"]
    assert (only["kind"], only["old"], only["new"]) == ("holds", "all input values", "nothing holds")
    assert [(data["edits"][n - 1]["kind"], c["percent"]) for c in only["causes"] for n in c["edits"]] == [("want", 100)]
    assert "speed.contour at least 95 mm/s" in bench["new_conflict"]
    assert bench["old_conflict"] == []
    text = told(capsys, "old/job.melt", "new/job.melt")
    assert "cannot hold together in the new text: " in text
    # Both edits bear on the machine; the share of one is not mixed up with texts that have no settings.
    back = compared(capsys, "new/job.melt", "old/job.melt")
    assert change_of(machine_of(back), "holds")["new"] == "all input values"


def test_texts_between_without_settings_do_not_count(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A want of 50 mm/s holds only after the guide is closer, so only that order has settings after every step."""
    edit(here / "new", CLOSER, ("job", "at least 2 mm/s", "at least 50 mm/s"))
    data = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "bench")
    speed = change_of(machine_of(data), "setting", "speed.contour")
    assert by_name(data, speed) == {"gap": 30}
    low = change_of(machine_of(data), "band_low", "speed.contour")
    assert low["new_value"] - low["old_value"] == sum(c["share"] for c in low["causes"])


def test_edits_that_need_one_another_count_as_one_or_in_order(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(
        here / "new",
        ("laws", "quantity gap of machine", "quantity free_length of machine"),
        ("laws", "speed.contour * gap <=", "speed.contour * free_length <="),
        ("machines", "gap 6 mm", "free_length 3 mm"),
    )
    data = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "bench")
    speed = change_of(machine_of(data), "setting", "speed.contour")
    assert speed["change"] == 30
    assert sum(c["share"] for c in speed["causes"]) == pytest.approx(30)


def chain(count: int, values: dict[int, float]) -> str:
    """Write a text with many inputs: each mm of part k takes away k + 1 mm/s, and with 1 mm of each 85 are left."""
    parts = [f'quantity part{k} of machine : length in 0 .. 9 mm "Part."' for k in range(count)]
    total = " + ".join(f"part{k} * {k + 1}" for k in range(count))
    given = "\n".join(f"  part{k} {values.get(k, 1)} mm" for k in range(count))
    limit = f"({85 + count * (count + 1) // 2} mm - ({total})) * 1 mm/s"
    laws = project.LAWS.replace("firmness / 1 MPa * 10 mm2/s", limit).replace("* gap", "* 1 mm")
    machine = project.MACHINES.replace("  gap 6 mm\n", given + "\n")
    return "\n".join([*parts, laws, project.RODS, machine, project.JOB.split("\n\n", 1)[1]])


@pytest.mark.parametrize(("count", "method"), [(8, "exact"), (12, "sampled")])
def test_many_edits_that_add_up(count: int, method: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "a.melt").write_text(chain(count, {}), encoding="utf-8")
    (here / "b.melt").write_text(chain(count, dict.fromkeys(range(count), 2)), encoding="utf-8")
    data = compared(capsys, "a.melt", "b.melt", "--machine", "bench")
    bench = machine_of(data)
    assert bench["method"] == method
    speed = change_of(bench, "setting", "speed.contour")
    assert (speed["old_value"], speed["change"]) == (85, -count * (count + 1) / 2)
    assert by_name(data, speed) == pytest.approx({f"part{k}": -(k + 1) for k in range(count)})
    assert ("24 fixed orders" in told(capsys, "a.melt", "b.melt")) == (method == "sampled")


def test_very_many_edits_are_told_by_declaration(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "a.melt").write_text(chain(30, {}), encoding="utf-8")
    (here / "b.melt").write_text(chain(30, dict.fromkeys(range(30), 1.1)), encoding="utf-8")
    data = compared(capsys, "a.melt", "b.melt", "--machine", "bench")
    (cause,) = change_of(machine_of(data), "setting", "speed.contour")["causes"]
    assert cause["edits"] == list(range(1, 31))


def test_machines_beyond_what_can_be_shared_out(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attributing, "MOST_NETWORKS", 3)
    edit(here / "new", STIFFER, CLOSER)
    bench = machine_of(compared(capsys, "old/job.melt", "new/job.melt"))
    assert bench["method"] == "named"
    assert [c["share"] for c in change_of(bench, "setting", "speed.contour")["causes"]] == [None, None]
    assert "among edits 1-2" in told(capsys, "old/job.melt", "new/job.melt")


# ---- what changes


def test_layout_comments_and_order_are_no_change(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(
        here / "new",
        ("machines", "gap 6 mm\n  guide open", "guide   open  # as measured\n\n  gap 6.0 mm"),
        ("job", "bench, closed", "closed, bench"),
        ("laws", "speed.contour * gap <=", "(speed.contour * gap) <="),
    )
    data = compared(capsys, "old/job.melt", "new/job.melt", "--expect-same")
    assert data["same"]
    assert data["edits"] == []
    assert told(capsys, "old/job.melt", "new/job.melt").endswith("\nno change\n")


def test_edits_without_effect_are_told_apart(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(here / "new", ("rods", "pale", "dark"), ("laws", '"continuity"', '"what goes in comes out"'))
    data = compared(capsys, "old/job.melt", "new/job.melt", "--expect-same")
    assert data["same"]
    assert [(e["kind"], e["effect"]) for e in data["edits"]] == [("source", False), ("value", False)]
    assert "edits that change no result here\n" in told(capsys, "old/job.melt", "new/job.melt")


def test_machines_and_profiles_that_came_and_went(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    edit(
        here / "new",
        ("machines", "machine bench {", "machine wide from bench {\n  gap 12 mm\n}\nmachine bench {"),
        ("job", "bench, closed", "bench, wide"),
    )
    other = (here / "new" / "job.melt").read_text(encoding="utf-8").replace("profile job", "profile other")
    (here / "new" / "other.melt").write_text(other, encoding="utf-8")
    data = compared(capsys, "old", "new")
    assert {m["machine"]: m["state"] for m in data["profiles"][0]["machines"]} == {
        "bench": "same",
        "wide": "added",
        "closed": "removed",
    }
    assert [(p["profile"], p["state"]) for p in data["profiles"]] == [("job", "changed"), ("other", "added")]
    (cause,) = machine_of(data, "wide")["edits"]
    assert data["edits"][cause - 1]["name"] == "wide"
    assert machine_of(data, "wide")["new_holds"] == "all input values"
    assert told(capsys, "old", "new") == snapshot


def test_notices_and_wants_are_told(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    edit(
        here / "new",
        ("job", "prefer", 'pace at least brisk if possible\n  pin heat.bed = 80 degC because "so"\n  prefer'),
    )
    data = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "bench")
    caution = change_of(machine_of(data), "caution", "The bed is @hot: see #7.")
    assert (caution["old"], caution["new"]) == ("", "The bed is @hot: see #7.")
    assert change_of(machine_of(data), "want", "pace at least")["new"] == "pace at least brisk: set aside"
    assert told(capsys, "old/job.melt", "new/job.melt", "--markdown") == snapshot


def test_what_could_be_markup_is_escaped() -> None:
    from meltwright.comparing.writing import cell

    assert cell("a|b <i>*x*</i> `c` @me #7 [d](e)\nf") == (
        "a\\|b &lt;i&gt;\\*x\\*&lt;/i&gt; \\`c\\` &#64;me &#35;7 \\[d\\](e) f"
    )


def test_expect_same(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "old/job.melt", "new/job.melt", "--expect-same"]) == 0
    edit(here / "new", CLOSER)
    assert main(["compare", "old/job.melt", "new/job.melt"]) == 0
    assert main(["compare", "old/job.melt", "new/job.melt", "--expect-same"]) == 1
    # On a machine that the edit does not reach, all is the same.
    assert main(["compare", "old/job.melt", "new/job.melt", "--expect-same", "--machine", "closed"]) == 0


def test_only_what_is_asked_anew_is_solved(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from meltwright.solving import answering

    counts = []
    solve_all = answering.solve_all

    def counting(networks: Any, effort: int) -> Any:
        counts.append(len(networks))
        return solve_all(networks, effort)

    monkeypatch.setattr(answering, "solve_all", counting)
    edit(here / "new", STIFFER, CLOSER, ("rods", "pale", "dark"))
    told(capsys, "old/job.melt", "new/job.melt")
    # Two edits bear on one machine, in four combinations; the third edit and the other machine take nothing.
    assert sum(counts) == 4


def test_json_is_as_documented(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(here / "new", STIFFER, CLOSER)
    data = compared(capsys, "old/job.melt", "new/job.melt")
    text = (Path(attributing.__file__).parents[1] / "comparing" / "README.md").read_text(encoding="utf-8")
    bench = machine_of(data)
    change = bench["changes"][0]
    for entry in (data, data["old"], data["edits"][0], data["profiles"][0], bench, change, change["causes"][0]):
        for key in entry:
            assert f"`{key}`" in text, key


def test_the_same_bytes_again(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(here / "new", STIFFER, CLOSER)
    first = told(capsys, "old", "new", "--json")
    assert told(capsys, "old", "new", "--json") == first
    assert str(here) not in first


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
