"""Budgets are read off the text: whatever is compared with a sum is spent on its terms."""

from collections.abc import Callable
from typing import Any

import pytest
from meltwright.telling.budgets import budgets

HEAD = """\
quantity slack of machine : length in 0 .. 40 mm "What is loose."
quantity hold of machine : length in 0 .. 40 mm "What holds."
quantity room of machine : length in 0 .. 80 mm "How far there is room."
setting pull.length : length in 0 .. 50 mm step 0.1 mm rather low "Pulled back."
setting pull.pace : speed in 1 .. 10 mm/s step 1 mm/s
law pulling {
  about "Pulling takes up what is loose."
  source textbook "plane geometry"
"""
TAIL = """\
}
merit pace = pull.pace
material rub { }
machine tube {
  slack 3 ± 1 mm measured "rule (invented)"
  hold  2 mm measured "rule (invented)"
  room  9 mm measured "rule (invented)"
}
profile job {
  material rub
  machines tube
  prefer pace
}
"""


@pytest.fixture
def told(compiled: Callable[[str], Any]) -> Callable[[str], list[dict[str, Any]]]:
    """Give the budgets of the one machine for the lines of a law."""

    def run(law: str) -> list[dict[str, Any]]:
        found = compiled(HEAD + law + TAIL)
        assert not found.failed, found.diagnostics
        return budgets(found.solutions)[0]

    return run


def parts(budget: dict[str, Any]) -> dict[str, float]:
    return {p["name"]: p["value"] for p in budget["parts"]}


@pytest.mark.parametrize(
    "law",
    [
        '  let need = slack + hold "All of it."\n  require pull.length >= need\n',
        '  let need = slack + hold "All of it."\n  require need <= pull.length\n',
        '  let need = slack + hold "All of it."\n  require pull.length >= min(room, need)\n',
        '  let need = slack + hold "All of it."\n  let named = max(need, 0 mm)\n  require pull.length >= named\n',
        "  require pull.length >= slack + hold\n",
    ],
)
def test_the_terms_of_a_sum_are_the_parts(told: Callable[[str], list[dict[str, Any]]], law: str) -> None:
    (budget,) = told(law)
    # At the input values that bring the requirement closest: the slack is 3 ± 1 mm.
    assert parts(budget) == {"slack": 4.0, "hold": 2.0}
    assert (budget["setting"], budget["sum"]["value"], budget["value"]) == ("pull.length", 6.0, 6.0)
    assert budget["sum"]["name"] == ("need" if "need" in law else "")
    assert budget["parts"][0]["about"] == "What is loose."
    assert (budget["most"]["name"], budget["most"]["value"]) == ("the end of its own range", 50.0)


def test_a_term_without_a_name_is_told_by_its_formula(told: Callable[[str], list[dict[str, Any]]]) -> None:
    (budget,) = told("  require pull.length >= slack + 2 * hold + hold\n")
    assert parts(budget) == {"slack": 4.0, "hold": 2.0, "2 * hold": 4.0}


def test_the_least_of_the_upper_limits_is_what_there_is(told: Callable[[str], list[dict[str, Any]]]) -> None:
    law = '  let need = slack + hold\n  let reach = room - 1 mm "Up to there."\n'
    law += "  require pull.length >= need\n  require pull.length <= reach\n  require room >= pull.length\n"
    (budget,) = told(law)
    most = budget["most"]
    assert (most["name"], most["value"], most["about"]) == ("reach", 8.0, "Up to there.")
    assert most["place"].endswith(":12")


@pytest.mark.parametrize(
    "law",
    [
        "  require pull.length >= slack - hold\n",
        "  require pull.length >= 2 * slack\n",
        "  require pull.length + hold >= slack + hold\n",
        "  require pull.length <= slack + hold\n",
        "  require pull.length >= slack + 1 mm\n",
    ],
)
def test_what_is_no_sum_of_names_is_no_budget(told: Callable[[str], list[dict[str, Any]]], law: str) -> None:
    assert told(law) == []
