"""Any edits together: the ends are what the texts give when compiled alone, and the shares sum up to the change."""

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meltwright.cli import main
from meltwright.comparing.facts import Facts, facts
from meltwright.comparing.writing import markdown, text
from meltwright.compiling import compile_file
from meltwright.telling.bundle import bundle

from . import project

POOL = [
    ("rods", "20 ± 2 MPa", "31 ± 1 MPa"),
    ("rods", "shade pale", "shade dark"),
    ("machines", "gap 6 mm", "gap 2.5 mm"),
    ("rods", "material rod {", "material soft {\n  firmness 4 MPa\n}\nmaterial rod {"),
    ("machines", "closed from bench {\n  guide closed", "closed {\n  gap 4 mm\n  guide open"),
    ("laws", "flow <= 18 mm3/s", "flow <= 7 mm3/s"),
    ("laws", "when guide is open\n", ""),
    ("laws", "layer.height * 1 mm", "layer.height * 1.1 mm"),
    ("laws", 'quantity shade of material : one of pale, dark "What nothing asks for."\n', "NEW"),
    ("laws", "brisk from 10 mm3/s", "brisk from 5 mm3/s"),
    ("laws", "step 5 K rather low", "step 10 K rather low"),
    ("laws", "merit throughput = flow", "merit calm = -speed.contour\nmerit throughput = flow"),
    ("laws", "law bowing {", "law slower {\n  about \"x\"\n  source assumed \"x\"\n  let drag = flow * 2\n"
             "  require drag <= 30 mm3/s\n}\nlaw bowing {"),
    ("job", "layer.height 0.2 mm", "layer.height 0.25 mm"),
    ("job", "speed.contour at least 2 mm/s", "speed.contour at least 29 mm/s"),
    ("job", "prefer throughput", "pace at least brisk if possible\n  prefer throughput"),
    ("job", "bench, closed", "closed, bench"),
    ("job", "material rod", 'pin heat.bed = 60 degC because "so"\n  material rod'),
]  # fmt: skip
COLOUR = 'quantity shade of material : one of pale, dark, grey "What nothing asks for."\n'


def ends(file: Path) -> dict[str, Facts]:
    """Compile a text by itself; gives the facts of each machine for which anything holds."""
    return {s.network.machine: facts(bundle(s)) for s in compile_file(file).solutions}


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sets(st.integers(0, len(POOL) - 1), min_size=1, max_size=6), st.booleans())
def test_any_edits(capsys: pytest.CaptureFixture[str], chosen: set[int], back: bool) -> None:
    with TemporaryDirectory() as folder:
        files = [project.write(Path(folder, side)) for side in ("old", "new")]
        for i in sorted(chosen):
            name, old, new = POOL[i]
            project.edit(files[1].parent, (name, old, COLOUR if new == "NEW" else new))
        if back:
            files.reverse()
        capsys.readouterr()
        assert main(["compare", *map(str, files), "--json"]) == 0
        data = json.loads(capsys.readouterr().out)
        check(data, ends(files[0]), ends(files[1]))
        for form in (text, markdown):
            assert form(data).endswith("\n")


def check(data: Any, old: dict[str, Facts], new: dict[str, Facts]) -> None:
    for machine in data["profiles"][0]["machines"]:
        before, after = old.get(machine["machine"]), new.get(machine["machine"])
        if before is None or after is None:
            assert (before is None) == (machine["old_holds"] in ("", "nothing holds"))
            continue
        told = {(c["kind"], c["name"]): c for c in machine["changes"]}
        for key in {*before, *after}:
            one, other = before.get(key), after.get(key)
            if key[0] == "margin" and not (one and other):
                continue
            differ = (one and one.what) != (other and other.what)
            assert differ == (key in told), key
            if differ:
                assert (told[key]["old"], told[key]["new"]) == (one.text if one else "", other.text if other else "")
        for c in told.values():
            shares = [s["percent"] for s in c["causes"]]
            assert shares, c
            if None not in shares:
                assert sum(shares) == pytest.approx(100, rel=1e-6), c
            if c["change"] is not None and None not in shares:
                assert sum(s["share"] for s in c["causes"]) == pytest.approx(c["change"], rel=1e-6), c
