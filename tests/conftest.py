"""Fixtures that the whole suite shares."""

import operator
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import Loaded, library_folder
from meltwright.meaning.model import LetDecl, Model
from meltwright.meaning.units import parse_unit, to_base_text
from meltwright.solving.evaluating import Evaluator
from meltwright.syntax import tree

# A slow machine must not fail a test, and the same commit must give the same result twice.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")

# The suite keeps what it works out in a folder of its own, so that nothing hangs on what the user's own holds.
_KEY = Loaded.key
_KEPT = tempfile.TemporaryDirectory(prefix="meltwright-tests-")
os.environ["MELTWRIGHT_CACHE"] = _KEPT.name


@pytest.fixture(scope="session", autouse=True)
def _worked_out() -> Iterator[None]:
    """But for trees and templates nothing is taken from the store in this process: a test is to see the work done."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Loaded, "key", lambda self, kind, *parts: "")
        yield


@contextmanager
def keeping(folder: Path | str) -> Iterator[None]:
    """Take everything from the store in a folder, and keep it there; ``off`` for no store at all."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Loaded, "key", _KEY)
        patch.setenv("MELTWRIGHT_CACHE", str(folder))
        yield


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


_RELATIONS: dict[str, Callable[[float, float], bool]] = {
    "<=": operator.le,
    ">=": operator.ge,
    "<": operator.lt,
    ">": operator.gt,
}


@cache
def _lets(preferred: frozenset[str]) -> dict[str, LetDecl]:
    """Give each derived name one derivation: that of a preferred law, else the first."""
    known = library_model().lets.items()
    return {name: next((d for d in found if d.law in preferred), found[0]) for name, found in known}


def _evaluator(values: Mapping[str, str], preferred: frozenset[str]) -> Evaluator:
    return Evaluator(_lets(preferred), {n: np.array([base(text)]) for n, text in values.items()})


def _number(evaluator: Evaluator, expression: tree.Expression) -> float:
    return float(np.ravel(evaluator.of(expression))[0])


@pytest.fixture(scope="session")
def derive() -> Callable[..., float]:
    """Evaluate a ``let`` of the library text itself, in base units.

    ``derive("name", {"diameter": "1.75 mm", "heat.nozzle": "220 degC"}, law="law_name")``: values are written as in
    Melt; ``law`` picks one of several derivations of the name. Whatever is not given is derived by the library.
    """

    def evaluate(name: str, values: Mapping[str, str], law: str = "", laws: tuple[str, ...] = ()) -> float:
        preferred = frozenset({law, *laws} - {""})
        return _number(_evaluator(values, preferred), _lets(preferred)[name].expression)

    return evaluate


@pytest.fixture(scope="session")
def holds() -> Callable[..., tuple[bool, ...]]:
    """Say of each ``require`` of a law, in the order of the text, whether it holds; values as for ``derive``."""

    def evaluate(law: str, values: Mapping[str, str], laws: tuple[str, ...] = ()) -> tuple[bool, ...]:
        evaluator = _evaluator(values, frozenset({law, *laws}))
        compared = [require.comparison for require in library_model().laws[law].requires]
        return tuple(_RELATIONS[c.relation](_number(evaluator, c.left), _number(evaluator, c.right)) for c in compared)

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
