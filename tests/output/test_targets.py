"""Targets at fault: each is reported, nothing is rendered by halves."""

from pathlib import Path
from typing import Any

import pytest
from meltwright.output.rendering import Renderer, cell, one_line
from meltwright.output.targets import read_targets
from meltwright.output.writing import write_files
from meltwright.text.diagnostic import Diagnostic

MANIFEST = 'about = "a test"\n[[file]]\neach = "machine"\npath = "{profile}/{machine}.txt"\ntemplate = "t.j2"\n'
PROFILE: dict[str, Any] = {"name": "p", "material": "m"}
BUNDLE: dict[str, Any] = {"machine": "a", "settings": {}}


def target(folder: Path, manifest: str, template: str = "{{ bundle.machine }}") -> None:
    (folder / "x").mkdir()
    (folder / "x" / "target.toml").write_text(manifest, encoding="utf-8")
    (folder / "x" / "t.j2").write_text(template, encoding="utf-8")


def test_a_target_renders_one_file_a_machine(tmp_path: Path) -> None:
    target(tmp_path, MANIFEST)
    faults: list[Diagnostic] = []
    renderer = Renderer(read_targets(tmp_path, faults), faults)
    texts = renderer.machine_files(PROFILE, [BUNDLE, {**BUNDLE, "machine": "b"}])
    assert (texts, faults) == ({"a": {"p/a.txt": "a"}, "b": {"p/b.txt": "b"}}, [])


@pytest.mark.parametrize(
    "manifest",
    [
        "not toml at all [",
        "about = 1",
        "about = 'nothing more'",
        MANIFEST.replace('"machine"', '"moon"'),
        MANIFEST.replace("{profile}/", "../"),
        MANIFEST.replace("{profile}/{machine}.txt", "/etc/{machine}"),
        MANIFEST.replace("{machine}", "same"),
        MANIFEST.replace("t.j2", "missing.j2"),
        MANIFEST.replace("t.j2", "../x/t.j2"),
    ],
)
def test_a_manifest_at_fault_is_reported(tmp_path: Path, manifest: str) -> None:
    target(tmp_path, manifest)
    faults: list[Diagnostic] = []
    assert read_targets(tmp_path, faults) == []
    assert {f.code for f in faults} == {"M601"}
    assert all(f.help and f.span.file == "x/target.toml" for f in faults)


def test_files_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / "a").write_text("old", encoding="utf-8")
    (tmp_path / "q").write_text("a file where a folder is wanted", encoding="utf-8")
    faults: list[Diagnostic] = []
    assert write_files(tmp_path, {"p/a": "new", "q/b": "new"}, faults) == []
    assert [f.code for f in faults] == ["M603"]
    assert (tmp_path / "p" / "a").read_text(encoding="utf-8") == "old"
    assert [x.name for x in (tmp_path / "p").iterdir()] == ["a"]


def test_cells_cannot_break_a_table() -> None:
    assert cell("a | b\nc <script>") == "a \\| b c &lt;script>"
    assert one_line("a\n[section]\tb") == "a [section] b"
