"""Where nothing holds, the lines that cannot hold together are named, and what would do, as a reviewer reads them."""

import json
import re
from collections.abc import Callable
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator
from meltwright.compiling import Compiled
from meltwright.meaning.loading import library_folder
from meltwright.output.reports import Part
from meltwright.output.reports.plain import plain
from meltwright.text.diagnostic import write
from syrupy.assertion import SnapshotAssertion

PROFILE = """
use library "materials/urethanes"
use library "machines/tube_fed"

machine gapped from tube_fed {{
  gap  6 mm  measured "calliper (invented)"
}}

profile hard {{
  material      urethane_85a
  machines      gapped
  layer.height  0.20 mm
{lines}
  prefer        throughput
}}
"""

CASES = {
    "a want beyond what the gap lets through": "  stringing  at most hair\n  throughput at least 3 mm3/s",
    "a pin that overheats material and liner": '  pin heat.nozzle = 320 degC because "it flows better"',
    "two wants against each other": "  retraction.length at most 2 mm\n  retraction.length at least 5 mm",
    "a want that no machine meets": "  bonding at least fused\n  fan.share at least 100 %",
}
SCHEMA = json.loads(files("meltwright.output.reports").joinpath("schema.json").read_text("utf-8"))
REFUSED = sorted((library_folder() / "demos" / "refused").glob("*.melt"))
Run = Callable[[str], Compiled]


@pytest.mark.parametrize("case", CASES)
def test_refusal(case: str, compiled: Run, snapshot: SnapshotAssertion) -> None:
    text = PROFILE.format(lines=CASES[case])
    result = compiled(text)
    assert [d.code for d in result.diagnostics if d.is_error] == ["M503"]
    assert result.solutions == ()
    shown = [v.span for v in result.diagnostics[0].values]
    assert len(set(shown)) == len(shown)
    assert text + "\n" + write(result.diagnostics, result.sources) == snapshot


def test_an_overheated_pin_names_every_limit_it_breaks(compiled: Run) -> None:
    result = compiled(PROFILE.format(lines=CASES["a pin that overheats material and liner"]))
    said = " ".join(r.role for r in result.diagnostics[0].related)
    assert "too hot for this material" in said
    assert "fluoropolymer" in said


# ---- the demonstration of a refusal


def cures(text: str) -> list[tuple[str, str, str]]:
    """Read the cures of a refusal: the name of the line, the new value, the old one."""
    found = re.findall(
        r"([\w.]+(?: at (?:least|most))?) ([^:]*?)(?: or (?:less|more))? instead of (.*?) \(verified\)", text
    )
    return [(name, new, old) for name, new, old in found]


def applied(text: str, name: str, new: str, old: str) -> str:
    """Write the new value where the old one stands, as an author would."""
    words = r"\s+".join(re.escape(w) for w in [*name.split(), *old.split()])
    changed, count = re.subn(rf"(?m)^(\s*){words}", rf"\g<1>{name} {new}", text)
    assert count == 1, (name, old)
    return changed


@pytest.mark.parametrize("path", REFUSED, ids=lambda p: p.stem)
def test_a_refused_demonstration(path: object, compiled: Run, snapshot: SnapshotAssertion) -> None:
    text = path.read_text(encoding="utf-8")  # type: ignore[attr-defined]
    result = compiled(text)
    (fault,) = result.diagnostics
    assert fault.code == "M503"
    assert 2 <= len([r for r in fault.related if "comes from this" not in r.role]) <= 4
    assert write(result.diagnostics, result.sources) == snapshot
    found = cures(fault.help)
    assert len(found) == fault.help.count("(verified)") >= 2
    for cure in found:
        cured = compiled(applied(text, *cure))
        assert not cured.failed and len(cured.solutions) == 1
        assert [d.code for d in cured.diagnostics] == []


def test_the_demonstrations_of_refusals_stand_apart() -> None:
    """What is compiled as a demonstration elsewhere lies in the folder itself; a refusal is none of these."""
    assert REFUSED
    assert not {p.name for p in REFUSED} & {p.name for p in (library_folder() / "demos").glob("*.melt")}


def test_values_are_those_of_the_point_that_is_told(compiled: Run) -> None:
    """Both sides as the role of a line compares them stand beneath that line."""
    result = compiled(REFUSED[0].read_text(encoding="utf-8"))
    (fault,) = result.diagnostics
    compared = [
        (r, m)
        for r in fault.related
        if (m := re.search(r": (\S+ \S+) (?:is not )?[<>]= (\S+ \S+?)(?: holds|,)", r.role))
    ]
    assert len(compared) == 3
    for place, sides in compared:
        beneath = [v.text for v in fault.values if place.span.start <= v.span.start <= v.span.end <= place.span.end]
        assert sides[1] in beneath
        assert (
            sides[2] in beneath or sides[2] in result.sources[place.span.file].text[place.span.start : place.span.end]
        )


def test_programs_get_the_values_of_a_refusal(compiled: Run) -> None:
    result = compiled(shop("10 mm", "10 mm", "  x at least 20"))
    (file,) = json.loads(plain([Part("case.melt", (), result.diagnostics, result.sources)]))["files"]
    (fault,) = file["diagnostics"]
    Draft202012Validator(SCHEMA["$defs"]["diagnostic"] | {"$defs": SCHEMA["$defs"]}).validate(fault)
    lines = result.sources["case.melt"].text.split("\n")
    told = {}
    for value in fault["values"]:
        at = value["place"]
        told[lines[at["line"] - 1][at["column"] - 1 : at["end_column"] - 1]] = value["text"]
    assert told == {"x": "6", "free_length": "10 mm", "x * free_length": "60 mm"}


# ---- several machines

SHOP = """
quantity free_length of machine : length in 0 .. 40 mm "invented"
quantity firmness of material : number in 0 .. 100 "invented"
setting x : number in 0 .. 100 step 1 "invented"
law short {{
  about   "invented"
  source  textbook "invented"
  require x * free_length <= 60 mm
    else   "our shop's own words: the free piece folds"
    remedy lower free_length "bring the guide nearer"
}}
material stuff {{
  firmness {firmness}
}}
machine one {{
  free_length {one}
}}
machine two {{
  free_length {two}
}}
machine three {{
  free_length 1 mm
}}
profile p {{
  material stuff
  machines one, two, three
{lines}
}}
"""


def shop(one: str, two: str, lines: str, firmness: str = "50", more: str = "") -> str:
    return SHOP.format(one=one, two=two, lines=lines, firmness=firmness) + more


def test_the_same_conflict_on_machines_is_told_once(compiled: Run) -> None:
    result = compiled(shop("10 mm", "20 mm", "  x at least 20"))
    (fault,) = result.diagnostics
    assert fault.message == "nothing holds for p on one and two"
    assert [r.role for r in fault.related] == [
        "our shop's own words: the free piece folds: 60 mm <= 60 mm holds; shown below for one",
        "the profile asks for x at least 20: "
        "6 is not >= 20, missed by 70 % on one; 3 is not >= 20, missed by 85 % on two; shown below for one",
    ]
    assert fault.help.split("\n") == [
        "these 2 lines cannot hold together",
        "bring the guide nearer: free_length 3 mm or less instead of 10 mm on one (verified)",
        "ask for less: x at least 3 instead of 20 (verified)",
        "bring the guide nearer: free_length 3 mm or less instead of 20 mm on two (verified)",
    ]


def test_machines_with_the_same_value_share_a_cure(compiled: Run) -> None:
    (fault,) = compiled(shop("10 mm", "10 mm", "  x at least 20")).diagnostics
    assert "free_length 3 mm or less instead of 10 mm on one and two (verified)" in fault.help
    assert all(r.role.count("; ") == r.role.count("; shown below for one") for r in fault.related)


def test_a_cure_that_harms_a_machine_says_so(compiled: Run) -> None:
    more = 'law long {\n  about "a"\n  source textbook "t"\n  require x * free_length >= 15 mm\n}\n'
    text = shop("5 mm", "3 mm", '  pin x = 15 because "so"', more=more)
    (fault,) = compiled(text).diagnostics
    assert fault.message == "nothing holds for p on one"
    assert "pin x = 12 instead of 15, or leave it free (verified; but then not for three)" in fault.help


def test_different_conflicts_are_told_apart(compiled: Run) -> None:
    text = shop("10 mm", "0 mm", "  x at least 20", more=LONG)
    found = compiled(text).diagnostics
    assert [d.message for d in found] == ["nothing holds for p on one", "nothing holds for p on two"]


LONG = 'law long {\n  about "a"\n  source textbook "t"\n  require free_length >= 1 mm\n    else "no room"\n}\n'


def test_where_nothing_is_found_it_says_so(compiled: Run) -> None:
    more = 'law other {\n  about "a"\n  source textbook "t"\n  require x >= 200\n}\n'
    (fault,) = compiled(shop("1 mm", "1 mm", "", more=more)).diagnostics
    assert fault.message == "nothing holds for p on one, two and three"
    assert fault.help.split("\n") == [
        "this line cannot hold",
        "no single change and no pair of changes was found that would do",
    ]


def test_a_fleet_is_told_in_one_report(compiled: Run) -> None:
    names = [f"m{k}" for k in range(20)]
    more = "".join(f"machine {n} from one {{\n}}\n" for n in names)
    text = shop("10 mm", "20 mm", "  x at least 20", more=more)
    (fault,) = compiled(text.replace("one, two, three", ", ".join(names))).diagnostics
    assert fault.message == "nothing holds for p on m0, m1, m2, m3, m4, m5, m6 and 13 others"
    assert "ask for less: x at least 6 instead of 20 (verified)" in fault.help
    assert len(fault.help.split("\n")) <= 8


# ---- ranges


def test_what_must_be_measured_and_how_well(compiled: Run) -> None:
    result = compiled(shop("10 ± 4 mm", "1 mm", '  pin x = 5 because "so"'))
    (fault,) = result.diagnostics
    assert (fault.code, len(result.solutions)) == ("M504", 3)
    assert fault.help == "know free_length better: free_length 10 ± 2 mm instead of 10 ± 4 mm (verified)"


def test_a_range_that_takes_part_in_a_conflict_is_named(compiled: Run, snapshot: SnapshotAssertion) -> None:
    """Two conflicts: a want against a pin, and another want against what the firmness may be."""
    more = """
setting y : number in 0 .. 100 step 1 "invented"
law firm {
  about   "invented"
  source  textbook "invented"
  require y <= firmness
    else "softer than that"
}
"""
    text = shop("1 mm", "1 mm", '  x at least 20\n  pin x = 10 because "so"\n  y at least 48', "50 ± 5", more)
    result = compiled(text)
    (fault,) = result.diagnostics
    assert "firmness is known only as 50 ± 5: 45 is the hardest" in " ".join(r.role for r in fault.related)
    assert write(result.diagnostics, result.sources) == snapshot
