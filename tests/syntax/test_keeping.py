"""Kept trees say what the text says, and nothing that happens to the cache folder does harm."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from meltwright.syntax import keeping
from meltwright.syntax.keeping import read_kept
from meltwright.syntax.reading import read
from meltwright.text.source import Source

TEXT = 'material rub {\n  diameter 1.75 ± 0.02 mm measured "calliper"\n}\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    keeping.cache_folder.cache_clear()
    yield tmp_path / "meltwright"
    keeping.cache_folder.cache_clear()


def source(text: str = TEXT, name: str = "rub.melt") -> Source:
    return Source(name, Path(name), text)


def kept(folder: Path) -> list[Path]:
    return sorted(folder.glob("tree-*.bin"))


def test_a_kept_tree_is_the_tree_with_its_places(folder: Path) -> None:
    first, again, fresh = read_kept(source()), read_kept(source()), read(source())
    assert len(kept(folder)) == 1
    assert first == again == fresh
    spans = [
        repr((s.span, s.items[0].span, s.items[0].value.span)) for file, _ in (again, fresh) for s in file.statements
    ]
    assert spans[0] == spans[1]


def test_name_and_text_each_have_a_tree_of_their_own(folder: Path) -> None:
    for text, name in ((TEXT, "a.melt"), (TEXT, "b.melt"), (TEXT + "# more\n", "a.melt")):
        file, _ = read_kept(source(text, name))
        assert file.statements[0].span.file == name
    assert len(kept(folder)) == 3


def test_a_faulty_file_is_not_kept(folder: Path) -> None:
    assert read_kept(source("material {\n")) == read(source("material {\n"))
    assert kept(folder) == []


@pytest.mark.parametrize("spoilt", [b"", b"nonsense", b"\x80\x05N."])
def test_a_spoilt_cache_is_read_over(folder: Path, spoilt: bytes) -> None:
    read_kept(source())
    kept(folder)[0].write_bytes(spoilt)
    assert read_kept(source()) == read(source())
    assert read_kept(source()) == read(source())


def test_a_cache_that_vanishes_or_cannot_be_written_does_no_harm(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read_kept(source())
    for path in kept(folder):
        path.unlink()
    folder.rename(folder.with_name("gone"))
    assert read_kept(source()) == read(source())
    monkeypatch.setenv("XDG_CACHE_HOME", os.devnull)
    keeping.cache_folder.cache_clear()
    assert read_kept(source()) == read(source())
