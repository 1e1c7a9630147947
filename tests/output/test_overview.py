"""The overview: side by side for a few machines, a row each for many."""

from pathlib import Path

import pytest
from meltwright.cli import main
from meltwright.telling.brief import FEW_MACHINES

from tests.test_cli import GOOD


def overview(folder: Path, count: int) -> str:
    """Compile a profile on machines whose gaps differ, and read its overview."""
    names = [f"tube_{k:02}" for k in range(count)]
    text = GOOD.replace("machines tube", f"machines {', '.join(names)}")
    # The gap takes part, so that it is told of.
    text = text.replace("  require flow <=", "  require flow * (gap / 1 mm) <= 200 mm3/s\n  require flow <=", 1)
    text += "".join(f"machine {name} {{\n  gap {1 + k} mm\n}}\n" for k, name in enumerate(names))
    (folder / "shop.melt").write_text(text.replace("0 .. 40 mm", "0 .. 100 mm"), encoding="utf-8")
    assert main(["compile", str(folder / "shop.melt"), "--out", str(folder / "made")]) == 0
    return (folder / "made" / "job" / "overview.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("count", [2, FEW_MACHINES])
def test_few_machines_stand_side_by_side(tmp_path: Path, count: int) -> None:
    text = overview(tmp_path, count)
    (row,) = [line for line in text.splitlines() if line.startswith("| `gap` |")]
    assert row.count("|") == count + 2
    assert text.count("\n### ") == count


def test_many_machines_have_a_row_each(tmp_path: Path) -> None:
    count = FEW_MACHINES + 1
    text = overview(tmp_path, count)
    assert "\n### " not in text
    settings = text[text.index("## Settings that differ") : text.index("The same on all")]
    assert settings.count("\n| tube_") == count and "`speed.contour`, mm/s" in settings
    assert "`layer.height` 0.20 mm" in text[text.index("The same on all") :]
    inputs = text[text.index("## Inputs that differ") :]
    assert f"\n| tube_{count - 1} | {count} mm |\n" in inputs
