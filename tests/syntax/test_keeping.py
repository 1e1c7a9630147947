"""Kept trees say what the text says, and nothing that happens to the cache folder does harm."""

from pathlib import Path

import pytest
from meltwright.syntax import reading
from meltwright.syntax.file import File
from meltwright.syntax.keeping import read_kept
from meltwright.syntax.reading import read
from meltwright.syntax.tree import Use
from meltwright.text.diagnostic import Diagnostic
from meltwright.text.source import Source

TEXT = 'use "shop.melt"\n\nmaterial rub {\n  diameter 1.75 ± 0.02 mm measured "calliper"\n}\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MELTWRIGHT_CACHE", str(tmp_path))
    return tmp_path / "kept"


def source(text: str = TEXT, name: str = "rub.melt") -> Source:
    return Source(name, Path(name), text)


def kept(folder: Path) -> list[Path]:
    return sorted(folder.glob("tree-*.kept"))


def same(given: tuple[File, list[Diagnostic]], asked: Source) -> bool:
    """Tell whether a tree is what the text gives, with all places."""
    file, faults = read(asked)
    uses = tuple(s for s in file.statements if isinstance(s, Use))
    return (
        [(u, u.span, u.path.span) for u in given[0].uses] == [(u, u.span, u.path.span) for u in uses]
        and places(given[0]) == places(file)
        and given == (file, faults)
    )


def places(file: File) -> list[object]:
    return [(s.span, [(i.span, i.value.span) for i in getattr(s, "items", ())]) for s in file.statements]


def test_a_kept_tree_is_the_tree_with_its_places(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert same(read_kept(source()), source())
    assert len(kept(folder)) == 1
    assert same(read_kept(source()), source())
    expected, _ = read(source())
    monkeypatch.setattr(reading, "read", None)
    file, _ = read_kept(source())
    assert [u.path.text for u in file.uses] == ["shop.melt"]
    assert "statements" not in vars(file)
    assert file == expected and "statements" in vars(file)


def test_name_and_text_each_have_a_tree_of_their_own(folder: Path) -> None:
    for text, name in ((TEXT, "a.melt"), (TEXT, "b.melt"), (TEXT + "# more\n", "a.melt")):
        assert read_kept(source(text, name))[0].statements[0].span.file == name
    assert len(kept(folder)) == 3


def test_a_faulty_file_is_not_kept(folder: Path) -> None:
    assert same(read_kept(source("material {\n")), source("material {\n"))
    assert kept(folder) == []


@pytest.mark.parametrize("spoilt", [b"", b"nonsense", b"\x80\x05N."])
def test_a_spoilt_cache_is_read_over(folder: Path, spoilt: bytes) -> None:
    read_kept(source())
    whole = kept(folder)[0].read_bytes()
    kept(folder)[0].write_bytes(spoilt)
    assert same(read_kept(source()), source())
    assert kept(folder)[0].read_bytes() == whole


def test_a_cache_that_vanishes_does_no_harm(folder: Path) -> None:
    read_kept(source())
    folder.rename(folder.with_name("gone"))
    assert same(read_kept(source()), source())
