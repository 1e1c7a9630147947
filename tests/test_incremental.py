"""What comes of texts does not hang on what was kept: after any edits, and after anything that happens to the store."""

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import fields, is_dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import sleep
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from meltwright import compiling
from meltwright.cli import main
from meltwright.compiling import compile_file, look_over, prepare
from meltwright.meaning.loading import library_folder
from meltwright.telling.bundle import Teller

from tests.conftest import keeping

# ---- a small project, each of whose files has several contents

WANTS = "profile p {{\n  material stuff\n  machines {machines}\n  {more}\n  prefer m\n}}\n"
MAIN = 'use library "stock"\nuse "shop.melt"\nuse "parts/more.melt"\n'
LAW = 'law l {{\n  about "a"\n  source textbook "t"\n  require {left} <= {right}\n    else "too much"\n}}\n'
STOCK = """\
quantity u of machine : number in -1e9 .. 1e9 "input"
quantity v of machine : number in -1e9 .. 1e9 "input"
setting x : number in 0 .. 20 step 1 "setting"
setting y : number in 0 .. 20 step 1 "setting"
merit m = x + 0.5 * y "merit"
material stuff {
}
"""
MACHINE = "machine {name} {{\n  u {u}\n  v 2 .. 3\n}}\n"
CONTENTS: dict[str, tuple[str, ...]] = {
    "project/main.melt": (
        MAIN + WANTS.format(machines="one, two", more=""),
        MAIN + WANTS.format(machines="two", more='pin y = 3 because "it was"'),
        "# a comment\n" + MAIN + WANTS.format(machines="one, three", more="x at least 4"),
        'use library "stock"\nuse "shop.melt"\n' + WANTS.format(machines="one", more=""),
        MAIN + WANTS.format(machines="one", more="x at least"),
        MAIN + WANTS.format(machines="one", more="x at least 19\n  y at least 19"),
        MAIN + 'use "../outside.melt"\n' + WANTS.format(machines="one", more=""),
        MAIN,
    ),
    "project/shop.melt": (
        MACHINE.format(name="one", u="1 .. 2") + MACHINE.format(name="two", u="1.5"),
        MACHINE.format(name="one", u="1 .. 3") + MACHINE.format(name="two", u="1.5"),
        MACHINE.format(name="one", u="1 .. 2 mm") + MACHINE.format(name="two", u="1.5"),
        MACHINE.format(name="one", u="0 .. 2") + "machine two from one {\n}\n",
        'use "main.melt"\n' + MACHINE.format(name="one", u="1 .. 2"),
    ),
    "project/parts/more.melt": (
        "machine three from one {\n  v 1\n}\n",
        "machine three from two {\n}\n",
        LAW.format(left="x / u", right="6").replace("law l", "law more"),
    ),
    "outside.melt": ("machine four from one {\n}\n",),
    "library/stock.melt": (
        STOCK + LAW.format(left="u * x + y", right="20"),
        STOCK + LAW.format(left="u * x + y * v", right="20"),
        STOCK + 'use "laws/deep"\n',
        STOCK + LAW.format(left="log(u) * x", right="20"),
        STOCK
        + LAW.format(left="u * (x + 1) + y * y / v", right="0.1 * v").replace('much"', 'much"\n    remedy lower u'),
    ),
    "library/laws/deep.melt": (LAW.format(left="x * x", right="90"), LAW.format(left="x * z", right="90")),
}
NAMES = sorted(CONTENTS)


def write(root: Path, name: str, content: int = 0) -> None:
    path = root / name
    remove(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(CONTENTS[name][content % len(CONTENTS[name])], encoding="utf-8")


def remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


# ---- what may happen

Event = Callable[[Path, Path], None]
"""Something that happens to the folder of the texts or to that of the store."""


def rewritten(name: str, content: int) -> Event:
    return lambda root, kept: write(root, name, content)


def removed(name: str) -> Event:
    return lambda root, kept: remove(root / name)


def renamed(name: str, other: str) -> Event:
    def happen(root: Path, kept: Path) -> None:
        if (root / name).exists() and name != other:
            remove(root / other)
            (root / other).parent.mkdir(parents=True, exist_ok=True)
            (root / name).rename(root / other)

    return happen


def linked(name: str, other: str) -> Event:
    """One file is now a link to another."""

    def happen(root: Path, kept: Path) -> None:
        remove(root / name)
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).symlink_to(root / other)

    return happen


def touched(name: str, time: int) -> Event:
    def happen(root: Path, kept: Path) -> None:
        if (root / name).is_file():
            os.utime(root / name, (time, time))

    return happen


def enclosed(root: Path, kept: Path) -> None:
    """The project's folder is in a repository, or no longer: that moves the end of what may be used."""
    remove(root / ".git") if (root / ".git").exists() else (root / ".git").mkdir()


def spoilt(seed: int) -> Event:
    """Files of the store are cut, changed, removed, or take each other's place."""

    def happen(root: Path, kept: Path) -> None:
        spoil(kept / "kept", random.Random(seed))

    return happen


def emptied(root: Path, kept: Path) -> None:
    shutil.rmtree(kept, ignore_errors=True)


def spoil(folder: Path, chance: random.Random) -> None:
    for path in sorted(folder.glob("*")):
        with suppress(OSError):
            data = bytearray(path.read_bytes())
            match chance.randrange(8):
                case 0:
                    path.unlink()
                case 1:
                    path.write_bytes(data[: chance.randrange(len(data) + 1)])
                case 2 if data:
                    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
                    path.write_bytes(data)
                case 3:
                    path.replace(chance.choice(sorted(folder.glob("*"))))


names = st.sampled_from(NAMES)
numbers = st.integers(0, 7)
events = st.one_of(
    st.builds(rewritten, names, numbers),
    st.builds(rewritten, names, numbers),
    st.builds(rewritten, names, st.just(0)),
    st.builds(removed, names),
    st.builds(renamed, names, names),
    st.builds(linked, names, names),
    st.builds(touched, names, st.integers(1, 2_000_000_000)),
    st.just(enclosed),
    st.builds(spoilt, st.integers(0, 1_000)),
    st.just(emptied),
)


# ---- what comes of the texts


def told(value: Any) -> Any:
    """Lay a value open: everything of every object in it, places too, which equality may leave out."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if is_dataclass(value) and not isinstance(value, type):
        return type(value).__name__, [told(getattr(value, f.name)) for f in fields(value)]
    if isinstance(value, Mapping):
        return [(told(k), told(v)) for k, v in value.items()]
    if isinstance(value, tuple | list):
        return type(value).__name__, [told(v) for v in value]
    assert value is None or isinstance(value, str | int | float | Path) or type(value).__name__ == "Fraction", value
    return value


def outcome(main: Path) -> list[Any]:
    """All that the commands are made of: the outcome of check, of checking and lowering, and of solving."""
    looks = [look_over(main), look_over(main, effort=1)]
    prepared, narrow, unknown = prepare(main), prepare(main, "one"), prepare(main, "one", "z")
    compiled = compile_file(main)
    every = [compiled, compile_file(main, "two"), compile_file(main, "one"), compile_file(main, "one", effort=1)]
    solved = [told((s.answer, s.derived, s.ranges)) for c in every for s in c.solutions]
    return [
        told([(looked.diagnostics, looked.sources, machines) for looked, machines in looks]),
        *[told((p.model, p.networks, p.faults, p.sources)) for p in (prepared, narrow, unknown)],
        told([c.diagnostics for c in every]),
        solved,
        Teller().bundles(list(compiled.solutions)),
    ]


@pytest.fixture(scope="module", autouse=True)
def library() -> Any:
    """The small project has a small library."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("meltwright.meaning.loading.library_folder", lambda: SMALL[-1] if SMALL else library_folder())
        yield


SMALL: list[Path] = []
"""The library that is used in place of the installed one."""


@settings(max_examples=12)
@given(st.lists(events, min_size=1, max_size=6))
@example([removed("project/parts/more.melt"), rewritten("project/parts/more.melt", 0)])
@example(
    [rewritten("library/stock.melt", 2), rewritten("library/laws/deep.melt", 0), removed("library/laws/deep.melt")]
)
@example([rewritten("project/main.melt", 6), enclosed, rewritten("outside.melt", 0), enclosed])
@example([rewritten("project/main.melt", 5), spoilt(1), rewritten("project/shop.melt", 3)])
@example([renamed("project/shop.melt", "project/o.melt"), linked("project/shop.melt", "project/o.melt")])
@example([rewritten("library/stock.melt", 4), touched("project/main.melt", 1)])
@example([linked("project/parts/more.melt", "outside.melt"), rewritten("outside.melt", 0)])
@example([linked("project/main.melt", "project/shop.melt"), emptied, rewritten("project/main.melt", 7)])
def test_after_any_edits_all_is_as_without_a_store(happening: list[Event]) -> None:
    with TemporaryDirectory() as folder:
        root, kept = Path(folder, "texts").resolve(), Path(folder, "kept")
        for name in NAMES:
            if name != "outside.melt":
                write(root, name)
        main = root / "project" / "main.melt"
        SMALL.append(root / "library")
        try:
            for event in [enclosed, enclosed, *happening]:
                event(root, kept)
                with keeping("off"):
                    expected = outcome(main)
                with keeping(kept):
                    assert outcome(main) == expected
                    assert outcome(main) == expected
        finally:
            SMALL.pop()


def test_the_contents_reach_every_kind_of_outcome(tmp_path: Path) -> None:
    """The property above is worth something only where texts are sound, faulty, refused and solved."""
    root = tmp_path / "texts"
    codes: set[str] = set()
    SMALL.append(root / "library")
    try:
        for name in NAMES:
            for content in range(len(CONTENTS[name])):
                for other in NAMES:
                    write(root, other)
                write(root, name, content)
                with keeping(tmp_path / "kept"):
                    compiled = compile_file(root / "project" / "main.melt")
                codes |= {d.code for d in compiled.diagnostics} or {"sound"}
    finally:
        SMALL.pop()
    kinds = {path.name.split("-")[0] for path in (tmp_path / "kept" / "kept").iterdir()}
    assert kinds >= {"tree", "lowered", "answers"}
    assert codes >= {"sound", "M202", "M401", "M503"}, codes


def test_each_effort_has_an_outcome_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def looked(prepared: compiling.Prepared, effort: int) -> tuple[compiling.Compiled, list[str]]:
        return prepared.compiled(), [f"effort {effort}"]

    main = library_folder() / "demos" / "watch_strap.melt"
    with keeping(tmp_path):
        monkeypatch.setattr(compiling, "first_look", looked)
        first = [look_over(main, effort)[1] for effort in (0, 1, 2)]
        monkeypatch.setattr(compiling, "first_look", None)
        assert [look_over(main, effort)[1] for effort in (2, 1, 0)] == first[::-1]
    # A check keeps no networks: that would cost more at each edit than it saves.
    assert {path.name.split("-")[0] for path in (tmp_path / "kept").iterdir()} - {"grammar"} == {"tree", "looked"}
    assert len({str(names) for names in first}) == 3


def test_a_file_that_appears_beside_is_told_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is told of an unknown name hangs on files that are not used."""
    file = tmp_path / "main.melt"
    file.write_text("machine one from other {\n}\n", encoding="utf-8")
    said = []
    with keeping(tmp_path / "kept"):
        for _ in range(2):
            assert main(["check", str(file)]) == 1
            said.append(capsys.readouterr().err)
            (tmp_path / "shop.melt").write_text("machine other {\n}\n", encoding="utf-8")
    assert "shop.melt" not in said[0]
    assert 'add: use "shop.melt"' in said[1]


# ---- the real library, the commands, and processes at once


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def edited(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text, path
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_the_real_library_with_edits_of_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    library = tmp_path / "library"
    shutil.copytree(library_folder(), library)
    demo, kept = library / "demos" / "watch_strap.melt", tmp_path / "kept"

    def ran(cache: Path | str, *command: str) -> tuple[Any, ...]:
        out = tmp_path / "out"
        shutil.rmtree(out, ignore_errors=True)
        with keeping(cache):
            code = main([*command, *(["--out", str(out)] if command[0] == "compile" else [])])
        return code, capsys.readouterr(), files(out)

    deriving, checking = ("compile", str(demo)), ("check", str(demo))
    changes: list[tuple[Callable[[], object], tuple[str, ...]]] = [
        (lambda: None, checking),
        (lambda: edited(library / "demos" / "shop.melt", "6 ± 0.5 mm", "5 ± 0.5 mm"), deriving),
        (lambda: edited(library / "laws" / "escape.melt", "require", "require 0 mm >= 1 mm\n  require"), checking),
        (lambda: (library / "laws" / "escape.melt").rename(library / "laws" / "gone.melt"), checking),
        (lambda: shutil.copy(library_folder() / "laws" / "escape.melt", library / "laws"), checking),
        (lambda: edited(library / "materials" / "urethanes.melt", "urethane_85a", "urethane_85b"), checking),
    ]
    said = []
    SMALL.append(library)
    try:
        for change, command in changes:
            change()
            expected = ran("off", *command)
            assert [ran(kept, *command) for _ in range(2)] == [expected] * 2
            spoil(kept / "kept", random.Random(1))
            said.append(expected)
    finally:
        SMALL.pop()
    assert [code for code, *_ in said] == [0, 0, 1, 1, 0, 1]
    assert len(said[1][2]) > 10


def test_what_an_unchanged_check_loads(tmp_path: Path) -> None:
    """Neither the parser nor numpy, nor the nodes of the tree."""
    demo = library_folder() / "demos" / "watch_strap.melt"
    script = f"""if True:
        import sys
        from meltwright.cli import main
        code = main(["check", {str(demo)!r}])
        print(*sorted(sys.modules))
        sys.exit(code)
        """
    around = {**os.environ, "MELTWRIGHT_CACHE": str(tmp_path)}
    ran = [
        subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=around, check=True).stdout
        for _ in range(2)
    ]
    first, again = (set(r.splitlines()[-1].split()) for r in ran)
    assert ran[0].splitlines()[0] == ran[1].splitlines()[0]
    heavy = {"lark", "numpy", "meltwright.syntax.tree", "meltwright.meaning.model", "meltwright.network"}
    assert heavy <= first
    assert not heavy & again


def test_processes_at_once_on_a_store_that_is_spoilt_and_removed(tmp_path: Path) -> None:
    """Each compiles and checks, and finds what is found without a store; nobody tells of a fault."""
    texts = tmp_path / "texts"
    for name in ("project/shop.melt", "project/parts/more.melt"):
        write(texts, name)
    stock = STOCK + LAW.format(left="u * x + y", right="20")
    (texts / "project" / "stock.melt").write_text(stock, encoding="utf-8")
    for content in (0, 1, 5):
        text = CONTENTS["project/main.melt"][content].replace("use library", "use")
        (texts / "project" / f"main{content}.melt").write_text(text, encoding="utf-8")
    script = """if True:
        import contextlib, hashlib, io, shutil, sys
        from pathlib import Path
        from meltwright.cli import main
        rounds, out, *mains = sys.argv[1:]
        for _ in range(int(rounds)):
            for file in mains:
                said = io.StringIO()
                with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                    codes = main(["check", file]), main(["compile", file, "--out", out, "--only", "json"])
                made = hashlib.sha256()
                for path in sorted(Path(out).rglob("*.json")):
                    made.update(path.name.encode() + path.read_bytes())
                shutil.rmtree(out, ignore_errors=True)
                print([Path(file).name, codes, said.getvalue().replace(out, "out"), made.hexdigest()])
        """
    mains = [str(texts / "project" / f"main{k}.melt") for k in (0, 1, 5)]

    def start(number: int, cache: Path | str, rounds: int, order: list[str]) -> "subprocess.Popen[str]":
        command = [sys.executable, "-c", script, str(rounds), str(tmp_path / f"out{number}"), *order]
        around = {**os.environ, "MELTWRIGHT_CACHE": str(cache)}
        return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=around)

    first, complaints = start(9, "off", 1, mains).communicate()
    assert not complaints and "(0, 0)" in first and "M503" in first
    kept, chance = tmp_path / "kept", random.Random(0)
    running = [start(k, kept, 5, mains[k:] + mains[:k]) for k in range(3)]
    while any(process.poll() is None for process in running):
        spoil(kept / "kept", chance)
        if chance.random() < 0.1:
            shutil.rmtree(kept, ignore_errors=True)
        sleep(0.01)
    for process in running:
        said, complaints = process.communicate()
        assert (complaints, process.returncode) == ("", 0)
        assert sorted(said.splitlines()) == sorted(first.splitlines() * 5)
