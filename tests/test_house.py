"""How the house is built: floors import downwards only, and the compiler knows no material, machine or setting."""

import ast
import re
from pathlib import Path

import pytest
from meltwright.meaning.loading import library_folder

COMPILER = library_folder().parent / "compiler"
FLOORS = ["text", "syntax", "meaning", "network", "solving", "telling", "output", "compiling", "comparing"]
FLOORS += ["starting", "editor", "commands", "cli"]
MODULES = sorted(COMPILER.rglob("*.py"))


def floor_of(path: Path) -> str:
    parts = path.relative_to(COMPILER).parts
    return parts[0].removesuffix(".py")


def imported_floors(path: Path) -> set[str]:
    """Give the floors that a module imports from, wherever in it the import stands."""
    depth = len(path.relative_to(COMPILER).parts)
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level == depth and node.module:
            found.add(node.module.split(".")[0])
        elif isinstance(node, ast.ImportFrom) and node.level == depth:
            found |= {alias.name for alias in node.names}
    return found & set(FLOORS)


@pytest.mark.skipif(not COMPILER.is_dir(), reason="the sources are not beside the library of this installation")
def test_floors_import_downwards_only() -> None:
    for path in MODULES:
        floor = floor_of(path)
        if floor in FLOORS:
            above = set(FLOORS[FLOORS.index(floor) + 1 :])
            assert not imported_floors(path) & above, path


@pytest.mark.skipif(not COMPILER.is_dir(), reason="the sources are not beside the library of this installation")
def test_the_compiler_names_nothing_of_the_library() -> None:
    text = "\n".join(p.read_text(encoding="utf-8") for p in sorted(library_folder().rglob("*.melt")))
    names = set(re.findall(r"^(?:material|machine|law|merit|grade) (\w+)", text, re.MULTILINE))
    names |= set(re.findall(r"^setting (\w+\.\w+)", text, re.MULTILINE))
    # A law may be called like a common word of the compiler's own prose.
    names -= {"reach", "heater", "motion", "surface", "strength", "finish", "strings", "grip", "bonding"}
    for path in MODULES:
        words = set(re.findall(r"[\w.]+", path.read_text(encoding="utf-8")))
        assert not words & names, (path, words & names)
