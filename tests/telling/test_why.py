"""Why a setting is what it is: every setting of the demos, and each way that a value can have been chosen."""

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from meltwright.cli import main
from meltwright.compiling import Compiled, compile_file
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Amount, PinDecl
from meltwright.solving.answering import solve_all
from meltwright.telling.explaining import broken_at, question_of
from meltwright.telling.formulas import titles
from meltwright.telling.solution import Solution
from meltwright.telling.why import explain, why
from meltwright.telling.why_not import explain_not, why_not
from syrupy.assertion import SnapshotAssertion

DEMOS = ("watch_strap", "stiff_bracket")
DEMO = str(library_folder() / "demos" / "watch_strap.melt")
LITTLE = 3
"""Boxes for the search beside the question: here only what breaks is looked at."""


@cache
def solutions(demo: str) -> tuple[Solution, ...]:
    return compile_file(library_folder() / "demos" / f"{demo}.melt").solutions


def names(demo: str) -> list[str]:
    return [s.decl.name for s in solutions(demo)[0].network.settings]


def asked_value(solution: Solution, name: str, index: int) -> PinDecl:
    i = solution.setting_index(name)
    value = float(solution.problem.lattices[i][index])
    decl = solution.variable(i).decl
    return PinDecl(name, Amount(value, value, value, decl.unit, decl.text(index)), "asked", decl.span)


@cache
def explained(demo: str) -> list[tuple[Solution, str, dict[str, Any]]]:
    return [(s, name, explain(s, name)) for s in solutions(demo) for name in names(demo)]


# ---- every setting of the demos


@pytest.mark.parametrize("demo", DEMOS)
def test_every_setting_says_what_keeps_it_from_either_side(demo: str) -> None:
    for _, name, facts in explained(demo):
        text = why([facts])
        assert text.startswith(f"{name} = {facts['text']}   (") and "#" not in text
        for word in ("lower", "higher"):
            side = facts[word]
            assert f"not {word}: " in text
            if side["kind"] == "limit":
                assert side["limit"]["title"] in text and side["limit"]["place"] in text
                assert f"{side['limit']['sides']}, missed by {side['limit']['missed']}" in text
            if side["kind"] == "holds":
                assert side["reason"] in ("merit", "returned", "lean", "middle", "fixed")


@pytest.mark.parametrize("demo", DEMOS)
def test_the_requirement_that_ends_a_band_is_named(demo: str) -> None:
    """One step beyond the band it is among what breaks, by an amount."""
    seen = 0
    for solution, name, facts in explained(demo):
        band, named = solution.answer.bands[solution.setting_index(name)], titles(solution.network)
        for end, word in ((band.below, "lower"), (band.above, "higher")):
            if end >= 0:
                limit = facts[word]["limit"]
                assert named[end] in (limit["title"], *limit["also"])
                assert limit["left"] > limit["right"]
                seen += 1
    assert seen > 20


@pytest.mark.parametrize("demo", DEMOS)
def test_why_not_says_what_breaks_beyond_each_band(demo: str) -> None:
    solution = solutions(demo)[0]
    named = titles(solution.network)
    for name, band in zip(names(demo), solution.answer.bands, strict=True):
        for end, index in ((band.below, band.first - 1), (band.above, band.last + 1)):
            if end < 0:
                continue
            found = explain_not([solution], asked_value(solution, name, index), LITTLE)
            text = why_not(found)
            assert named[end] in [b["title"] for b in found[0]["broken"]]
            assert f"breaks {named[end]}: " in text
            assert all(f"{b['sides']}, missed by {b['missed']}" in text for b in found[0]["broken"])


@pytest.mark.parametrize("demo", DEMOS)
def test_what_would_help_does_help(demo: str) -> None:
    """A need is checked by taking it: the requirement then holds at the input values that broke it."""
    solution = solutions(demo)[0]
    counted = 0
    for name, band in zip(names(demo), solution.answer.bands, strict=True):
        for end, index in ((band.below, band.first - 1), (band.above, band.last + 1)):
            if end < 0:
                continue
            question = question_of(solution, name)
            margin = next(m for m in broken_at(question, index) if m.requirement == end)
            settings, inputs = question.trial.needs(end, question.moved(index), margin.inputs)
            for need in inputs:
                changed = margin.inputs.copy()
                changed[need.variable] = need.value
                assert question.trial.share(end, question.moved(index)[:, None], changed[:, None])[0] >= -1e-8
                counted += 1
            for need in settings:
                point = question.moved(index)
                point[need.variable] = int(need.value)
                assert question.trial.share(end, point[:, None], margin.inputs[:, None])[0] >= -1e-8
                # One lattice step less does not do.
                point[need.variable] += -1 if need.more else 1
                assert question.trial.share(end, point[:, None], margin.inputs[:, None])[0] < 0
                counted += 1
    assert counted > 20


def test_why_as_reviewed(snapshot: SnapshotAssertion) -> None:
    found = [s for s in solutions("watch_strap") if s.network.machine == "bench_tube"]
    for name in ("speed.contour", "retraction.speed", "heat.bed"):
        assert why([explain(s, name) for s in found]) == snapshot(name=name)


# ---- data and text


def facts_of(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[dict[str, Any], str]:
    assert main(["why", DEMO, *words, "--machine", "bench_tube", "--json"]) == 0
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert main(["why", DEMO, *words, "--machine", "bench_tube"]) == 0
    return data, capsys.readouterr().out


def test_json_says_the_same_as_the_text(capsys: pytest.CaptureFixture[str]) -> None:
    data, text = facts_of(capsys, "feed.flow_ceiling")
    (facts,) = data["machines"]
    assert text == why([facts])
    assert facts["setting"] == data["setting"] == "feed.flow_ceiling"
    assert facts["text"] == f"{facts['value']:.2f} {facts['unit']}"
    limit = facts["higher"]["limit"]
    assert float(limit["right"]) < float(limit["left"]) and limit["unit"] == "mm"
    for need in limit["help"]["inputs"]:
        assert need["text"] == f"{need['value']:.10g} {need['unit']}".rstrip()
        assert not need["known"] or f"{need['name']} known to be {need['bound']} {need['text']} (now" in text


def test_json_of_why_not_says_the_same_as_the_text(capsys: pytest.CaptureFixture[str]) -> None:
    data, text = facts_of(capsys, "not", "speed.contour = 12 mm/s")
    (facts,) = data["machines"]
    assert text == why_not([facts])
    assert facts["with_others_kept"] == "breaks"
    assert facts["others_moved"]["outcome"] == "holds for all input values"
    assert facts["others_moved"]["merits"][0]["there_text"] in text


# ---- the ways of being chosen, in a text of a few lines

SMALL = """
quantity room of machine : length in 0 .. 100 mm
quantity pull of material : length in 0 .. 100 mm
setting a.wide : length in 0 .. 20 mm step 1 mm "A."
setting a.tall : length in 0 .. 20 mm step 1 mm rather low "B."
setting a.loose : length in 0 .. 20 mm step 1 mm "C."
setting a.set : length in 0 .. 20 mm step 1 mm "D."
law fits {{
  about "a"
  source textbook "plain arithmetic"
  let both = a.wide + a.tall
  require both <= room else "too wide" remedy raise room "take a larger one"
  require a.tall >= pull else "too low"
  require a.loose <= 10 mm
  require a.set <= a.wide
}}
merit much = a.wide
material stuff {{
  pull {pull}
}}
machine mach {{
  room 12 mm
}}
profile job {{
  material stuff
  machines mach
  pin a.set = 3 mm because "it looks well"
  prefer much
}}
"""


@pytest.fixture
def small(compiled: Callable[[str], Compiled]) -> Callable[[str], Solution]:
    def made(pull: str = "4 ± 1 mm") -> Solution:
        result = compiled(SMALL.format(pull=pull))
        assert not result.failed, result.diagnostics
        return result.solutions[0]

    return made


def test_a_setting_at_its_limit(small: Callable[[str], Solution]) -> None:
    facts = explain(small("4 ± 1 mm"), "a.wide")
    assert (facts["text"], facts["higher"]["kind"]) == ("7 mm", "limit")
    limit = facts["higher"]["limit"]
    assert limit["title"] == "fits: both <= room"
    assert (limit["left"], limit["right"], limit["missed"]) == (13, 12, "7.69 %")
    assert [d["name"] for d in limit["derivation"]] == ["both"]
    helped = limit["help"]
    assert [(s["name"], s["bound"], s["value"], s["ended_by"]) for s in helped["settings"]] == [
        ("a.tall", "at most", 4.0, "fits: a.tall >= pull")
    ]
    assert [(i["name"], i["bound"], i["value"], i["known"]) for i in helped["inputs"]] == [
        ("room", "at least", 13.0, False)
    ]
    assert helped["advice"] == [{"direction": "raise", "name": "room", "text": "take a larger one"}]
    text = why([facts])
    assert "not higher: 8 mm breaks fits: both <= room, too wide" in text
    assert "the law's advice: raise room (take a larger one)" in text


def test_a_setting_that_a_merit_keeps(small: Callable[[str], Solution]) -> None:
    facts = explain(small("4 ± 1 mm"), "a.wide")
    lower = facts["lower"]
    assert (lower["kind"], lower["reason"]) == ("holds", "merit")
    assert "not lower: 6 mm holds too, but much would be 6 mm instead of 7 mm (-14 %)" in why([facts])
    assert lower["beyond"]["value"] == 2.0 and lower["limit"]["title"] == "fits: a.set <= a.wide"
    assert facts["merits"][0]["limits"][0]["title"] == "fits: both <= room"


def test_a_setting_that_leans(small: Callable[[str], Solution]) -> None:
    facts = explain(small("4 ± 1 mm"), "a.tall")
    assert (facts["text"], facts["chosen"]) == ("5 mm", "low")
    known = facts["lower"]["limit"]["help"]["inputs"][0]
    assert (known["name"], known["bound"], known["value"], known["known"]) == ("pull", "at most", 4.0, True)
    assert "pull known to be at most 4 mm (now 4 ± 1 mm, assumed)" in why([facts])


def test_a_setting_in_the_middle(small: Callable[[str], Solution]) -> None:
    facts = explain(small("4 ± 1 mm"), "a.loose")
    assert (facts["text"], facts["lower"]["reason"], facts["higher"]["reason"]) == ("5 mm", "middle", "middle")
    assert facts["lower"]["beyond"] is None
    assert "the band goes on to 0 mm, the end of the setting's own range" in why([facts])


def test_a_pinned_setting_is_told_as_if_it_were_free(small: Callable[[str], Solution]) -> None:
    facts = explain(small("4 ± 1 mm"), "a.set")
    assert [end["value"] for end in facts["band"]] == [0.0, 7.0]
    assert facts["higher"]["limit"]["title"] == "fits: a.set <= a.wide"
    text = why([facts])
    assert "Pinned, because it looks well. If it were free, 0 mm to 7 mm hold" in text
    assert "not higher: 4 mm holds too, but the profile fixes the value" in text


def test_settings_that_hold_at_the_stated_values_only(small: Callable[[str], Solution]) -> None:
    solution = small("8 ± 6 mm")
    assert not solution.answer.robust
    facts = explain(solution, "a.tall")
    assert facts["holds"] == "stated values only" and facts["lower"]["limit"]["worst"] == []
    assert "holds at the stated input values only" in why([facts])


def test_why_not_of_what_cannot_hold_names_the_conflict(small: Callable[[str], Solution]) -> None:
    solution = small("4 ± 1 mm")
    (facts,) = explain_not([solution], asked_value(solution, "a.wide", 8))
    assert facts["others_moved"]["outcome"] == "holds at the stated input values only"
    (facts,) = explain_not([solution], asked_value(solution, "a.wide", 15))
    assert facts["others_moved"]["outcome"] == "cannot hold"
    assert "fits: both <= room" in [c["title"] for c in facts["others_moved"]["conflict"]]
    assert "with the other settings moved as well: it cannot hold" in why_not([facts])


def test_an_answer_that_is_not_certified_says_so(small: Callable[[str], Solution]) -> None:
    solution = small("4 ± 1 mm")
    unsure = replace(solution, answer=replace(solution.answer, certified=False))
    assert "not certified to be the best" in why([explain(unsure, "a.wide")])
    assert "not certified" not in why([explain(solution, "a.wide")])
    assert "not certified to be the best" in why_not(explain_not([unsure], asked_value(solution, "a.wide", 8)))


def test_why_not_of_the_chosen_value(small: Callable[[str], Solution]) -> None:
    solution = small("4 ± 1 mm")
    found = explain_not([solution], asked_value(solution, "a.wide", 7))
    assert found[0]["is_chosen"] and "is what was chosen" in why_not(found)


def test_what_is_told_of_moved_settings_is_what_a_pin_gives(small: Callable[[str], Solution]) -> None:
    solution = small("4 ± 1 mm")
    (facts,) = explain_not([solution], asked_value(solution, "a.wide", 2))
    i = solution.setting_index("a.set")
    assert [b["title"] for b in facts["broken"]] == ["fits: a.set <= a.wide"]
    assert facts["others_moved"]["outcome"] == "cannot hold"
    settings = list(solution.network.settings)
    settings[i] = replace(settings[i], first=0, last=20, pin=None)
    free = replace(solution.network, settings=tuple(settings))
    assert solve_all([free])[0][1].point[i] == 3
