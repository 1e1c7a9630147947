"""The pages of codes: every code has one, and every example is run, as it is and mended.

A page whose example takes commands keeps what they print; ``pytest --snapshot-update`` writes that anew.
"""

import os
import re
import shlex
import subprocess
from collections.abc import Callable
from pathlib import Path
from shutil import which

import meltwright
import pytest
from meltwright.cli import main
from meltwright.commands.explain import examine
from meltwright.syntax.formatting import format_text
from meltwright.text.catalogue import CATALOGUE, GROUPS
from meltwright.text.diagnostic import write
from meltwright.text.page import Page, of_kind, page_codes, page_of, parse_page
from meltwright.text.source import Source

from .situations import ALONG, LASTING, SITUATIONS, UNMENDED

COMPILER = Path(meltwright.__file__).parent
PAGES = COMPILER / "text" / "pages"
TESTS = Path(__file__).parents[1]
CODES = sorted(CATALOGUE)
WITH_COMMANDS = [code for code in page_codes() if (PAGES / f"{code}.md").read_text("utf-8").count("```sh\n")]
LEFT_OUT = "..."
"""A line of its own in what is kept of an output: lines that are not shown."""

PLAIN = [code for code in page_codes() if code not in WITH_COMMANDS]


def the_page(code: str) -> Page:
    page = page_of(code)
    assert page is not None
    return page


# ---- none is missing


def test_every_code_has_a_page_and_every_page_a_code() -> None:
    assert page_codes() == CODES


def test_every_code_is_used_and_every_used_code_is_known() -> None:
    """A code stands in ``compiler/`` as a text of its own, wherever the diagnostic is made."""
    texts = [p.read_text("utf-8") for p in COMPILER.rglob("*.py") if p.name != "catalogue.py"]
    used = {code for text in texts for code in re.findall(r'"(M\d{3})"', text)}
    assert sorted(used) == CODES


def test_every_code_is_named_by_a_test() -> None:
    texts = [p.read_text("utf-8") for p in TESTS.rglob("*") if p.suffix in (".py", ".ambr") and p.parent.name != "text"]
    named = {code for text in texts for code in re.findall(r"\bM\d{3}\b", text)}
    assert not set(CODES) - named


def test_slugs_differ_and_groups_are_known() -> None:
    slugs = [entry.slug for entry in CATALOGUE.values()]
    assert len(set(slugs)) == len(slugs)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", slug) for slug in slugs)
    assert {code[:2] for code in CODES} <= set(GROUPS)
    assert all(entry.severity in ("error", "warning") for entry in CATALOGUE.values())


# ---- how a page is made


@pytest.mark.parametrize("code", page_codes())
def test_a_page_says_what_it_has_to(code: str) -> None:
    page = the_page(code)
    assert any(isinstance(piece, str) for piece in page.meaning) and page.example and page.mending
    assert page.files or page.commands
    assert code in UNMENDED or any(not isinstance(piece, str) for piece in page.mending)
    assert bool(page.commands) == bool(of_kind(page.example, "text"))
    text = (PAGES / f"{code}.md").read_text("utf-8")
    assert text.endswith("\n") and not re.search(r"[ \t]$|\n\n\n|\t", text, re.MULTILINE)
    outside = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    assert "```" not in outside and not re.search(r"^#", outside, re.MULTILINE)
    assert max(len(line) for line in outside.splitlines()) <= 100
    assert not [line for line in outside.splitlines() if line.count("`") % 2], "code stays on one line"


def test_no_two_pages_say_the_same() -> None:
    said: dict[str, str] = {}
    for code in page_codes():
        page = the_page(code)
        for piece in (*page.meaning, *page.mending):
            for sentence in re.split(r"(?<=[.:])\s+", " ".join(piece.split())) if isinstance(piece, str) else ():
                if len(sentence) > 40:
                    assert said.setdefault(sentence, code) == code, sentence


def test_a_page_without_three_parts_is_refused() -> None:
    with pytest.raises(ValueError, match="2 parts, not 3"):
        parse_page("M101", "a\n---\nb\n")


# ---- examples of texts


@pytest.mark.parametrize("code", PLAIN)
def test_an_example_of_a_text(code: str) -> None:
    page = the_page(code)
    found = examine({name: fence.text for name, fence in page.files.items()})
    assert {d.code for d in found.diagnostics} == {code}, write(found.diagnostics, found.sources)
    marked = {(name, fence.marked) for name, fence in page.files.items() if fence.marked}
    assert {(d.span.file, found.sources[d.span.file].line_column(d.span.start)[0]) for d in found.diagnostics} == marked


@pytest.mark.parametrize("code", [code for code in PLAIN if code not in UNMENDED])
def test_a_mended_text_is_sound(code: str) -> None:
    texts = {name: fence.text for name, fence in the_page(code).mended.items()}
    found = examine(texts)
    assert code not in {d.code for d in found.diagnostics}
    # What is no whole text asks for nothing.
    whole = any(re.search(r"^profile ", text, re.MULTILINE) for text in texts.values())
    wrong = [d for d in found.diagnostics if d.is_error and (whole or d.code != "M401")]
    assert not wrong, write(found.diagnostics, found.sources)


@pytest.mark.parametrize("code", [code for code in page_codes() if code not in UNMENDED])
def test_a_mended_text_is_in_the_one_layout(code: str) -> None:
    for name, fence in the_page(code).mended.items():
        if fence.kind == "melt":
            assert _laid_out(fence.text, name) == fence.text


def _laid_out(text: str, name: str) -> str:
    made, faults = format_text(Source(name, Path(name), text))
    assert not faults, faults
    return made


# ---- examples of situations


@pytest.mark.parametrize("code", WITH_COMMANDS)
def test_an_example_of_commands(
    code: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    request: pytest.FixtureRequest,
) -> None:
    page = the_page(code)
    if any(f.text.startswith("git ") for part in (page.example, page.mending) for f in of_kind(part, "sh")):
        which("git") or pytest.skip("git is not installed")
    said, ended = _run(page, code, tmp_path / "as_it_is", monkeypatch, capfd, mended=False)
    heads = re.findall(r"^(?:error|warning)\[(M\d{3}) .*\n(?:  --> (\S+?):(\d+):)?", said, re.MULTILINE)
    assert {head[0] for head in heads} == {code} | ALONG.get(code, set()), said
    assert ended == (1 if CATALOGUE[code].severity == "error" else 0), said
    marked = {(name, str(fence.marked)) for name, fence in page.files.items() if fence.marked}
    assert not marked or {head[1:] for head in heads if head[0] == code} == marked
    (kept,) = of_kind(page.example, "text")
    if LEFT_OUT in kept.text.splitlines():
        between = [re.escape(stretch) for stretch in f"\n{kept.text}".split(f"\n{LEFT_OUT}\n")]
        assert re.fullmatch("\n.*".join(between), f"\n{said}", re.DOTALL), said
    elif kept.text != said and request.config.option.update_snapshots:
        path = PAGES / f"{code}.md"
        text = path.read_text("utf-8")
        path.write_text(text.replace(f"```text\n{kept.text}```", f"```text\n{said}```", 1), encoding="utf-8")
    else:
        assert kept.text == said
    if code not in UNMENDED:
        said, ended = _run(page, code, tmp_path / "mended", monkeypatch, capfd, mended=True)
        assert (f"[{code} " in said, ended) == (False, 0), said


def _run(
    page: Page,
    code: str,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    *,
    mended: bool,
) -> tuple[str, int]:
    """Set up the situation of a page and run its commands; gives what the last prints, and its exit code."""
    folder.mkdir()
    monkeypatch.chdir(folder)
    for name, value in _ENVIRONMENT.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(folder.parent))
    for name, fence in (page.mended if mended else page.files).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(fence.text, encoding="utf-8")
    prepare: Callable[[Path, pytest.MonkeyPatch], None] | None = SITUATIONS.get(code)
    commands = page.commands
    if mended:
        commands = tuple(c for f in of_kind(page.mending, "sh") for c in f.text.splitlines()) or commands
    said, ended = "", 0
    with monkeypatch.context() as patched:
        if prepare is not None and (not mended or code in LASTING):
            prepare(folder, patched)
        for command in commands:
            capfd.readouterr()
            words = shlex.split(command)
            if words[0] == "meltwright":
                ended = main(words[1:])
            else:
                ended = subprocess.run(command, shell=True, cwd=folder, check=False).returncode
            said = re.sub(_AFTER_REPORTS, "", capfd.readouterr().err, flags=re.MULTILINE).rstrip("\n") + "\n"
    assert str(folder) not in said
    return said, ended


_AFTER_REPORTS = r"^(?:meltwright explain M\d{3} tells more|\S+: \d+ errors?|nothing was written)\n"
"""What a page need not repeat."""

_ENVIRONMENT = {
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
    **{f"GIT_{who}_{what}": "shop" for who in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")},
}
