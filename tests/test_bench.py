"""The benchmark still runs; what it measures is not judged here."""

import runpy
from pathlib import Path

from meltwright.meaning.loading import library_folder


def test_every_step_of_a_compile_is_measured() -> None:
    bench = runpy.run_path(str(Path(__file__).parent / "bench" / "__main__.py"))
    clock, machines = bench["once"](library_folder() / "demos" / "stiff_bracket.melt")
    assert {"parsing", "checking", "lowering", "solving", "check", "telling", "rendering"} <= set(clock.taken)
    assert [name.split()[-1] for name in machines] == ["corner_tube", "bench_tube", "gantry_direct"]
    assert all(boxes > 0 for _, boxes in machines.values())
