"""Compiled templates come from the store as they would be compiled again."""

from pathlib import Path

import pytest
from meltwright.output.sandboxing import sandbox


def rendered(folder: Path, escapes: bool) -> str:
    return sandbox(folder, escapes).get_template("one.j2").render(name="<")


def test_a_template_is_kept_by_its_text_and_by_what_it_escapes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MELTWRIGHT_CACHE", str(tmp_path / "cache"))
    template = tmp_path / "one.j2"
    template.write_text("{{ name ~ '&' }}{{ '>' }}", encoding="utf-8")
    for _ in range(2):
        assert [rendered(tmp_path, escapes) for escapes in (False, True)] == ["<&>", "&lt;&amp;&gt;"]
    kept = list((tmp_path / "cache" / "kept").glob("template-*.kept"))
    assert len(kept) == 2
    template.write_text("{{ name }}.", encoding="utf-8")
    assert rendered(tmp_path, False) == "<."
    for path in kept:
        path.write_bytes(path.read_bytes()[:-1])
    template.write_text("{{ name ~ '&' }}{{ '>' }}", encoding="utf-8")
    assert [rendered(tmp_path, escapes) for escapes in (False, True)] == ["<&>", "&lt;&amp;&gt;"]
