"""Edits are found by what texts say, and making all of them leads from one text to the other."""

from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from meltwright.comparing.edits import Change, _unordered, change
from meltwright.syntax import tree
from meltwright.syntax.reading import read
from meltwright.text.source import Source

from ..syntax import strategies
from . import project


def files(text: str) -> dict[str, tree.File]:
    file, faults = read(Source("x.melt", Path("x.melt"), text))
    assert not faults, faults
    return {"x.melt": file}


WHOLE = "\n".join([project.LAWS, project.RODS, project.MACHINES, project.JOB.split("\n\n", 1)[1]])

SAME = {
    "layout": ("gap 6 mm", "gap     6   mm"),
    "a comment": ("gap 6 mm", "gap 6 mm   # as it stands"),
    "another way to write a number": ("layer.height 0.2 mm", "layer.height 0.200 mm"),
    "another sign": ("20 ± 2 MPa", "20 +- 2.0 MPa"),
    "order in a block": ("gap 6 mm\n  guide open", "guide open\n  gap 6 mm"),
    "order of machines": ("machines bench, closed", "machines closed, bench"),
    "needless parentheses": ("speed.contour * gap <=", "(speed.contour * (gap)) <="),
}


@pytest.mark.parametrize("case", SAME)
def test_no_edit(case: str) -> None:
    old, new = SAME[case]
    assert WHOLE.count(old) == 1
    assert change(files(WHOLE), files(WHOLE.replace(old, new))).edits == ()


def test_order_of_statements_and_files_is_no_edit() -> None:
    parts = [project.RODS, project.MACHINES]
    turned = files("\n".join(parts[::-1]))
    assert change(files("\n".join(parts)), turned).edits == ()
    split = {"a.melt": files(parts[0])["x.melt"], "z.melt": files(parts[1])["x.melt"]}
    assert change(files("\n".join(parts)), split).edits == ()


EDITS = {
    "value": ("gap 6 mm", "gap 5 mm", ("value", "machine bench", "gap", "6 mm", "5 mm")),
    "evidence": (
        'measured "pressed (invented)"',
        'assumed "a guess (invented)"',
        (
            "evidence",
            "material rod",
            "firmness",
            '20 ± 2 MPa measured "pressed (invented)"',
            '20 ± 2 MPa assumed "a guess (invented)"',
        ),
    ),
    "value gone": ("  shade pale\n", "", ("value", "material rod", "shade", "pale", "")),
    "want": (
        "speed.contour at least 2 mm/s",
        "speed.contour at least 3 mm/s if possible",
        (
            "want",
            "profile job",
            "speed.contour",
            "speed.contour at least 2 mm/s",
            "speed.contour at least 3 mm/s if possible",
        ),
    ),
    "preference": (
        "prefer throughput",
        "prefer throughput giving 5 %",
        ("preference", "profile job", "", "prefer throughput", "prefer throughput giving 5 %"),
    ),
    "pin added": (
        "prefer throughput",
        'prefer throughput\n  pin heat.bed = 40 degC because "so"',
        ("pin", "profile job", "heat.bed", "", 'pin heat.bed = 40 degC because "so"'),
    ),
    "machine no longer named": ("bench, closed", "bench", ("machine", "profile job", "closed", "closed", "")),
    "base": ("closed from bench", "closed", ("base", "machine closed", "", "from bench", "")),
    "require": (
        "flow <= 18 mm3/s",
        "flow <= 17 mm3/s",
        ("require", "law flowing", "", "require flow <= 18 mm3/s", "require flow <= 17 mm3/s"),
    ),
    "words of a require": (
        '"the rod bows out"',
        '"the rod bends"',
        (
            "require",
            "law bowing",
            "",
            'require speed.contour * gap <= firmness / 1 MPa * 10 mm2/s else "the rod bows out"',
            'require speed.contour * gap <= firmness / 1 MPa * 10 mm2/s else "the rod bends"',
        ),
    ),
    "let": (
        "layer.height * 1 mm",
        "layer.height * 2 mm",
        (
            "let",
            "law flowing",
            "flow",
            "let flow = speed.contour * layer.height * 1 mm",
            "let flow = speed.contour * layer.height * 2 mm",
        ),
    ),
    "when": ("  when guide is open\n", "", ("when", "law bowing", "", "when guide is open", "")),
    "setting": (
        "step 5 K rather low",
        "step 5 K rather high",
        (
            "setting",
            "setting heat.bed",
            "",
            'setting heat.bed : temperature in 20 .. 100 degC step 5 K rather low "Bed temperature."',
            'setting heat.bed : temperature in 20 .. 100 degC step 5 K rather high "Bed temperature."',
        ),
    ),
    "machine added": (
        "machine bench {",
        "machine other from bench {\n}\nmachine bench {",
        ("added", "machine other", "", "", "machine other from bench"),
    ),
}


@pytest.mark.parametrize("case", EDITS)
def test_an_edit(case: str) -> None:
    old, new, expected = EDITS[case]
    assert WHOLE.count(old) == 1
    found = change(files(WHOLE), files(WHOLE.replace(old, new)))
    assert [(e.kind, e.subject, e.name, e.old, e.new) for e in found.edits] == [expected]
    check_ends(found)


def check_ends(found: Change) -> None:
    """No edit made is the old text, all made is the new one, whatever the order."""
    assert found.statements(frozenset()) == tuple(found.old.values())
    whole = found.statements(frozenset(range(len(found.edits))))
    assert sorted(repr(_unordered(s)) for s in whole) == sorted(repr(_unordered(s)) for s in found.new.values())


def _sound(file: tree.File) -> bool:
    """Tell whether no name stands twice, and no list of machines, as in any text without faults."""
    kinds = [(s.kind if isinstance(s, tree.Entity) else type(s), s.name) for s in file.statements if hasattr(s, "name")]
    lists = [
        sum(isinstance(i, tree.UsesMachines) for i in s.items) for s in file.statements if isinstance(s, tree.Entity)
    ]
    return len(set(kinds)) == len(kinds) and all(n < 2 for n in lists)


@given(strategies.files, strategies.files, st.data())
def test_all_edits_lead_from_one_text_to_the_other(old: tree.File, new: tree.File, data: st.DataObject) -> None:
    assume(_sound(old) and _sound(new))
    if old.statements and data.draw(st.booleans()):
        # Two texts of chance have little in common: share some statements.
        kept = data.draw(st.lists(st.sampled_from(old.statements), max_size=3))
        whole = tree.File("x.melt", tuple(dict.fromkeys([*kept, *new.statements])))
        new = whole if _sound(whole) else new
    found = change({"x.melt": old}, {"x.melt": new})
    check_ends(found)
    back = change({"x.melt": new}, {"x.melt": old})
    assert len(back.edits) == len(found.edits)
    assert not change({"x.melt": new}, {"x.melt": new}).edits


def test_some_edits_make_a_text_between() -> None:
    text = WHOLE.replace("gap 6 mm", "gap 5 mm").replace("bench, closed", "closed").replace("17 mm3", "18 mm3")
    found = change(files(WHOLE), files(text))
    assert len(found.edits) == 2
    number = next(i for i, e in enumerate(found.edits) if e.name == "gap")
    only = change({"x": tree.File("x", found.statements(frozenset([number])))}, files(text))
    assert [e.kind for e in only.edits] == ["machine"]
