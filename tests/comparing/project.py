"""A small project with laws of its own, so that what is expected can be worked out by hand. All of it is invented."""

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from meltwright.cli import main

NEEDS_GIT = pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")

STIFFER = ("rods", "20 ± 2 MPa", "27 ± 2 MPa")
CLOSER = ("machines", "gap 6 mm", "gap 3 mm")

LAWS = """\
quantity firmness of material : pressure in 1 .. 100 MPa "Stiffness of the rod."
quantity shade of material : one of pale, dark "What nothing asks for."
quantity gap of machine : length in 0 .. 40 mm "Length without support."
quantity guide of machine : one of open, closed "Whether the rod is held at its sides."
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given "Height of one layer."
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s "Speed of the outer line."
setting heat.bed : temperature in 20 .. 100 degC step 5 K rather low "Bed temperature."
law flowing {
  about "What is laid down."
  source textbook "continuity"
  let flow = speed.contour * layer.height * 1 mm
  require flow <= 18 mm3/s else "more than <melts> | flows"
  require heat.bed >= 30 degC
  caution "The bed is @hot: see #7." where heat.bed > 60 degC
}
law bowing {
  about "What bends the rod."
  source assumed "for this test"
  when guide is open
  require speed.contour * gap <= firmness / 1 MPa * 10 mm2/s else "the rod bows out"
}
grade pace by flow {
  brisk from 10 mm3/s
  slow  below
}
merit throughput = flow "Volume laid down per second."
"""

RODS = """\
material rod {
  firmness 20 ± 2 MPa measured "pressed (invented)"
  shade pale
}
"""

MACHINES = """\
machine bench {
  gap 6 mm
  guide open
}
machine closed from bench {
  guide closed
}
"""

JOB = """\
use "laws.melt"
use "rods.melt"
use "machines.melt"

profile job {
  material rod
  machines bench, closed
  layer.height 0.2 mm
  speed.contour at least 2 mm/s
  prefer throughput
}
"""


def write(folder: Path) -> Path:
    """Write the project; gives the file with the profile."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (("laws", LAWS), ("rods", RODS), ("machines", MACHINES), ("job", JOB)):
        (folder / f"{name}.melt").write_text(text, encoding="utf-8")
    return folder / "job.melt"


def edit(folder: Path, *changes: tuple[str, str, str]) -> None:
    """Replace texts: file, what stands there (once), what shall."""
    for name, old, new in changes:
        path = folder / f"{name}.melt"
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, (name, old, text.count(old))
        path.write_text(text.replace(old, new), encoding="utf-8")


def git(folder: Path, *arguments: str) -> str:
    """Run git as somebody invented, without anybody's settings, at an invented hour."""
    who = {f"GIT_{role}_{what}": value for role in ("AUTHOR", "COMMITTER") for what, value in WHO.items()}
    around = {
        "PATH": os.environ["PATH"],
        "HOME": str(folder),
        "GIT_CONFIG_GLOBAL": "/dev/null",
        "GIT_CONFIG_NOSYSTEM": "1",
        **who,
    }
    ran = subprocess.run(["git", *arguments], cwd=folder, env=around, check=True, capture_output=True, text=True)
    return ran.stdout.strip()


WHO = {"NAME": "somebody", "EMAIL": "somebody@example.invalid", "DATE": "2001-01-01T00:00:00Z"}


def commit(folder: Path, said: str) -> None:
    """Commit everything."""
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", said)


# ---- asking


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
