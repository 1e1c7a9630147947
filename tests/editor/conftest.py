"""Fixtures of the editor's tests."""

from pathlib import Path

import pytest

from tests.editor.small import Small


@pytest.fixture
def small(tmp_path: Path) -> Small:
    return Small(tmp_path)
