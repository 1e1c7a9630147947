"""The benchmark still runs, each step of it on something small; no time that it measures is judged here."""

import asyncio
import json
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from meltwright.compiling import compile_file
from meltwright.meaning.checking import check_file
from meltwright.solving.answering import solve

from tests.bench import __main__ as command
from tests.bench import edit, fleets, parsing, peers, scaling, shares, shops, startup, steps
from tests.bench.counting import counted
from tests.bench.lowered import ipopt
from tests.bench.question import Question, ask
from tests.bench.rivals import evolution, slsqp
from tests.bench.tables import cpsat

TINY = """
quantity u of machine : number in 0 .. 9 "an input"
setting x : number in 0 .. 8 step 0.5 "a setting"
setting y : number in 1 .. 40 step 1 "another"
merit sum = x + y / 10 "what is wanted"
law round {
  about "a"
  source textbook "t"
  require x^2 + (y / 10)^2 <= 10 + u
}
law apart {
  about "a"
  source textbook "t"
  require max(x, 1) * exp(-u / 9) >= y / 20
}
material stuff {
}
machine small {
  u 2 .. 3 measured "invented"
}
profile p {
  material stuff
  machines small
  prefer sum
}
"""

QUICK: tuple[tuple[str, str, peers.Peer], ...] = (
    ("SLSQP", "scipy", lambda q: slsqp(q, 3)),
    ("evolution", "scipy", lambda q: evolution(q, 40)),
    ("Ipopt", "casadi", lambda q: ipopt(q, 2)),
    ("CP-SAT", "ortools", lambda q: cpsat(q, 300)),
)


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    path = tmp_path / "tiny.melt"
    path.write_text(TINY, encoding="utf-8")
    return path


def _asked(path: Path) -> tuple[Question, object]:
    (network,) = peers.networks(path)
    found = ask(network, 1)
    assert found is not None
    return found


def test_a_question_evaluates_as_the_text_says(tiny: Path) -> None:
    question, _ = _asked(tiny)
    # Positions on the lattices: x = 1.5 and y = 11; then between lattice points x = 1.25 and y = 2.5.
    rows = np.array([[3.0, 2.5], [10.0, 1.5]])
    assert question.merit(rows) == pytest.approx([1.5 + 1.1, 1.25 + 0.25])
    for name, expected in (
        # The input runs from 2 to 3: the low end is worse for one, the high end for the other.
        ("round", [1 - (1.5**2 + 1.1**2) / 12, 1 - (1.25**2 + 0.25**2) / 12]),
        ("apart", [1 - 1.1 / 2 / (1.5 * np.exp(-3 / 9)), 1 - 0.25 / 2 / (1.25 * np.exp(-3 / 9))]),
    ):
        mine = [c for c, (r, _) in enumerate(question.scenarios) if question.network.requirements[r].name == name]
        assert question.slacks(rows, mine).min(axis=0) == pytest.approx(expected)


def test_rounding_mends_a_point_that_rounds_to_one_that_breaks(tiny: Path) -> None:
    question, _ = _asked(tiny)
    # On the circle at x = 2.8; the nearest lattice point, x = 3 and y = 20, lies outside.
    end = np.array([2.8 / 0.5, np.sqrt(12 - 2.8**2) * 10 - 1])
    assert not question.holds(np.rint(end)[:, None])[0]
    row = question.rounded([end])
    assert row is not None and question.judge(row) == []
    assert (row == np.rint(row)).all()


def test_peers_find_what_holds_and_nothing_that_holds_is_better_than_ours(tiny: Path) -> None:
    question, ours = _asked(tiny)
    outcomes = peers.compare(question, QUICK)
    for outcome, (_, package, _) in zip(outcomes, QUICK, strict=True):
        if find_spec(package) is None:
            assert outcome.remark == "not installed"
            continue
        assert outcome.proved, outcome
        assert outcome.evaluations > 0
        assert peers.ahead(question, outcome)[1] <= 0
    lines = "\n".join(peers.table(question.network, question, ours, outcomes))
    assert all(name in lines for name, *_ in QUICK)
    assert "proved answers of peers" in "\n".join(peers.claims([(question, ours, outcomes)]))


def test_a_point_that_breaks_is_not_called_proved(tiny: Path) -> None:
    question, ours = _asked(tiny)
    too_much = question.last.copy()
    (outcome,) = peers.compare(question, [("greedy", "numpy", lambda _: peers.Found(too_much))])
    assert not outcome.proved and "round" in outcome.broken
    assert "broken by" in "\n".join(peers.table(question.network, question, ours, [outcome]))


def test_a_peer_that_is_not_installed_is_said_to_be(tiny: Path) -> None:
    question, ours = _asked(tiny)
    outcomes = peers.compare(question, [("absent", "no_such_package_here", lambda _: peers.Found(None))])
    assert "not installed" in "\n".join(peers.table(question.network, question, ours, outcomes))


def test_all_settings_may_be_left_to_the_middle_where_no_peer_finds_a_point(tiny: Path) -> None:
    question, ours = _asked(tiny)
    outcomes = peers.compare(question, [("idle", "numpy", lambda _: peers.Found(None, "gave up"))])
    assert "found no point (gave up)" in "\n".join(peers.table(question.network, question, ours, outcomes))


def test_a_file_goes_through_every_step(tiny: Path, tmp_path: Path) -> None:
    done = steps.walk(tiny, tmp_path / "out")
    assert set(done.clock.taken) == set(steps.STEPS)
    assert (done.refused, done.broken) == (0, []) and done.boxes > 0
    assert done.written and all(p.stat().st_size for p in done.written)


def test_passes_of_the_tape_are_counted_alike_each_time(tiny: Path) -> None:
    (network,) = peers.networks(tiny)
    counts = []
    for _ in range(2):
        with counted() as work:
            solve(network)
        counts.append((work.passes, work.rows))
    assert counts[0] == counts[1]
    assert sum(counts[0][0].values()) > 0
    with counted() as idle:
        pass
    assert idle.passes == {}


def test_fleets_are_the_same_each_time_and_differ_from_machine_to_machine() -> None:
    texts = fleets.fleet(3)
    assert texts == fleets.fleet(3)
    machines = texts["machines_001.melt"].split("\nmachine ")[1:]
    assert len({m.split(" ", 1)[1] for m in machines}) == 3
    assert "machines      tube_00001, tube_00002, tube_00003\n" in texts[fleets.MAIN]
    with pytest.raises(ValueError, match="not written as expected"):
        fleets.fleet(1, "shop")


def test_large_fleets_are_parted_into_files() -> None:
    texts = fleets.fleet(fleets.PER_FILE + 1)
    assert list(texts) == ["machines_001.melt", "machines_002.melt", fleets.MAIN]
    assert all(len(t.encode()) < 1_000_000 for t in texts.values())


def test_a_fleet_compiles(tmp_path: Path) -> None:
    compiled = compile_file(fleets.write(tmp_path, 2))
    assert not compiled.failed
    assert [s.network.machine for s in compiled.solutions] == ["tube_00001", "tube_00002"]


def test_the_scaling_table_has_a_row_for_each_size_or_says_why_not(
    tiny: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(scaling, "library_folder", lambda: tiny.parent)
    monkeypatch.setattr(scaling, "write", lambda folder, count, demo: tiny)
    (tiny.parent / "demos").mkdir()
    (tiny.parent / "demos" / "stiff_bracket.melt").write_text(TINY, encoding="utf-8")
    row = json.loads(json.dumps(scaling.measure(1)))
    assert row["solved"] == 1 and row["peak"] > 1 and row["bytes"] > 0
    rows = {1: row, 10: {**row, "machines": 10, "seconds": 200.0, "refused": 1}, 100: "stopped after 3000 s"}
    monkeypatch.setattr(scaling, "apart", lambda count, budget, demo: rows[count])
    scaling.report(most=1000, budget=3000)
    found = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in found if line[:10].strip()[:1].isdigit()] == ["1", "10", "100", "1,000"]
    assert "1 refused" in found[4] and "stopped" in found[5] and "left out" in found[6] and "10,000" in found[7]


def test_shares_print_their_table(tiny: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shares.report(tiny, runs=1)
    found = capsys.readouterr().out
    assert all(step in found for step in steps.STEPS)
    assert "p on small" in found


def test_start_up_is_measured_beside_a_python_that_does_nothing(tmp_path: Path) -> None:
    commands = [c for c in startup.asked([], tmp_path) if c.label in (startup.PYTHON, startup.NUMPY, "--version")]
    startup.measure(commands, tmp_path, runs=2)
    assert all(len(c.processor) == len(c.elapsed) == 2 and min(c.processor) > 0 for c in commands)
    lines = startup.table(commands)
    assert [line.split()[0] for line in lines[2:]] == ["python", "python", "--version"]
    assert lines[2].split()[-2:-1] == ["1.0"]


def test_what_lark_alone_is_given_says_what_the_text_says() -> None:
    text = parsing.generated(400)
    assert text.text == parsing.generated(400).text
    file, faults = parsing.read(text)
    assert faults == [] and len({s.name.text for s in file.statements}) == len(file.statements) > 10
    found, failed = parsing.statements([text])
    items = sum(len(getattr(s, "items", ())) for s in file.statements)
    assert len(found) + failed == len(file.statements) + items
    assert failed < len(found) / 10
    measured = parsing.measure("tiny", [text], runs=1)
    assert min(measured.first, measured.ours, measured.lark, measured.kept) > 0
    assert "lines/s" in parsing.table([measured])[1]


def test_the_demonstrations_are_what_is_measured_where_no_file_is_named() -> None:
    assert {p.stem for p in command.demos()} >= {"stiff_bracket", "watch_strap"}


def test_edits_are_timed_and_leave_a_sound_workspace(tmp_path: Path) -> None:
    texts = shops.write(tmp_path)
    assert 4_900 <= sum(text.count("\n") for text in texts.values()) <= 5_100
    made = list(edit.edits(texts))
    assert {kind.split(":")[0] for kind, _, _ in made} == {"laws", "machines", "materials", "profiles"}
    for name in {name for _, name, _ in made}:
        assert [text for _, of, text in made if of == name][-1] == texts[name]
    spent, start = asyncio.run(edit.measure(tmp_path.resolve(), made[:5]))
    assert sum(map(len, spent.values())) == 5
    assert start > 0
    for main in tmp_path.glob("profiles_*.melt"):
        assert check_file(main)[1] == ()
