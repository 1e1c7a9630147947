"""``compare``: what changes on which machine, and which edit caused how much of it."""

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
from .project import (
    CLOSER,
    NEEDS_GIT,
    STIFFER,
    by_name,
    change_of,
    commit,
    compared,
    edit,
    git,
    machine_of,
    told,
)

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
    text = (Path(__file__).parents[2] / "compiler" / "comparing" / "README.md").read_text(encoding="utf-8")
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


def test_many_edits_of_laws_are_joined_by_law_and_told_apart_where_there_is_room(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three limits of one speed: the lowest rules, and it is the first law's in the new text."""
    laws = "\n".join(
        f'law law{k} {{\n  about "x"\n  source assumed "x"\n'
        f"  require speed.contour <= {50 + k} mm/s\n  require heat.bed >= {40 + 5 * k} degC\n}}"
        for k in range(3)
    )
    changed = (
        laws.replace("<= 50", "<= 20").replace(">= 50", ">= 70").replace(">= 45", ">= 60").replace("<= 52", "<= 53")
    )
    for side, text in (("old", laws), ("new", changed)):
        (here / side / "more.melt").write_text(text, encoding="utf-8")
        edit(here / side, ("job", 'use "laws.melt"', 'use "laws.melt"\nuse "more.melt"'))
    apart = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "closed")
    bed = change_of(machine_of(apart, "closed"), "setting", "heat.bed")
    # The bed is as cool as it may be: 50 before; 70 with the third law's edit, 60 with the second's alone.
    shares = {apart["edits"][n - 1]["subject"]: c["share"] for c in bed["causes"] for n in c["edits"]}
    assert shares == {"law law2": 15, "law law1": 5}
    monkeypatch.setattr(attributing, "MOST_STRUCTURES", 1)
    monkeypatch.setattr(attributing, "FEWEST_LAWS", 3)
    joined = compared(capsys, "old/job.melt", "new/job.melt", "--machine", "closed")
    again = change_of(machine_of(joined, "closed"), "setting", "heat.bed")
    assert {c["share"]: {joined["edits"][n - 1]["subject"] for n in c["edits"]} for c in again["causes"]} == {
        15: {"law law2"},
        5: {"law law1"},
    }
    assert any(len(c["edits"]) == 2 for c in again["causes"])
