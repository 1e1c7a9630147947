"""What knowing an input better is worth: never less than nothing, and told in the order of what it gains."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from meltwright.cli import main
from meltwright.compiling import Compiled
from meltwright.solving.answering import Answer, Refusal, solve
from meltwright.solving.worth import exactly, halved, worths
from meltwright.telling.worth import explain_worth, worth
from syrupy.assertion import SnapshotAssertion

from tests.solving.networks import LIKE, Small, network_of, smalls

EFFORT = 400


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    yield tmp_path_factory.mktemp("small")


# ---- as a property of small networks


@settings(
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.filter_too_much],
)
@given(small=smalls(most_merits=1))
def test_knowing_better_never_costs(small: Small, folder: Path) -> None:
    """With one merit, all input values allow no more than half of them do, and those no more than the stated one."""
    network = network_of(folder / "small.melt", small.text)
    _, base = solve(network, EFFORT)
    assume(isinstance(base, Answer) and base.robust)
    assert isinstance(base, Answer)
    for found in worths([network], EFFORT)[0]:
        known = [base, found.half, found.exact[1]]
        # What cannot be decided within the effort says nothing; what holds for more values holds for fewer.
        assert not any(isinstance(o, Refusal) and not o.out_of_effort for o in known)
        decided = [o for o in known if isinstance(o, Answer) and o.certified]
        merits = [o.merits[0] for o in decided if o.robust]
        assert all(b >= a - LIKE * max(abs(a), abs(b)) for a, b in pairwise(merits))


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(small=smalls())
def test_variants_differ_from_the_network_in_one_input(small: Small, folder: Path) -> None:
    network = network_of(folder / "small.melt", small.text)
    for variable in network.inputs:
        half = halved(variable)
        assert half.stated == variable.stated
        assert half.high - half.low == pytest.approx((variable.high - variable.low) / 2)
        assert variable.low <= half.low <= half.stated <= half.high <= variable.high
        for end in ("low", "stated", "high"):
            known = exactly(variable, end)
            assert known.low == known.stated == known.high == getattr(variable, end)
    found = worths([network, network], EFFORT)
    assert [w.input for w in found[0]] == [i for i, v in enumerate(network.inputs) if v.low < v.high]
    for a, b in zip(found[0], found[1], strict=True):
        assert [_said(o) for o in (*a.exact, a.half)] == [_said(o) for o in (*b.exact, b.half)]
        # Each is what the changed network gives when it is solved alone.
        i = a.input
        inputs = (*network.inputs[:i], halved(network.inputs[i]), *network.inputs[i + 1 :])
        assert _said(a.half) == _said(solve(replace(network, inputs=inputs), EFFORT)[1])


def _said(outcome: Answer | Refusal) -> Any:
    return (outcome.point.tolist(), outcome.robust) if isinstance(outcome, Answer) else outcome.out_of_effort


# ---- what is told

TEXT = """
quantity room of machine : length in 0 .. 100 mm
quantity gap of machine : length in 0 .. 100 mm
quantity idle of machine : length in 0 .. 100 mm
setting a.wide : length in 0 .. 50 mm step 1 mm "A."
setting a.tall : length in 0 .. 50 mm step 1 mm rather low "B."
law fits {{
  about "a"
  source textbook "plain arithmetic"
  require a.wide <= room
  require a.tall >= gap
  require a.tall <= 20 mm
  require a.wide + idle <= 100 mm
}}
merit much = a.wide
material stuff {{
}}
machine mach {{
  room 20 ± 4 mm measured "with a rule (invented)"
  gap {gap}
  idle 1 ± 1 mm
}}
profile job {{
  material stuff
  machines mach
  prefer much
}}
"""


def told(compiled: Callable[[str], Compiled], gap: str) -> tuple[dict[str, Any], str]:
    result = compiled(TEXT.format(gap=gap))
    assert not result.failed, result.diagnostics
    (data,) = explain_worth(result.solutions)
    return data, worth([data])


def test_gains_are_told_in_order(compiled: Callable[[str], Compiled]) -> None:
    data, text = told(compiled, "6 .. 10 mm")
    assert [i["name"] for i in data["inputs"]] == ["room", "gap", "idle"]
    room = data["inputs"][0]
    assert (room["range_text"], room["half"]["range"]) == ("± 4 mm", [18, 22])
    (merit,) = room["half"]["merits"]
    assert (merit["here"], merit["there"], merit["change"], merit["effect"]) == (16, 18, "+12 %", "better")
    assert [e["merits"][0]["there"] for e in room["exact"]] == [16, 20, 24]
    assert "knowing room to ± 2 mm instead of ± 4 mm: much 16 -> 18 mm (+12 %); a.wide 16 -> 18 mm" in text
    assert "if it is exactly 24 mm: much 16 -> 24 mm (+50 %)" in text
    assert "if it is exactly 16 mm: nothing changes" in text
    # The gap moves a setting but no merit; nothing hangs on the last.
    assert "knowing gap to 7 .. 9 mm instead of 6 .. 10 mm: no merit changes; a.tall 10 -> 9 mm" in text
    assert text.endswith("knowing one of these better changes nothing: idle\n")


def test_where_nothing_holds_for_all_values(compiled: Callable[[str], Compiled]) -> None:
    data, text = told(compiled, "5 .. 30 mm")
    assert data["holds"] == "stated values only"
    gap = data["inputs"][0]
    assert gap["name"] == "gap" and gap["half"]["outcome"] == "holds at the stated input values only"
    assert [e["outcome"] for e in gap["exact"]] == [
        "holds for all input values",
        "holds for all input values",
        "cannot hold",
    ]
    assert "over the whole ranges nothing holds" in text
    assert "if it is exactly 30 mm: no settings hold" in text
    data, text = told(compiled, "6 .. 22 mm")
    assert data["inputs"][0]["half"]["outcome"] == "holds for all input values"
    assert "knowing gap to 10 .. 18 mm instead of 6 .. 22 mm: settings hold for all input values, much 16 mm" in text


def test_ranges_that_are_not_alike_on_both_sides(compiled: Callable[[str], Compiled]) -> None:
    result = compiled(TEXT.format(gap="6 .. 10 mm"))
    (solution,) = result.solutions
    room = solution.network.inputs[0]
    skew = replace(room, low=room.stated - 0.001)
    inputs = tuple(skew if v.node == room.node else v for v in solution.network.inputs)
    problem = type(solution.problem)(replace(solution.network, inputs=inputs))
    (data,) = explain_worth([replace(solution, problem=problem)])
    found = next(i for i in data["inputs"] if i["name"] == room.given.name)
    assert found["range_text"] == "19 .. 24 mm" and found["half"]["range_text"] == "19.5 .. 22 mm"


# ---- the command

GOOD = TEXT.format(gap="6 .. 10 mm")


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    path = tmp_path / "good.melt"
    path.write_text(GOOD, encoding="utf-8")
    assert main(["worth", str(path), "--machine", "mach"]) == 0
    text = capsys.readouterr().out
    assert text == snapshot
    assert main(["worth", str(path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert worth(data["machines"]) == text


def test_a_text_at_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.melt"
    path.write_text(GOOD.replace("20 ± 4 mm", "20 ± 4 s"), encoding="utf-8")
    assert main(["worth", str(path)]) == 1
    said = capsys.readouterr()
    assert said.out == "" and "error[" in said.err
