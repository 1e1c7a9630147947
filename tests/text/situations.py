"""What the files and commands of a page cannot set up by themselves."""

import os
from collections.abc import Callable
from pathlib import Path
from shutil import copytree

import pytest
from meltwright.meaning import loading

Situation = Callable[[Path, pytest.MonkeyPatch], None]


def _latin(folder: Path, patched: pytest.MonkeyPatch) -> None:
    path = folder / "shop.melt"
    path.write_bytes(path.read_text("utf-8").encode("latin-1"))


def _large(folder: Path, patched: pytest.MonkeyPatch) -> None:
    (folder / "measurements.log").write_bytes(b"1.75 1.74\n" * 150_000)


def _table(folder: Path, patched: pytest.MonkeyPatch) -> None:
    (folder / "table.melt").write_text("".join(f"spool{i} 1.75 1.74\n" for i in range(200)), encoding="utf-8")


def _unproved_layout(folder: Path, patched: pytest.MonkeyPatch) -> None:
    patched.setattr("meltwright.syntax.formatting._proved", lambda *given: False)


def _chain(folder: Path, patched: pytest.MonkeyPatch) -> None:
    for i in range(100):
        (folder / f"part{i}.melt").write_text(f'use "part{i + 1}.melt"\n', encoding="utf-8")


def _own_library(folder: Path, patched: pytest.MonkeyPatch) -> None:
    copytree(loading.library_folder(), folder / "library", dirs_exist_ok=True)
    patched.setattr(loading, "library_folder", lambda: folder / "library")


def _disagreement(folder: Path, patched: pytest.MonkeyPatch) -> None:
    patched.setattr(
        "meltwright.solving.checking.check_all",
        lambda model, questions: ["speed.contour * gap <= 200 mm2/s does not hold" for _ in questions],
    )


def _no_git(folder: Path, patched: pytest.MonkeyPatch) -> None:
    patched.setenv("PATH", str(folder))


def _failing_git(folder: Path, patched: pytest.MonkeyPatch) -> None:
    (folder / "tools").mkdir()
    tool = folder / "tools" / "git"
    tool.write_text("#!/bin/sh\necho 'fatal: detected dubious ownership' >&2\nexit 128\n", encoding="utf-8")
    tool.chmod(0o755)
    patched.setenv("PATH", f"{folder / 'tools'}{os.pathsep}{os.environ['PATH']}")


def _no_extra(folder: Path, patched: pytest.MonkeyPatch) -> None:
    patched.setattr("meltwright.commands.editor.find_spec", lambda name: None)
    patched.setattr("sys.executable", "/usr/bin/python3")


def _unproved_fix(folder: Path, patched: pytest.MonkeyPatch) -> None:
    patched.setattr("meltwright.text.fixing._spoilt", lambda before, picked, edits, *after: set(edits))


SITUATIONS: dict[str, Situation] = {
    "M102": _latin,
    "M103": _large,
    "M121": _table,
    "M122": _unproved_layout,
    "M204": _chain,
    "M223": _own_library,
    "M506": _disagreement,
    "M629": _unproved_fix,
    "M701": _no_git,
    "M708": _failing_git,
    "M820": _no_extra,
}

LASTING = {"M223"}
"""Situations that are the same when the example is mended."""

ALONG: dict[str, set[str]] = {"M121": {"M110"}, "M629": {"M215"}, "M706": {"M215"}}
"""Codes that cannot come alone, with those that come along."""

UNMENDED: dict[str, str] = {
    "M122": "a fault of the program, not of a text",
    "M506": "a fault of the program, not of a text",
    "M629": "a fault of the program, not of a text",
    "M820": "no test installs anything",
}
"""Codes whose pages have no mended example, and why."""
