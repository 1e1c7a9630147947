"""What is found by solving while somebody types: in which order it comes, and how it is kept as the text moves on."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from meltwright.compiling import compile_file
from meltwright.editor.background import Background
from meltwright.editor.hinting import Hint, hints
from meltwright.editor.hovering import hover
from meltwright.editor.judging import judge
from meltwright.editor.mains import Head, mains, melt_files
from meltwright.editor.mending import mend_all, mendings
from meltwright.editor.positions import Lines, Position, Range
from meltwright.editor.shifting import moved
from meltwright.editor.verdicts import Finding, Verdict
from meltwright.text.diagnostic import Edit, Fix, diagnose
from meltwright.text.source import Span

from tests.editor.small import Small

WHOLE = Range(Position(0, 0), Position(999, 0))


@pytest.fixture
def solved(small: Small) -> Small:
    """A small workspace with the answers of its main file."""
    program = small.workspace.programs[small.path("job.melt")]
    *_, last = judge(program)
    verdict = Verdict(dict(program.sources), last.found, last.machines, True)
    small.workspace.take(program.main, verdict)
    return small


def test_the_first_look_comes_first_and_then_what_compile_finds(small: Small) -> None:
    program = small.workspace.programs[small.path("job.melt")]
    looked, last = judge(program)
    assert (looked.machines, looked.solved, last.solved) == ((), False, True)
    compiled = compile_file(small.path("job.melt"))
    assert last.found == compiled.diagnostics
    assert [m.name for m in last.machines] == [s.network.machine for s in compiled.solutions]
    for machine, solution in zip(last.machines, compiled.solutions, strict=True):
        texts = {s.decl.name: solution.setting_text(i) for i, s in enumerate(solution.network.settings)}
        assert {n: c.text for n, c in machine.settings.items()} == texts


def test_a_conflict_is_found(small: Small) -> None:
    job = small.files["job.melt"].replace("pace          at least quick if possible", "pace          at least quick")
    small.put("job.melt", job.replace("  prefer ", '  pin speed.contour = 1 mm/s  because "invented"\n  prefer '))
    *_, last = judge(small.workspace.programs[small.path("job.melt")])
    assert "M503" in [d.code for d in last.found]


def test_nothing_is_solved_where_the_text_is_at_fault(small: Small) -> None:
    small.put("job.melt", small.files["job.melt"].replace("0.2 mm", "0.2 N"))
    assert list(judge(small.workspace.programs[small.path("job.melt")])) == []


# ---- the process


class Told:
    """Waits for what a background tells."""

    def __init__(self) -> None:
        self.found: list[tuple[str, int, Finding]] = []
        self.news = threading.Condition()

    def __call__(self, main: Path, number: int, finding: Finding) -> None:
        with self.news:
            self.found.append((main.name, number, finding))
            self.news.notify_all()

    def wait(self, count: int) -> None:
        with self.news:
            assert self.news.wait_for(lambda: len(self.found) >= count, 60)


@pytest.fixture
def told() -> Told:
    return Told()


@pytest.fixture
def background(told: Told) -> Iterator[Background]:
    made = Background(told)
    yield made
    made.close()


def test_a_newer_text_ends_the_job_of_an_older_one(small: Small, background: Background, told: Told) -> None:
    main = small.path("job.melt")
    first = background.ask([main], {main: small.files["job.melt"]})
    second = background.ask([main], {main: small.files["job.melt"].replace("0.2 mm", "0.3 mm")})
    assert first[main] < second[main]
    told.wait(2)
    assert {number for _, number, _ in told.found} == {second[main]}
    assert {m.settings["layer.height"].text for m in told.found[-1][2].machines} == {"0.30 mm"}


def test_what_is_open_is_solved_and_the_rest_looked_over(small: Small, background: Background, told: Told) -> None:
    small.put("second.melt", small.files["job.melt"].replace("profile strap", "profile hose"))
    small.path("second.melt").write_text(small.files["second.melt"], encoding="utf-8")
    second = small.path("second.melt")
    background.ask([small.path("job.melt"), second], {second: small.files["second.melt"]})
    told.wait(3)
    assert [(name, len(f.machines), f.solved) for name, _, f in told.found] == [
        ("second.melt", 0, False),
        ("second.melt", 2, True),
        ("job.melt", 0, True),
    ]


def test_a_process_that_dies_is_replaced(small: Small, background: Background, told: Told) -> None:
    main = small.path("job.melt")
    background.ask([main], {})
    told.wait(1)
    process = background._process
    assert process is not None
    process.kill()
    process.wait()
    background.ask([main], {})
    told.wait(2)
    assert told.found[1][2] == told.found[0][2]


def test_once_closed_nothing_is_started(small: Small, background: Background) -> None:
    background.close()
    assert background.ask([small.path("job.melt")], {}) == {}


# ---- as the text moves on


@given(before=st.text("ab\n", max_size=12), now=st.text("ab\n", max_size=12), data=st.data())
def test_a_place_that_moves_keeps_its_text(before: str, now: str, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(before)))
    end = data.draw(st.integers(start, len(before)))
    found = moved(Span("x", start, end), before, now)
    if found is not None:
        assert now[found.start : found.end] == before[start:end]


def test_a_place_outside_of_an_edit_is_kept() -> None:
    assert moved(Span("x", 0, 2), "ab cd ef", "ab XXX ef") == Span("x", 0, 2)
    assert moved(Span("x", 6, 8), "ab cd ef", "ab XXX ef") == Span("x", 7, 9)
    assert moved(Span("x", 3, 5), "ab cd ef", "ab XXX ef") is None


def test_what_was_solved_stays_while_the_text_is_broken(solved: Small) -> None:
    main = solved.path("job.melt")
    verdict = solved.workspace.verdicts[main]
    at = Span("job.melt", *_stretch(solved, "pace          at least quick"))
    warning = diagnose("M508", at, want="w", machine="m")
    solved.workspace.take(main, Verdict(verdict.sources, (warning,), verdict.machines, True))
    solved.put("job.melt", "# moved\n" + solved.files["job.melt"].replace("0.2 mm", "0.2 mm mm"))
    found = solved.workspace.reports()[main]
    assert [(r.code, r.range.start.line) for r in found] == [("M110", 7), ("M508", 9)]
    solved.put("job.melt", solved.files["job.melt"].replace("at least quick", "at least slow"))
    assert [r.code for r in solved.workspace.reports()[main]] == ["M110"]


def test_fixes_move_with_their_lines(small: Small) -> None:
    main = small.path("job.melt")
    start, end = _stretch(small, "0.2 mm")
    here, gone = Edit(Span("job.melt", start, end), "0.3 mm"), Edit(Span("job.melt", *_stretch(small, "at least")), "x")
    fault = diagnose("M119", here.span, number="0.2", fixes=[Fix("both", (here, gone)), Fix("one", (here,))])
    program = small.workspace.programs[main]
    small.workspace.take(main, Verdict(dict(program.sources), (fault,), (), True))
    small.put("job.melt", "# moved\n" + small.files["job.melt"])
    assert _cures(small) == {"both": [7, 9], "one": [7]}
    small.put("job.melt", small.files["job.melt"].replace("at least", "at most"))
    assert _cures(small) == {"one": [7]}


def _cures(small: Small) -> dict[str, list[int]]:
    """Give the lines that the cures of the main file edit."""
    (report,) = small.workspace.reports()[small.path("job.melt")]
    return {c.title: [e.range.start.line for e in c.edits] for c in report.cures}


def _stretch(small: Small, text: str) -> tuple[int, int]:
    start = small.files["job.melt"].index(text)
    return start, start + len(text)


# ---- hints and hovering


def told_at(small: Small, found: list[Hint]) -> list[str]:
    lines = small.files["job.melt"].split("\n")
    return [f"{lines[h.position.line].strip()}  -> {h.text}" for h in found]


def test_hints_tell_what_was_chosen(solved: Small) -> None:
    found = hints(solved.workspace, solved.path("job.melt"), WHOLE)
    assert told_at(solved, found) == [
        # Where 18 MPa over 5 mm of gap give way at 6.395 N: 2 N and 4.395 mm3/s, so 48 mm/s and 4.32 mm3/s.
        "profile strap {  -> speed.contour 48 mm/s",
        "pace          at least quick if possible  -> quick",
        "prefer        throughput  -> throughput 4.32 mm3/s",
    ]
    assert "- layer.wait: 5 s" in found[0].about


def test_hints_move_with_their_lines(solved: Small) -> None:
    before = hints(solved.workspace, solved.path("job.melt"), WHOLE)
    solved.put("job.melt", "# one line more\n" + solved.files["job.melt"])
    after = hints(solved.workspace, solved.path("job.melt"), WHOLE)
    assert [h.position.line for h in after] == [h.position.line + 1 for h in before]


def test_hints_of_a_stretch(solved: Small) -> None:
    part = Range(Position(3, 0), Position(9, 0))
    assert len(hints(solved.workspace, solved.path("job.melt"), part)) == 1
    assert hints(solved.workspace, solved.path("shop.melt"), WHOLE) == []


def test_hover_tells_the_band_of_a_setting(solved: Small) -> None:
    solved.put("job.melt", solved.files["job.melt"].replace("  prefer ", "  speed.contour  at most 90 mm/s\n  prefer "))
    found = hover(*solved.at("job.melt", "speed.con‸tour"))
    assert found is not None
    assert "- strap on open_tube: **" in found.markdown
    assert "by the preferences; holds in " in found.markdown


# ---- which files are checked


@pytest.mark.parametrize(
    ("files", "wanted"),
    [
        ({"a": (True, "b"), "b": (False, "c"), "c": (False, "")}, "a"),
        ({"a": (True, "b"), "b": (True, "")}, "ab"),
        ({"a": (False, "b"), "b": (False, "")}, "a"),
        ({"a": (False, "b"), "b": (False, "a"), "c": (True, "")}, "ca"),
        ({"a": (False, "a")}, "a"),
    ],
)
def test_main_files(files: dict[str, tuple[bool, str]], wanted: str) -> None:
    heads = {Path(n): Head(profile, tuple(map(Path, uses))) for n, (profile, uses) in files.items()}
    assert mains(heads) == [Path(n) for n in wanted]


def test_hidden_folders_and_environments_are_passed_over(tmp_path: Path) -> None:
    for name in ("a/x.melt", ".git/y.melt", "venv/lib/z.melt", "w.melt", "a/readme.md"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("", encoding="utf-8")
    (tmp_path / "venv" / "pyvenv.cfg").write_text("", encoding="utf-8")
    assert melt_files([tmp_path]) == [(tmp_path / n).resolve() for n in ("w.melt", "a/x.melt")]


# ---- quick fixes


def test_quick_fixes_come_from_the_reports(small: Small) -> None:
    main = small.path("job.melt")
    start, end = _stretch(small, "0.2 mm")
    edit = Edit(Span("job.melt", start, end), "0.20 mm")
    unsure = Fix("write another", (Edit(Span("shop.melt", 0, 0), "# first\n"),))
    fault = diagnose("M119", edit.span, number="0.2", fixes=[unsure, Fix("write 0.20 mm", (edit,), safe=True)])
    small.workspace.programs[main].found = (fault,)
    found = mendings(small.workspace, main, Range(Position(6, 18), Position(6, 18)))
    assert [(m.cure.title, m.preferred) for m in found] == [("write another", False), ("write 0.20 mm", True)]
    (made,) = found[1].cure.edits
    assert (made.path, made.range, made.text) == (main, Range(Position(6, 16), Position(6, 22)), "0.20 mm")
    assert found[0].cure.edits[0].path == small.path("shop.melt")
    assert mendings(small.workspace, main, Range(Position(0, 0), Position(0, 5))) == []


def test_all_that_leaves_no_doubt_is_mended_at_once(small: Small) -> None:
    shop = small.files["shop.melt"]
    small.put("shop.melt", shop.replace("20 MPa", "20 mpa").replace("0.02 mm", "0.02 MM"))
    found = mend_all(small.workspace, small.path("shop.melt"))
    text = small.files["shop.melt"]
    lines = Lines(text)
    for edit in sorted(found, key=lambda e: e.range, reverse=True):
        text = text[: lines.offset(edit.range.start)] + edit.text + text[lines.offset(edit.range.end) :]
    assert text == shop
    small.put("shop.melt", shop.replace("4 .. 5 mm", "4 .. 5 N"))
    assert small.codes() == {"shop.melt": ["M301"]}
    assert mend_all(small.workspace, small.path("shop.melt")) == []
