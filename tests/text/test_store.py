"""Whatever happens to the store's folder: it gives what was kept, or nothing."""

import os
import pickle
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from meltwright.text import store
from meltwright.text.source import Source, Span

VALUE = {"spans": (Span("a.melt", 1, 2), Span("b.melt", 3, 4)), "number": 0.1, "text": "± \udc80"}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MELTWRIGHT_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache" / "kept"


def one(folder: Path, key: str = "") -> Path:
    (path,) = folder.glob(f"{key}*.kept")
    return path


def test_what_is_kept_is_given_back(folder: Path) -> None:
    key = store.key("thing", "a", b"b")
    assert store.recall(key) is None
    store.keep(key, VALUE)
    assert store.recall(key) == VALUE
    assert [p.name for p in folder.iterdir()] == [f"{key}.kept"]
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(one(folder).stat().st_mode) == 0o600


def test_keys_tell_apart_what_differs_in_any_part() -> None:
    parts = [
        ("k",),
        ("k", ""),
        ("k", "ab"),
        ("k", "a", "b"),
        ("k", "b", "a"),
        ("k", "ab", ""),
        ("l", "ab"),
        ("k", "2:ab"),
    ]
    assert len({store.key(*p) for p in parts}) == len(parts)
    assert store.key("k", "ab") == store.key("k", b"ab")


def test_objects_that_were_one_are_one_again(folder: Path) -> None:
    span = Span("a.melt", 1, 2)
    store.keep("key", ((span, 1), (span, 2), Source("a.melt", Path("a.melt"), "x\ny")))
    (first, _), (second, _), source = store.recall("key")
    assert first is second
    # What is made of the others is made again.
    assert source.line_starts == (0, 2)


def test_a_file_that_is_changed_or_cut_anywhere_is_not_used(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.keep("key", VALUE)
    path, whole = one(folder), one(folder).read_bytes()
    monkeypatch.setattr(pickle, "loads", lambda data: pytest.fail("it was taken for whole"))
    for at in range(len(whole)):
        path.write_bytes(whole[:at])
        assert store.recall("key") is None
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << at % 8]) + whole[at + 1 :])
        assert store.recall("key") is None
    path.write_bytes(whole + b"\0")
    assert store.recall("key") is None
    path.write_bytes(whole)
    path.rename(folder / "other.kept")
    assert store.recall("other") is None


def test_a_pickle_that_cannot_be_made_is_nothing(folder: Path) -> None:
    assert store.load(b"cos\nno_such_name\n.") is None
    store.keep("key", lambda: None)
    assert list(folder.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="rights are told in another way here")
@pytest.mark.parametrize("what", ["file", "folder"])
def test_what_others_may_write_is_not_read(what: str, folder: Path) -> None:
    store.keep("key", VALUE)
    path = one(folder) if what == "file" else folder
    for mode in (0o720, 0o702, 0o777):
        path.chmod(mode)
        assert store.recall("key") is None
    path.chmod(0o744)
    assert store.recall("key") == VALUE


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="owners are told in another way here")
def test_what_another_user_owns_is_not_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.keep("key", VALUE)
    monkeypatch.setattr(os, "geteuid", lambda: folder.stat().st_uid + 1)
    assert store.recall("key") is None
    store.keep("more", VALUE)
    assert len(list(folder.iterdir())) == 1


def test_anything_in_the_place_of_a_file_is_no_file(folder: Path) -> None:
    store.keep("key", VALUE)
    one(folder).unlink()
    (folder / "key.kept").mkdir()
    assert store.recall("key") is None
    store.keep("key", VALUE)
    assert [p.name for p in folder.iterdir()] == ["key.kept"]
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "pipe.kept")
        assert store.recall("pipe") is None


@pytest.mark.parametrize("chosen", ["off", os.devnull, f"{os.devnull}/below", "a\x01/" * 2000])
def test_without_a_folder_there_is_no_store(chosen: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MELTWRIGHT_CACHE", chosen)
    store.keep("key", VALUE)
    assert store.recall("key") is None


def test_a_full_disk_leaves_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(source: str, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    store.keep("key", VALUE)
    assert list(folder.iterdir()) == []


def test_where_the_folder_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("MELTWRIGHT_CACHE")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "x"))
    assert store.folder() == tmp_path / "x" / "meltwright" / "kept"
    for relative in ("x", ""):
        monkeypatch.setenv("XDG_CACHE_HOME", relative)
        assert store.folder() == tmp_path / "home" / ".cache" / "meltwright" / "kept"
    monkeypatch.setattr(os.path, "expanduser", lambda path: path)
    assert store.folder() is None
    assert not (tmp_path / "~").exists()


def test_what_was_used_longest_ago_is_removed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "LARGEST", 8_000)
    monkeypatch.setattr(store, "LEAST", 1_000)
    monkeypatch.setattr(store, "_unseen", [0])
    folder.mkdir(parents=True, mode=0o700)
    other = folder / "a file of the user's"
    other.write_text("x" * 9_000)
    for i in range(8):
        store.keep(f"k{i}", i)
        os.utime(folder / f"k{i}.kept", (1_000_000.0 + i, 1_000_000.0 + i))
    # An old one that is used is marked as used now.
    assert store.recall("k0") == 0
    store._unseen[0] = store.LARGEST
    store.keep("new", "new")
    left = sorted(p.name for p in folder.iterdir())
    assert left == [other.name, "k0.kept", "k4.kept", "k5.kept", "k6.kept", "k7.kept", "new.kept"]


def test_a_thing_too_large_is_not_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "LARGEST", 8_000)
    store.keep("key", "x" * 1_001)
    assert list(folder.iterdir()) == []


def test_a_changed_program_has_other_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code = tmp_path / "deep" / "module.py"
    code.parent.mkdir()
    code.write_text("a = 1\n")
    monkeypatch.setattr(store, "_HOME", str(tmp_path))
    later = code.stat().st_ctime + 10
    monkeypatch.setattr(store, "_STARTED", later)
    made = store._program.__wrapped__
    first, before = made(), code.stat()
    assert first and made() == first
    # Another content of the same size, with the same time of writing.
    code.write_text("a = 2\n")
    os.utime(code, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert made() not in (first, b"")
    # A program that changed just before it ran, or since: nothing is kept.
    monkeypatch.setattr(store, "_STARTED", code.stat().st_ctime + 0.5)
    assert made() == b""
    # And nothing where its files cannot be seen.
    monkeypatch.setattr(store, "_HOME", str(tmp_path / "none"))
    assert made() == b""


def test_nothing_is_kept_under_no_key(folder: Path) -> None:
    store.keep("", VALUE)
    assert store.recall("") is None
    assert not folder.exists()


def test_processes_that_write_and_make_room_at_once(folder: Path) -> None:
    script = """if True:
        import os, sys
        from meltwright.text import store
        store.LARGEST, store.LEAST = 400_000, 1_000
        for i in range(300):
            store._unseen[0] = store.LARGEST
            name = f"k{i * 7 % 20}"
            found = store.recall(name)
            assert found is None or found == name * 5_000, name
            store.keep(name, name * 5_000)
        """
    ran = [subprocess.Popen([sys.executable, "-c", script], stderr=subprocess.PIPE) for _ in range(3)]
    assert [(p.communicate()[1], p.returncode) for p in ran] == [(b"", 0)] * 3
    assert sum(p.stat().st_size for p in folder.iterdir()) <= 400_000
    assert {p.suffix for p in folder.iterdir()} == {".kept"}
