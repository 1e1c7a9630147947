"""Folders to stand in."""

from pathlib import Path

import pytest

from . import project


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with the project twice, as ``old`` and ``new``."""
    monkeypatch.chdir(tmp_path)
    project.write(tmp_path / "old")
    project.write(tmp_path / "new")
    return tmp_path


@pytest.fixture
def repo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a git repository with the project in its folder ``shop``, once committed."""
    monkeypatch.chdir(tmp_path)
    project.write(tmp_path / "shop")
    project.git(tmp_path, "init", "-q")
    project.commit(tmp_path, "first")
    return tmp_path
