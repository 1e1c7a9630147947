"""What the files and commands of a page cannot set up by themselves."""

from collections.abc import Callable
from pathlib import Path

import pytest

Situation = Callable[[Path, pytest.MonkeyPatch], None]

SITUATIONS: dict[str, Situation] = {}

UNMENDED: dict[str, str] = {
    "M122": "a fault of the program, not of a text",
    "M506": "a fault of the program, not of a text",
}
"""Codes whose pages have no mended example, and why."""
