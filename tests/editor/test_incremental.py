"""Whatever is edited, in whatever order: what the editor says is what a check from nothing says."""

import re
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.editor.workspace import Workspace
from meltwright.meaning.checking import check_loaded
from meltwright.meaning.loading import load

from tests.editor.small import Small, texts

OTHER = """use "trade.melt"

material loose { diameter 1.75 mm  modulus 20 MPa }
machine bench { gap 2 mm  guide tube }
profile hose { material loose  machines bench }
"""
"""Another main file, with fewer files of its own; most of it stands on lines that no one would write."""


def both() -> dict[str, str]:
    """Give the files of the reference, and another main file that uses one of them."""
    other = OTHER.replace("{ ", "{\n  ").replace(" }", "\n}").replace("  modulus", "\n  modulus")
    other = other.replace("  guide", "\n  guide").replace("  machines", "\n  machines")
    return {**texts(), "other.melt": other}


FILES = sorted(both())
WORDS = sorted({w for t in texts().values() for w in re.findall(r"[\w.]+|[{}\"<>=*/^()-]+", t)})


@st.composite
def edits(draw: st.DrawFn) -> tuple[str, str, int, str]:
    """Draw a file, what is done, where (a share of the text in thousandths), and a word of the texts."""
    name = draw(st.sampled_from(FILES))
    what = draw(st.sampled_from(["put in", "leave out", "swap", "double", "whole"]))
    return name, what, draw(st.integers(0, 999)), draw(st.sampled_from(WORDS))


def edited(text: str, what: str, share: int, word: str, whole: str) -> str:
    """Make an edit in a text; ``whole`` is the text as it was at first."""
    lines = text.split("\n")
    row = share * len(lines) // 1000
    line = lines[row]
    column = share * len(line) // 1000
    if what == "whole":
        return whole
    if what == "put in":
        lines[row] = line[:column] + word + line[column:]
    elif what == "leave out":
        del lines[row]
    elif what == "double":
        lines.insert(row, line)
    else:
        lines[row] = re.sub(r"[\w.]+", word, line, count=1)
    return "\n".join(lines)


def same_as_fresh(workspace: Workspace, folder: Path) -> None:
    """Compare every main file with a check that knows of nothing before, of the same texts on the disk."""
    for path, text in workspace.texts.open.items():
        path.write_text(text, encoding="utf-8", newline="")
    assert workspace.programs
    for main, program in workspace.programs.items():
        model, found, sources = check_loaded(load(main))
        assert list(program.found) == list(found)
        assert program.sources == sources
        if model is not None:
            assert program.model == model
    other = Workspace([folder])
    other.settle()
    assert other.programs.keys() == workspace.programs.keys()
    assert other.reports() == workspace.reports()


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(edits(), min_size=1, max_size=8))
def test_any_edits(made: list[tuple[str, str, int, str]]) -> None:
    whole = both()
    with TemporaryDirectory() as name:
        small = Small(Path(name), both())
        for file, what, share, word in made:
            small.put(file, edited(small.files[file], what, share, word, whole[file]))
            same_as_fresh(small.workspace, small.folder)


def test_lines_that_move_what_follows(small: Small) -> None:
    for name in sorted(small.files):
        small.put(name, "# A line before it all.\n" + small.files[name])
        same_as_fresh(small.workspace, small.folder)


def test_a_declaration_that_others_read(small: Small) -> None:
    trade = small.files["trade.melt"]
    for old, new in (
        ("in 0 .. 40 mm", "in 0 .. 4 mm"),
        ("quantity gap of machine", "quantity gap of material"),
        ("one of tube, block", "one of tube, rod"),
        ("let flow = speed.contour", "let flow = 2 * speed.contour^2"),
        ("grade pace by flow", "grade pace by push"),
        ("from 4 mm3/s", "from 4 N"),
        ("  quick ", "  swift "),
        ("merit throughput", "merit output"),
        ("step 0.01 mm given", "step 0.03 mm given"),
        ("quantity parts of profile : number", "quantity parts of profile : length"),
    ):
        assert old in trade
        small.put("trade.melt", trade.replace(old, new))
        same_as_fresh(small.workspace, small.folder)
        small.put("trade.melt", trade)
        same_as_fresh(small.workspace, small.folder)
        assert small.codes() == {}
