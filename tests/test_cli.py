"""The terminal face: exit codes, what is said and where, and that a text at fault leaves nothing behind."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from meltwright.cli import main

GOOD = """\
quantity diameter of material : length in 1 .. 4 mm
quantity gap of machine : length in 0 .. 40 mm
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given "Height of one layer."
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s "Speed of the outer line."
law flowing {
  about "Flow is speed by section."
  source textbook "continuity"
  let flow = speed.contour * layer.height * 1 mm
  require flow <= 10 mm3/s
}
merit throughput = flow
material rub {
  diameter 1.75 mm
}
machine tube {
  gap 6 mm
}
profile job {
  material rub
  machines tube
  layer.height 0.2 mm
  prefer throughput
}
"""
BAD = GOOD.replace("1.75 mm", "1.75 MM").replace("gap 6 mm", "gap 60 mm")
LIGHT = ("numpy", "jinja2", "jsonschema", "scipy", "pint")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder with a good and a bad file."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.melt").write_text(GOOD, encoding="utf-8")
    (tmp_path / "bad.melt").write_text(BAD, encoding="utf-8")
    return tmp_path


def run(*arguments: str) -> int:
    return main(list(arguments))


def files_in(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


# ---- exit codes


def test_a_good_file(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "good.melt") == 0
    assert capsys.readouterr().out == "good.melt: sound (job on tube)\n"
    assert run("compile", "good.melt", "--out", "made") == 0
    written = capsys.readouterr().out.split()
    assert written and all((here / path).is_file() for path in written)
    assert run("why", "good.melt", "speed.contour") == 0
    assert "speed.contour" in capsys.readouterr().out


def test_a_bad_file(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["check", "bad.melt"], ["compile", "bad.melt", "--out", "made"], ["why", "bad.melt", "flow"]):
        assert run(*command) == 1
        said = capsys.readouterr()
        assert said.out == ""
        assert "error[M215 unknown-unit]: MM is not a unit\n  --> bad.melt:13:17\n" in said.err
        assert "error[M222 not-believable]" in said.err
        assert "bad.melt: 2 errors\n" in said.err
    assert files_in(here) == ["bad.melt", "good.melt"]


def test_nothing_is_written_where_one_file_of_several_is_bad(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("compile", "good.melt", "bad.melt", "--out", "made") == 1
    assert capsys.readouterr().err.endswith("bad.melt: 2 errors\nnothing was written\n")
    assert not (here / "made").exists()


def test_check_goes_on_to_the_next_file(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "bad.melt", "good.melt") == 1
    assert "good.melt: sound" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["check"],
        ["check", "--fast", "good.melt"],
        ["check", "good.melt", "--effort", "0"],
        ["check", "good.melt", "--effort", "much"],
        ["compile", "good.melt"],
        ["why", "good.melt"],
        ["new", "good.melt"],
        ["why", "good.melt", "speed.contour", "--machine"],
    ],
)
def test_misuse(here: Path, capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith("usage: meltwright")


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("checc", "there is no command checc; did you mean check?"),
        ("derive", "there is no command derive; meltwright help lists them"),
        ("good.melt", "to look at a file: meltwright check good.melt"),
        ("--fast", "a command comes first, and then its options"),
    ],
)
def test_what_is_no_command(here: Path, capsys: pytest.CaptureFixture[str], word: str, said: str) -> None:
    with pytest.raises(SystemExit) as ended:
        main([word])
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_options_that_there_are_not_are_told_of_the_command(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["check", "good.melt", "--fast"], ["new", "machine", "a", "--fast"]):
        with pytest.raises(SystemExit) as ended:
            main(arguments)
        assert ended.value.code == 2
        command = " ".join(a for a in arguments if a in ("check", "new", "machine"))
        assert f"meltwright {command}: error: this is not understood: --fast" in capsys.readouterr().err


def test_help_is_a_command(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments, named in ((["help"], "COMMAND"), (["help", "check"], "usage: meltwright check")):
        with pytest.raises(SystemExit) as ended:
            main(arguments)
        assert ended.value.code == 0
        assert named in capsys.readouterr().out


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    for option in ("--version", "--help"):
        with pytest.raises(SystemExit) as ended:
            main([option])
        assert ended.value.code == 0
        assert "meltwright" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["none.melt", "folder.melt", "empty.melt", "latin.melt", "large.melt"])
def test_files_that_are_no_text(here: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    (here / "folder.melt").mkdir()
    (here / "empty.melt").touch()
    (here / "latin.melt").write_bytes(b"# caf\xe9\n")
    (here / "large.melt").write_bytes(b"#\n" * 2_500_000)
    for command in (["check", name], ["compile", name, "--out", "made"], ["why", name, "speed.contour"]):
        assert run(*command) == 1
        assert f"--> {name}" in capsys.readouterr().err
    assert not (here / "made").exists()


# ---- requests


def test_an_unknown_setting(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("why", "good.melt", "speed.contuor") == 1
    said = capsys.readouterr().err
    assert "error[M413 no-such-setting]: there is no setting speed.contuor to explain\n  --> good.melt:18:9" in said
    assert "help: did you mean speed.contour?" in said
    assert run("why", "good.melt", "colour") == 1
    assert "help: the settings are layer.height, speed.contour" in capsys.readouterr().err
    assert run("why", "good.melt", "gap") == 1
    assert "help: it is an input; what it bears on is told by: meltwright why FILE SETTING --from gap" in (
        capsys.readouterr().err
    )


def test_a_setting_that_is_nearly_named_in_a_profile(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is named, but not written unasked: as a line of a profile it has to be a pin with a reason."""
    path = here / "good.melt"
    path.write_text(text := GOOD.replace("  prefer", "  speed.contuor 20 mm/s\n  prefer"), encoding="utf-8")
    assert run("check", "good.melt", "--fix") == 1
    assert "help: did you mean speed.contour?" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == text


def test_a_request_without_its_equals_sign(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is told in the words of a request, not of a pin in a profile."""
    for arguments in (["why", "good.melt", "not", "speed.contour 4 mm/s"], ["vary", "good.melt", "--set", "gap 0..3"]):
        assert run(*arguments) == 1
        said = capsys.readouterr().err
        assert "help: go on with = and a value" in said and "because" not in said


def test_an_unknown_machine(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("why", "good.melt", "speed.contour", "--machine", "tub") == 1
    said = capsys.readouterr().err
    assert "error[M412 no-such-machine]: the profile does not name a machine tub\n  --> good.melt:18:9" in said
    assert "help: did you mean tube?" in said
    assert run("why", "good.melt", "speed.contour", "--machine", "gantry") == 1
    assert "help: it names tube" in capsys.readouterr().err


def test_two_profiles_of_one_name(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "again.melt").write_text("\n" + GOOD, encoding="utf-8")
    assert run("compile", "good.melt", "again.melt", "--out", "made") == 1
    said = capsys.readouterr().err
    assert "error[M604 same-output]: good.melt has a profile job too" in said
    assert "--> again.melt:19:9" in said
    assert not (here / "made").exists()
    assert run("compile", "good.melt", "good.melt", "--out", "made") == 1


def test_an_output_folder_that_cannot_be_written(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "made").write_text("mine", encoding="utf-8")
    before = files_in(here)
    for out in ("made", "made/inner"):
        assert run("compile", "good.melt", "--out", out) == 1
        said = capsys.readouterr()
        assert said.out == ""
        assert "error[M603 cannot-write]: made" in said.err
        assert said.err.endswith("nothing was written\n")
    assert files_in(here) == before
    assert (here / "made").read_text(encoding="utf-8") == "mine"


# ---- paths as they are seen from the working folder


def test_places_can_be_opened_from_the_working_folder(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = here / "shop" / "jobs"
    jobs.mkdir(parents=True)
    (here / "shop" / ".git").mkdir()
    (here / "shop" / "trade.melt").write_text(BAD.replace("job", "other"), encoding="utf-8")
    (jobs / "job.melt").write_text('use "../trade"\nmachine odd {\n  gap 1 s\n}\n', encoding="utf-8")
    for folder, path in ((here, "shop/jobs/job.melt"), (jobs, "job.melt"), (here / "shop", "jobs/job.melt")):
        monkeypatch.chdir(folder)
        assert run("check", path) == 1
        said = capsys.readouterr().err
        places = [line.split()[1].split(":") for line in said.splitlines() if line.startswith("  --> ")]
        assert {Path(p[0]).resolve() for p in places} == {jobs / "job.melt", here / "shop" / "trade.melt"}
        assert all(len(p) == 3 and Path(p[0]).is_file() for p in places)
        assert f"{path}: 3 errors" in said


def test_places_in_the_library_can_be_opened(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'use library "trade"\nmachine odd {\n  gap 1 km\n  gap 900 mm\n}\n'
    (here / "odd.melt").write_text(text, encoding="utf-8")
    assert run("check", "odd.melt") == 1
    places = [line.split()[1].split(":")[0] for line in capsys.readouterr().err.splitlines() if "  --> " in line]
    assert "odd.melt" in places and len(set(places)) > 1
    assert all(Path(p).is_file() for p in places)


def test_places_far_away_are_whole(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    deep = here / "a" / "b" / "c"
    deep.mkdir(parents=True)
    os.chdir(deep)
    assert run("check", str(here / "bad.melt")) == 1
    assert f"  --> {here / 'bad.melt'}:13:17" in capsys.readouterr().err


# ---- as a process of its own


def process(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "meltwright", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, check=False)


def test_processes(here: Path) -> None:
    good = process("check", "good.melt", folder=here)
    assert (good.returncode, good.stdout, good.stderr) == (0, "good.melt: sound (job on tube)\n", "")
    bad = process("compile", "bad.melt", "--out", "made", folder=here)
    assert bad.returncode == 1
    assert "Traceback" not in bad.stderr and bad.stderr.count("error[") == 2
    assert process("derive", folder=here).returncode == 2
    assert files_in(here) == ["bad.melt", "good.melt"]


@pytest.mark.parametrize(
    "text",
    [
        BAD,
        GOOD.replace("profile job {", "profile job"),
        GOOD.replace("  layer.height 0.2 mm\n", ""),
        GOOD.replace("  gap 6 mm\n", "").replace("require flow", "require gap <= 3 mm\n  require flow"),
    ],
    ids=["values", "syntax", "missing setting", "missing input"],
)
def test_a_text_at_fault_is_refused_before_anything_heavy_is_loaded(here: Path, text: str) -> None:
    (here / "case.melt").write_text(text, encoding="utf-8")
    program = (
        "import sys\nfrom meltwright.cli import main\n"
        "code = main(['check', 'case.melt'])\n"
        f"print(code, [m for m in {LIGHT!r} if m in sys.modules])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=here, capture_output=True, text=True, timeout=120, check=False
    )
    assert ran.stdout == "1 []\n", ran.stderr


def test_a_good_text_is_checked_without_what_only_outputs_need(here: Path) -> None:
    program = (
        "import os, sys\nfrom meltwright.cli import main\n"
        "os.environ['MELTWRIGHT_CACHE'] = 'off'\nmain(['check', 'good.melt'])\n"
        f"print([m for m in {LIGHT!r} if m in sys.modules])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=here, capture_output=True, text=True, timeout=120, check=False
    )
    assert ran.stdout.endswith("['numpy']\n"), ran.stderr


@pytest.mark.parametrize(
    ("arguments", "unneeded"),
    [
        (["--version"], ["argparse", "dataclasses", "inspect", "re", "lark", *LIGHT]),
        (["check", "--help"], ["lark", "meltwright.commands.compile", *LIGHT]),
        (["format", "--check", "good.melt"], ["meltwright.commands.check", *LIGHT]),
    ],
    ids=lambda a: " ".join(a[:2]),
)
def test_a_command_loads_only_what_it_needs(here: Path, arguments: list[str], unneeded: list[str]) -> None:
    program = (
        "import sys\nbefore = set(sys.modules)\nfrom meltwright.cli import main\n"
        f"try:\n    main({arguments!r})\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {unneeded!r} if m in sys.modules and m not in before])\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=here, capture_output=True, text=True, timeout=120, check=False
    )
    assert ran.stdout.endswith("[]\n"), ran.stdout + ran.stderr


def test_a_profile_that_nothing_limits(here: Path) -> None:
    (here / "case.melt").write_text(GOOD.replace("  require flow <= 10 mm3/s\n", ""), encoding="utf-8")
    assert run("check", "case.melt") == 0
    assert run("compile", "case.melt", "--out", "out") == 0
    settings = json.loads((here / "out" / "job" / "tube.json").read_text(encoding="utf-8"))["settings"]
    assert settings["speed"]["contour"]["value"] == 100


def test_a_reader_that_stops_early(here: Path) -> None:
    command = f"{sys.executable} -m meltwright check {'good.melt ' * 3} | head -c 1"
    ran = subprocess.run(["sh", "-c", command], cwd=here, capture_output=True, text=True, timeout=120, check=False)
    assert "Traceback" not in ran.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="only here can a folder that is in use be removed")
def test_a_working_folder_that_was_removed(here: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (here / "gone").mkdir()
    os.chdir(here / "gone")
    (here / "gone").rmdir()
    assert run("check", "x.melt") == 1
    assert capfd.readouterr().err.startswith("error[M105 unreadable]: the working folder cannot be read: ")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the names of files are text")
@pytest.mark.parametrize("form", ["text", "json", "sarif"])
def test_a_file_whose_name_is_no_text(here: Path, form: str) -> None:
    name = os.fsdecode(b"\xe9.melt")
    Path(name).write_text("profile", encoding="utf-8")
    reports = [f"report.{ending}" for ending in ("xml", "json", "sarif")]
    told = process("check", name, "--format", form, *(a for r in reports for a in ("--report", r)), folder=here)
    assert told.returncode == 1 and "Traceback" not in told.stderr
    assert all("M111" in text for text in [told.stdout + told.stderr, *(Path(r).read_text("utf-8") for r in reports)])
    assert form == "text" or "%E9.melt" in told.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("arguments", ["explain", "explain M214", "check good.melt --format json", "library"])
def test_where_nothing_more_can_be_written(here: Path, arguments: str) -> None:
    command = f"{sys.executable} -c 'import sys; from meltwright.cli import main; sys.exit(main())' {arguments}"
    ran = subprocess.run(f"{command} > /dev/full", shell=True, stderr=subprocess.PIPE, text=True, timeout=120)
    assert ran.returncode == 1
    assert ran.stderr.startswith("error[M603 cannot-write]: standard output cannot be written: no space left on device")
    assert ran.stderr.count("\n") == 2
