"""Conversations: what a person sees, and that whatever is answered ends in a sound file that keeps it."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.starting.flags import Flags
from meltwright.starting.guide import guide
from syrupy.assertion import SnapshotAssertion

from tests.starting.doing import filled, laid_out, talk, text_of

SESSION = [
    "?",
    "tube",
    "tube_fed_open_gap",
    "0.4",  # a bare number takes the usual unit
    "",  # the tolerance that pins reach
    "",  # with pins
    "0.6 s",  # land: not a length
    "back",
    "0.4 ± 0.02 mm",
    "pins",
    "?",  # land
    "0.55 ± 0.1 mm",
    'published "the maker\'s drawing"',
    "don't know",  # taper
    "2 mm",  # melt_bore
    "back",  # from the tolerance back to the value
    "2 mm",
    "?",
    "0.05 s",
    "+- 0.05",
    "?",
    "back",
    "2.00 ± 0.05 mm",
    "",
    "unknown",  # heated_length
    "",  # nozzle_face
    "250",  # nozzle_limit
    "",
    "3",  # liner: only two words
    "none",
    "drew it out",
    "6",  # heater_power
    "5 %",
    "don't know",
    "stop",
]


def test_a_session(tmp_path: Path, snapshot: SnapshotAssertion) -> None:
    seen, found = talk(tmp_path, "machine", SESSION)
    assert seen == snapshot(name="seen")
    assert found is not None
    assert text_of(found) == snapshot(name="file")


def test_a_material(tmp_path: Path, snapshot: SnapshotAssertion) -> None:
    lines = ["urethane_85a", "1.74", "", "", "86 ± 2", "durometer, five places", "", *[""] * 20]
    seen, found = talk(tmp_path, "material", lines)
    assert seen == snapshot(name="seen")
    assert found is not None
    assert text_of(found) == snapshot(name="file")


def test_words_decide_what_else_is_asked(tmp_path: Path) -> None:
    """A kind without a guide: its quantities are asked for once the guide's sort is known, and for that sort only."""
    for word, asked, not_asked in (("tube", "guide_wall", ""), ("block", "guide_bore", "guide_wall")):
        lines = [""] * 16 + [word, "eyes", *[""] * 30]
        seen, found = talk(tmp_path, "machine", lines, "desktop_machine")
        assert f"  {asked}: " in seen and (not not_asked or f"  {not_asked}: " not in seen)
        assert found is not None and "is needed, and nothing says it yet" in text_of(found)


def test_back_goes_as_far_as_the_kind(tmp_path: Path) -> None:
    seen, found = talk(tmp_path, "machine", ["back", "2", "0.4 ± 0.1 mm", "pins", "back", "back", "12", "stop"])
    assert found is not None
    _, draft = found
    assert draft.base is not None and draft.base.name == "direct_drive" and not draft.values
    assert seen.count("What kind of machine") == 2 and seen.count("this is the first question") == 1


def test_back_before_the_first_question(tmp_path: Path) -> None:
    seen, found = talk(tmp_path, "machine", ["back", "stop"], "tube_fed")
    assert found is not None and "this is the first question" in seen


def test_stopped_before_anything_is_known(tmp_path: Path) -> None:
    assert talk(tmp_path, "machine", ["stop"])[1] is None
    assert talk(tmp_path, "machine", [])[1] is None


def test_flags_answer_before_anybody_is_asked(tmp_path: Path) -> None:
    flags = Flags(["nozzle_bore = 0.4 mm"], ["nozzle_bore = pins"], ["land"])
    seen, found = talk(tmp_path, "machine", ["30 deg", "2", "photograph", "stop"], "tube_fed", flags)
    assert "nozzle_bore:" not in seen and "land:" not in seen and "taper:" in seen
    assert found is not None
    assert [v.text for v in found[1].values.values()] == ["0.4 mm", "30 ± 2 deg"]


def test_a_part_can_be_skipped_and_taken_back(tmp_path: Path) -> None:
    seen, found = talk(
        tmp_path, "machine", ["0.4 ± 0.1 mm", "pins", "skip", "30 N", "", "", "back", "back"], "tube_fed"
    )
    assert found is not None and list(found[1].values) == ["nozzle_bore"]
    rest = seen.split("land > skip")[1]
    assert "melt_bore: " not in rest and rest.index("---- drive") < rest.index("---- nozzle and hot end")
    assert rest.count("drive_push: ") == 2 and rest.count("  land: ") == 1


def test_shares_are_told_apart(tmp_path: Path) -> None:
    """A bare number of a share is that number; where that cannot be, it is a number of per cent."""
    for answer, text, note in [
        ("60", "60 %", "60 %, as no unit was written"),
        ("0.6", "0.6", "0.6, that is 60 %"),
        ("50 .. 70", "50 .. 70 %", "50 .. 70 %, as no unit was written"),
        ("60 ± 5", "60 % ± 5 %", "60 % ± 5 %, as no unit was written"),
        ("60 %", "60 %", ""),
    ]:
        flags = Flags([], [], [n for n in guide("machine").entries if n != "heater_share"])
        seen, found = talk(tmp_path, "machine", [answer, "", "display", ""], "tube_fed", flags)
        assert found is not None and found[1].values["heater_share"].text == text
        assert (f"\n    {note}\n" in seen) == bool(note)


def test_bare_numbers_have_the_unit_of_what_is_typical(tmp_path: Path) -> None:
    """The fan's air is declared in mm/s, and every kind of machine gives it in m/s."""
    flags = Flags(["fan_air = 3 ± 1", "bend = 200"])
    _, found = talk(tmp_path, "machine", [], "tube_fed", flags)
    assert found is not None
    assert {n: v.text for n, v in found[1].values.items()} == {"fan_air": "3 ± 1 m/s", "bend": "200 deg"}


def test_a_kind_of_ones_own(tmp_path: Path) -> None:
    own = 'use library "machines/tube_fed"\n\nmachine corner from tube_fed {\n  gap  6 ± 0.5 mm\n}\n'
    (tmp_path / "shop.melt").write_text(own, encoding="utf-8")
    (tmp_path / "broken.melt").write_text("machine odd {\n  gap 6 s\n}\n", encoding="utf-8")
    seen, found = talk(tmp_path, "machine", ["odd", "corner", "0.4 ± 0.1 mm", "pins", "stop"])
    assert "corner                  your own, in shop.melt" in seen
    assert "--> broken.melt" in seen, "a faulty file is told, and the question is asked again"
    assert found is not None
    (tmp_path / "mine.melt").write_text(text_of(found), encoding="utf-8")
    model, faults, _ = check_file(tmp_path / "mine.melt")
    assert model is not None and not faults
    assert {n: v.text for n, v in model.machines["mine"].values.items() if n in ("gap", "nozzle_bore")} == {
        "gap": "6 ± 0.5 mm",
        "nozzle_bore": "0.4 ± 0.1 mm",
    }


LINES = st.sampled_from(
    [
        *(
            "",
            "back",
            "stop",
            "skip",
            "?",
            "don't know",
            "1",
            "2",
            "0",
            "0.4",
            "6 ± 0.5 mm",
            "300 .. 305 mm",
            "tube",
            "none",
        ),
        *("5 %", "250 degC", "20 N ± 10 %", "exact", "calliper", 'published "x"', '"', "\\", "# }", "}", "{", "é ± ü"),
        *('6 mm measured "a"', "gap 3 mm", "1e999", "-5", "86 shore_a", "\x1b[0m", "a\tb", "9" * 50, "= 3 mm", "±"),
    ]
)


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(
    kind=st.sampled_from(["machine", "material"]),
    base=st.sampled_from(["1", "2", "5", "12", "16", "20"]),
    lines=st.lists(LINES, max_size=40),
)
def test_any_answers_end_in_a_file_that_keeps_them(
    kind: str, base: str, lines: list[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("any")
    seen, found = talk(folder, kind, [base, *lines])
    if found is None:
        return
    assert "Traceback" not in seen
    text = text_of(found)
    assert laid_out(text) == text
    _, draft = found
    for version in (text, filled(text)):
        (folder / "mine.melt").write_text(version, encoding="utf-8")
        model, faults, _ = check_file(folder / "mine.melt")
        assert model is not None and not faults, faults
        values = (model.machines if kind == "machine" else model.materials)["mine"].values
        kept = {n: (v.text, v.evidence) for n, v in values.items()}
        assert all(kept[n] == (v.text, v.evidence) for n, v in draft.values.items())
        assert {n: v.text for n, v in values.items() if n not in draft.values} == {
            n: v.text for n, v in draft.inherited.items() if n not in draft.values
        }
