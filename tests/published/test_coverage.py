"""What the library says of its own checks and evidence: every law has a check that exists or a reason."""

import ast
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_library
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import CheckDecl, EntityDecl, LawDecl, Model

ROOT = library_folder().resolve().parent
PUBLISHED = Path("tests") / "published"


@cache
def library() -> Model:
    model, faults, _ = check_library()
    assert model is not None, faults
    return model


LAWS = sorted(library().laws)
ENTITIES = {("material", n): e for n, e in library().materials.items()}
ENTITIES |= {("machine", n): e for n, e in library().machines.items()}


@cache
def named_tests(path: Path) -> frozenset[str]:
    """Name the test functions that stand in a file."""
    found = ast.parse(path.read_text(encoding="utf-8")).body
    return frozenset(f.name for f in found if isinstance(f, ast.FunctionDef) and f.name.startswith("test_"))


def amiss(check: CheckDecl) -> str:
    """Say what is wrong with a check; nothing where it is sound."""
    path, _, name = check.by.partition("::")
    file = ROOT / path
    if Path(path).parent != PUBLISHED or not file.is_file():
        return f"{path} is no file of {PUBLISHED}"
    if name and name not in named_tests(file):
        return f"{path} has no {name}"
    if not named_tests(file):
        return f"{path} has no tests"
    what, against, source = check.text.partition(" against ")
    return "" if against and what.strip() and len(source.split()) >= 2 else "it does not say what against which source"


def law(name: str) -> LawDecl:
    return library().laws[name]


@pytest.mark.parametrize("name", LAWS)
def test_each_law_is_checked_or_says_why_not(name: str) -> None:
    checks, reason = law(name).checks, law(name).unchecked
    assert checks or len(reason.split()) >= 4, f"law {name} says neither what it was checked against nor why not"


@pytest.mark.parametrize("name", LAWS)
def test_each_check_exists_and_names_its_source(name: str) -> None:
    assert [f"{c.by}: {wrong}" for c in law(name).checks if (wrong := amiss(c))] == []


@pytest.mark.parametrize(
    ("text", "by", "wrong"),
    [
        ("x against a book, ch. 2", "tests/published/test_coverage.py::test_nothing", "has no test_nothing"),
        ("x against a book, ch. 2", "tests/published/test_nothing.py", "is no file"),
        ("x against a book, ch. 2", "tests/test_house.py", "is no file"),
        ("x", "tests/published/test_coverage.py", "does not say"),
        ("x against ", "tests/published/test_coverage.py", "does not say"),
        (
            "x against a book, ch. 2",
            "tests/published/test_coverage.py::test_each_check_exists_and_names_its_source",
            "",
        ),
    ],
)
def test_what_is_amiss_is_seen(text: str, by: str, wrong: str) -> None:
    found = amiss(CheckDecl(text, by, law(LAWS[0]).span))
    assert wrong in found and bool(wrong) == bool(found)


@pytest.mark.parametrize("entity", ENTITIES.values(), ids=[" ".join(key) for key in ENTITIES])
def test_each_value_has_evidence_and_none_claims_to_be_measured(entity: EntityDecl) -> None:
    """The library holds families and kinds: nobody has measured one of those."""
    for value in entity.values.values():
        assert value.evidence.stated and value.evidence.text.strip(), value.name
        assert value.evidence.kind in ("published", "typical", "assumed"), value.name


def test_the_library_is_looked_at_whole() -> None:
    files = {p.relative_to(ROOT).as_posix() for p in (ROOT / "library").rglob("*.melt")}
    assert library().sources.keys() == {f for f in files if not f.startswith("library/demos/")}
    kinds = Counter(kind for kind, _ in ENTITIES)
    assert LAWS and kinds["material"] and kinds["machine"]
