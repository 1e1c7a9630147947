"""Where nothing holds, the lines that cannot hold together are named as a reviewer reads them."""

from collections.abc import Callable

import pytest
from meltwright.compiling import Compiled
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


@pytest.mark.parametrize("case", CASES)
def test_refusal(case: str, compiled: Callable[[str], Compiled], snapshot: SnapshotAssertion) -> None:
    text = PROFILE.format(lines=CASES[case])
    result = compiled(text)
    assert [d.code for d in result.diagnostics if d.is_error] == ["M503"]
    assert result.solutions == ()
    assert text + "\n" + write(result.diagnostics, result.sources) == snapshot


def test_an_overheated_pin_names_every_limit_it_breaks(compiled: Callable[[str], Compiled]) -> None:
    result = compiled(PROFILE.format(lines=CASES["a pin that overheats material and liner"]))
    said = " ".join(r.role for r in result.diagnostics[0].related)
    assert "too hot for this material" in said
    assert "fluoropolymer" in said
