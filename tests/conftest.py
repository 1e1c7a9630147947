"""Fixtures that the whole suite shares."""

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import LetDecl, Model
from meltwright.meaning.units import parse_unit, to_base_text
from meltwright.solving.evaluating import Evaluator

# A slow machine must not fail a test, and the same commit must give the same result twice.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")


@cache
def library_model(name: str = "trade") -> Model:
    """Check a library file by its name."""
    model, faults, _ = check_file(library_folder() / f"{name}.melt")
    assert model is not None, faults
    return model


def base(text: str) -> float:
    """Turn ``"0.4 mm"`` into base units."""
    number, _, unit = text.partition(" ")
    return to_base_text(number, parse_unit(unit)) if unit else float(number)


@pytest.fixture
def derive() -> Callable[..., float]:
    """Evaluate a ``let`` of the library text itself, in base units.

    ``derive("name", {"diameter": "1.75 mm", "heat.nozzle": "220 degC"}, law="law_name")``: values are written as in
    Melt; ``law`` picks one of several derivations of the name. Whatever is not given is derived by the library.
    """

    def evaluate(name: str, values: dict[str, str], law: str = "", laws: tuple[str, ...] = ()) -> float:
        model = library_model()
        preferred = {law, *laws} - {""}
        lets: dict[str, LetDecl] = {}
        for known, derivations in model.lets.items():
            lets[known] = next((d for d in derivations if d.law in preferred), derivations[0])
        given = {n: np.array([base(text)]) for n, text in values.items()}
        return float(np.ravel(Evaluator(lets, given).of(lets[name].expression))[0])

    return evaluate


@pytest.fixture
def compiled(tmp_path: Path) -> Iterator[Callable[[str], object]]:
    """Compile a text as a file of its own."""
    from meltwright.compiling import Compiled, compile_file

    def run(text: str, machine: str = "") -> Compiled:
        path = tmp_path / "case.melt"
        path.write_text(text, encoding="utf-8")
        return compile_file(path, machine)

    yield run
