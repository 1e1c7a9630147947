"""The command ``new``: files without a terminal, what is refused, and one whole session in a terminal."""

import os
import select
import signal
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_file
from meltwright.starting.guide import guide
from syrupy.assertion import SnapshotAssertion

from tests.starting.doing import filled, laid_out, run

GAP = ("--set", "gap = 6 ± 0.5 mm", "--measured", "gap = calliper")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder, with no terminal, however the tests are run."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", StringIO())
    return tmp_path


def values_of(path: Path, kind: str) -> dict[str, str]:
    model, faults, _ = check_file(path)
    assert model is not None and not faults, faults
    entity = (model.machines if kind == "machine" else model.materials)[path.stem]
    return {n: f"{v.text} {v.evidence.kind} {v.evidence.text}" for n, v in entity.values.items()}


# ---- files


@pytest.mark.parametrize(
    ("kind", "base"),
    [(kind, name) for kind in ("machine", "material") for name in guide(kind).kinds],
)
def test_each_kind_of_the_library_can_be_started_from(
    here: Path, capsys: pytest.CaptureFixture[str], kind: str, base: str
) -> None:
    code = run("new", kind, "mine", "--from", base, "--no-costs")
    path = here / "mine.melt"
    said = capsys.readouterr()
    if code:
        # What no profile can use as it is: the values that it lacks are named.
        assert f"error[M805 no-terminal]: {base} does not say " in said.err and not path.exists()
        assert base in ("desktop_machine", "thermoplastic", "urethane", "styrenic_elastomer", "ester_elastomer")
        return
    assert said.out == "mine.melt: written\n" and not said.err
    text = path.read_text(encoding="utf-8")
    assert laid_out(text) == text
    assert run("format", "--check", "mine.melt") == 0 and run("check", "mine.melt") == 0
    assert capsys.readouterr().out == f"mine.melt: sound ({kind} mine)\n"
    # What stands as a comment is what is inherited: taking the # away changes nothing.
    before = values_of(path, kind)
    path.write_text(filled(text), encoding="utf-8")
    assert values_of(path, kind) == before
    assert filled(text).count("\n  # ") < text.count("\n  # ")


def test_a_machine_from_flags(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    more = ("--set", "bend = 200 .. 240", "--set", 'land=0.5 mm ± 10 % published "papers"', "--unknown", "taper")
    assert run("new", "machine", "mine", "--from", "tube_fed", *GAP, *more, "--no-costs") == 0
    assert capsys.readouterr().out == "bend: 200 .. 240 deg, as no unit was written\nmine.melt: written\n"
    values = values_of(here / "mine.melt", "machine")
    assert values["gap"] == "6 ± 0.5 mm measured calliper"
    assert values["bend"] == "200 .. 240 deg assumed no evidence given"
    assert values["land"] == "0.5 mm ± 10 % published papers"
    assert values["taper"].startswith("30 deg typical")


def test_a_kind_that_lies_beside(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("new", "machine", "first", "--from", "direct_drive", *GAP, "--no-costs") == 0
    assert run("new", "machine", "second", "--from", "first", "--no-costs") == 0
    text = (here / "second.melt").read_text(encoding="utf-8")
    assert '\nuse "first.melt"\n' in text and "\nmachine second from first {\n" in text
    assert values_of(here / "second.melt", "machine")["gap"] == "6 ± 0.5 mm measured calliper"
    assert run("new", "machine", "first", "--from", "direct_drive", "--out", "third.melt") == 0


def test_the_same_call_gives_the_same_bytes(here: Path) -> None:
    for name in ("a", "b"):
        assert run("new", "machine", "mine", "--from", "tube_fed", *GAP, "--no-costs", "--out", f"{name}.melt") == 0
    assert (here / "a.melt").read_bytes() == (here / "b.melt").read_bytes()


def test_what_check_says_of_a_machine_that_lacks_values(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion
) -> None:
    (here / "bare.melt").write_text(
        'use library "machines/base"\n\nmachine bare from desktop_machine {\n  guide  tube\n}\n', encoding="utf-8"
    )
    assert run("check", "bare.melt") == 0
    said = capsys.readouterr()
    assert said.out == "bare.melt: sound (machine bare)\n"
    assert said.err == snapshot


# ---- what is refused


REFUSED = {
    "name": ["new", "machine", "my-machine", "--from", "tube_fed"],
    "file": ["new", "machine", "mine.melt", "--from", "tube_fed"],
    "digit": ["new", "material", "3d", "--from", "petg"],
    "empty": ["new", "profile", ""],
    "sneaky": ["new", "machine", "a from tube_fed", "--from", "tube_fed", "--out", "a.melt"],
    "long": ["new", "machine", "m" * 65, "--from", "tube_fed"],
    "known": ["new", "machine", "tube_fed", "--from", "direct_drive"],
    "there": ["new", "machine", "there", "--from", "tube_fed"],
    "ending": ["new", "machine", "mine", "--from", "tube_fed", "--out", "mine.txt"],
    "folder": ["new", "machine", "mine", "--from", "tube_fed", "--out", "none/mine.melt"],
    "no kind": ["new", "machine", "mine"],
    "no such kind": ["new", "machine", "mine", "--from", "tube_feed"],
    "lacking": ["new", "machine", "mine", "--from", "desktop_machine"],
    "value": ["new", "machine", "mine", "--from", "tube_fed", "--set", "gap = 6 s", "--set", "gap = 3 mm in 2 steps"],
    "no value": ["new", "machine", "mine", "--from", "tube_fed", "--set", "gap", "--set", "gap = 1 mm\n}", "--set", ""],
    "twice": ["new", "machine", "mine", "--from", "tube_fed", "--set", "gap = 6 mm", "--set", "gap = 7 mm"],
    "owner": ["new", "machine", "mine", "--from", "tube_fed", "--set", "hardness = 85 shore_a", "--unknown", "density"],
    "measured": ["new", "machine", "mine", "--from", "tube_fed", "--measured", "gap = pins", "--measured", "pins"],
    "both": ["new", "machine", "mine", "--from", "tube_fed", *GAP, "--unknown", "gap", "--unknown", "gpa"],
    "how twice": ["new", "machine", "mine", "--from", "tube_fed", *GAP, "--measured", "gap = pins"],
    "material": ["new", "profile", "mine", "--material", "urethne_85a", "--machines", "tube_fed,tube_fed,"],
    "setting": [
        "new",
        "profile",
        "mine",
        "--set",
        "layer.height = 3 s",
        "--set",
        "heat.bed = 20 .. 60 degC in 3 steps",
        "--set",
        "gap = 3 mm",
    ],
}


@pytest.mark.parametrize("arguments", REFUSED.values(), ids=REFUSED)
def test_what_is_refused(
    here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion, arguments: list[str]
) -> None:
    (here / "there.melt").write_text("# mine\n", encoding="utf-8")
    assert run(*arguments) == 1
    said = capsys.readouterr()
    assert said.out == "" and said.err == snapshot
    assert [p.name for p in here.iterdir()] == ["there.melt"]
    assert (here / "there.melt").read_text(encoding="utf-8") == "# mine\n"


def test_a_link_that_leads_nowhere_is_not_written_through(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "mine.melt").symlink_to(here / "elsewhere.melt")
    assert run("new", "machine", "mine", "--from", "tube_fed") == 1
    assert "M803 file-there" in capsys.readouterr().err and not (here / "elsewhere.melt").exists()


@pytest.mark.parametrize("arguments", [["new"], ["new", "machine"], ["new", "thing", "x"], ["new", "profile"]])
def test_misuse(here: Path, arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        run(*arguments)
    assert ended.value.code == 2


# ---- in a terminal


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo terminals are a matter of other systems")
def test_a_session_in_a_terminal(here: Path) -> None:
    """One question after the other, as a person sees them, up to the file."""
    import pty

    mine, theirs = pty.openpty()
    command = [sys.executable, "-m", "meltwright", "new", "machine", "mine", "--no-costs"]
    with subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=here) as process:
        os.close(theirs)
        seen = ""
        for asked, answer in [
            ("number or name > ", "tube_fed_open_gap"),
            ("nozzle_bore > ", "0.4 ± 0.02 mm"),
            ("[Enter: drill shanks] > ", "pins"),
            ("land > ", "?"),
            ("land > ", "stop"),
        ]:
            seen += _until(mine, asked)
            os.write(mine, f"{answer}\n".encode())
        seen += _until(mine, "mine.melt: written")
        process.wait(60)
    os.close(mine)
    assert process.returncode == 0 and "Traceback" not in seen
    assert values_of(here / "mine.melt", "machine")["nozzle_bore"] == "0.4 ± 0.02 mm measured pins"


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo terminals are a matter of other systems")
@pytest.mark.parametrize("answered", [True, False])
def test_breaking_off_loses_no_answer(here: Path, answered: bool) -> None:
    """Ctrl-C in a terminal: what was answered is written, and where nothing was, nothing is."""
    import pty

    mine, theirs = pty.openpty()
    command = [sys.executable, "-m", "meltwright", "new", "machine", "mine", "--from", "tube_fed"]
    with subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=here, start_new_session=True
    ) as process:
        os.close(theirs)
        seen = _until(mine, "nozzle_bore > ")
        if answered:
            os.write(mine, "0.4 ± 0.02 mm\n".encode())
            seen += _until(mine, "[Enter: drill shanks] > ")
        # A signal between the question and the waiting for its answer ends nothing by itself: people press again.
        for _ in range(100):
            process.send_signal(signal.SIGINT)
            if select.select([mine], [], [], 0.5)[0]:
                break
        else:
            process.kill()
        seen += _until(mine, "stopped; ")
        process.wait(60)
    os.close(mine)
    assert process.returncode == 1 and "Traceback" not in seen and "what it costs" not in seen
    assert (here / "mine.melt").exists() == answered
    if answered:
        assert values_of(here / "mine.melt", "machine")["nozzle_bore"].startswith("0.4 ± 0.02 mm")


def _until(terminal: int, wanted: str) -> str:
    """Read from a terminal until a text is there."""
    seen = b""
    while wanted.encode() not in seen:
        assert select.select([terminal], [], [], 60)[0], seen
        part = os.read(terminal, 4096)
        assert part, seen
        seen += part
    return seen.decode("utf-8", "replace")


def test_what_is_no_text_is_shown_as_such(here: Path) -> None:
    """A terminal that writes in another encoding: bytes that are no UTF-8 end nothing."""
    command = [sys.executable, "-m", "meltwright", "new", "machine", "mine", "--from", "tube_fed", "--no-costs"]
    more = [b"--set", b"land = 0.5 \xb1 0.1 mm"], [b"--set", b"land = 0.5 mm", b"--measured", b"land = \xb1 pins"]
    for extra, code in zip(more, (1, 0), strict=True):
        ran = subprocess.run(
            [*command, *extra], cwd=here, capture_output=True, timeout=60, stdin=subprocess.DEVNULL, check=False
        )
        assert ran.returncode == code and b"Traceback" not in ran.stderr, ran.stderr
    assert 'land  0.5 mm  measured "? pins"' in (here / "mine.melt").read_text(encoding="utf-8")


def test_a_terminal_that_is_not_there_is_no_hang(here: Path) -> None:
    command = [sys.executable, "-m", "meltwright", "new", "machine", "mine"]
    ran = subprocess.run(command, cwd=here, capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)
    assert ran.returncode == 1 and "M805 no-terminal" in ran.stderr and "Traceback" not in ran.stderr
