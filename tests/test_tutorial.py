"""The tutorial of README is carried out to the letter, and says what the program says.

A ``sh`` block is run, a ``melt`` block is written into the file that holds its name, and each line of a ``text`` block
is among what the commands before it print, in that order; ``...`` stands for lines left out.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"
HEADING = "## From a bare spool to a reviewed bundle in ten minutes"


def blocks() -> list[tuple[str, str]]:
    """List the blocks of the tutorial: their kind and their text."""
    section = README.read_text(encoding="utf-8").split(f"{HEADING}\n")[1].split("\n## ")[0]
    return re.findall(r"^```(\w+)\n(.*?)^```$", section, flags=re.MULTILINE | re.DOTALL)


def run(command: str, folder: Path) -> str:
    """Run commands as a shell does; gives all that they print."""
    own = {"PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}", "COLUMNS": "120"}
    who = {f"GIT_{role}_{what}": "nobody" for role in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env=os.environ | own | who,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    assert "Traceback" not in done.stdout
    assert done.returncode == 0, done.stdout
    return done.stdout


def write(block: str, folder: Path) -> None:
    """Put a block or a line in the place of what has its name, commented out or not."""
    name = block.split()[1] if block.startswith("profile") else block.split()[0]
    start = rf"profile {name} \{{\n.*?^\}}\n" if block.startswith("profile") else rf"^ *# {name} [^\n]*\n"
    for file in sorted(folder.glob("*.melt")):
        text, count = re.subn(start, lambda _: block, file.read_text(encoding="utf-8"), flags=re.M | re.S)
        if count:
            assert count == 1
            file.write_text(text, encoding="utf-8")
            return
    raise AssertionError(f"no file holds {name}")


def test_the_tutorial(tmp_path: Path) -> None:
    printed = ""
    found = blocks()
    for at, (kind, text) in enumerate(found):
        if kind == "melt":
            write(text, tmp_path)
        elif kind == "sh":
            printed = ""
            for command in text.replace("\\\n", " ").splitlines():
                # Only what is meant to fail may: the check of a slip.
                slip = "hairs" in "".join(t for k, t in found[:at] if k == "melt") and command.endswith(
                    "check grip_ring.melt"
                )
                printed += run(f"! {command}" if slip else command, tmp_path)
        else:
            rest = iter(printed.splitlines())
            for line in (line for line in text.splitlines() if line != "..."):
                assert line in rest, f"{line}\n---- is not in\n{printed}"
