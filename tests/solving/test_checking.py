"""The independent check: many answers at once are judged as each alone, and what breaks is found."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from meltwright.meaning.checking import check_file
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Model, ProfileDecl
from meltwright.solving.checking import Question, check, check_all

HEAD = """
quantity u of machine : number in -100 .. 100 "u"
quantity w of machine : number in -100 .. 100 "w"
quantity kind of machine : one of plain, fancy "k"
setting x : number in 1 .. 9 step 1 "x"
setting y : number in 1 .. 9 step 1 "y"
material stuff {
}
machine a {
  u 1 .. 3
  w 2
  kind plain
}
machine b from a {
  w 1 .. 2
}
machine c from a {
  u 2
  kind fancy
}
profile p {
  material stuff
  machines a, b, c
  gap at least 2
}
"""
LAWS = """
law one {
  about "a"
  source textbook "t"
  let far = u * w
  let gap = y - x + 5
  require x <= far
}
law two {
  about "a"
  source textbook "t"
  when kind is fancy
  require sqrt(u) * x <= y
}
law three {
  about "a"
  source textbook "t"
  require 0 <= x + integral(t * w for t from 0 to u in 3 points) - y
}
"""


def _model(folder: Path, text: str) -> Model:
    path = folder / "case.melt"
    path.write_text(text, encoding="utf-8")
    model, found, _ = check_file(path)
    assert model is not None, found
    return model


def _all_points(model: Model) -> list[Question]:
    profile = model.profiles["p"]
    nothing: frozenset[str] = frozenset()
    return [
        (profile, machine, {"x": float(x), "y": float(y)}, only, dropped)
        for x in range(1, 10)
        for y in range(1, 10)
        for machine in ("a", "b", "c")
        for only in (False, True)
        for dropped in (nothing, frozenset({"gap at least 2"}))
    ]


def _holds(machine: str, x: float, y: float, only: bool, gap: bool) -> bool:
    """Decide the case by hand: every requirement is worst at an end of its range."""
    u = {"a": (1, 3, 2), "b": (1, 3, 2), "c": (2, 2, 2)}[machine]
    w = {"a": (2, 2, 2), "b": (1, 2, 1.5), "c": (2, 2, 2)}[machine]
    end = 2 if only else 0
    sound = x <= u[end] * w[end]
    if machine == "c":
        sound = sound and 2**0.5 * x <= y
    sound = sound and x + u[end] ** 2 / 2 * w[end] - y >= 0
    return sound and (not gap or y - x + 5 >= 2)


def test_many_are_judged_as_each_alone(tmp_path: Path) -> None:
    model = _model(tmp_path, HEAD + LAWS)
    asked = _all_points(model)
    together = check_all(model, asked)
    assert together == [check(model, *question) for question in asked]
    assert together[::-1] == check_all(model, asked[::-1])
    for (_, machine, settings, only, dropped), said in zip(asked, together, strict=True):
        assert (said == "") == _holds(machine, settings["x"], settings["y"], only, not dropped), (machine, settings)


def test_what_breaks_is_named(tmp_path: Path) -> None:
    model = _model(tmp_path, HEAD + LAWS)
    profile, nothing = model.profiles["p"], frozenset[str]()
    cases: list[tuple[str, Mapping[str, float], str]] = [
        ("a", {"x": 3.0, "y": 3.0}, "law one"),
        ("c", {"x": 3.0, "y": 3.0}, "law two"),
        ("a", {"x": 1.0, "y": 9.0}, "law three"),
        ("c", {"x": 1.0, "y": 2.0}, ""),
        ("a", {"x": 2.0, "y": 2.0}, ""),
    ]
    said = check_all(model, [(profile, m, s, False, nothing) for m, s, _ in cases])
    assert said == [f"{what} does not hold everywhere" if what else "" for _, _, what in cases]


def test_profiles_with_other_wants_are_told_apart(tmp_path: Path) -> None:
    model = _model(tmp_path, HEAD + LAWS)
    profile = model.profiles["p"]
    amount = profile.wants[0].amount
    assert amount is not None
    # The same words at the same place, with another number behind them, as a cure makes one.
    hard = replace(profile, wants=(replace(profile.wants[0], amount=replace(amount, stated=9.0, low=9.0, high=9.0)),))
    settings = {"x": 2.0, "y": 2.0}
    asked: list[Question] = [(p, "a", settings, False, frozenset()) for p in (profile, hard)]
    assert check_all(model, asked) == ["", "gap at least 2 does not hold everywhere"]


def test_a_value_that_is_no_number_is_broken(tmp_path: Path) -> None:
    law = 'law odd {\n about "a"\n source textbook "t"\n require log(u - w) <= x\n}\n'
    model = _model(tmp_path, HEAD.replace("  gap at least 2\n", "") + law)
    profile, settings = model.profiles["p"], {"x": 9.0, "y": 9.0}
    # On b the logarithm has no value where u is not above w; stated, u is 2 and w is 1.5.
    asked: list[Question] = [(profile, "b", settings, only, frozenset()) for only in (False, True)]
    assert check_all(model, asked) == ["law odd does not hold everywhere", ""]


@pytest.mark.parametrize("demo", ["stiff_bracket", "watch_strap"])
def test_demonstrations_are_judged_together_as_alone(demo: str) -> None:
    model, found, _ = check_file(library_folder() / "demos" / f"{demo}.melt")
    assert model is not None, found

    def middle(profile: ProfileDecl, share: float) -> dict[str, float]:
        at = {n: round(d.last * share) for n, d in model.settings.items()}
        values = {n: float(d.number(at[n])) * d.unit.factor + d.unit.offset for n, d in model.settings.items()}
        return values | {n: p.amount.stated for n, p in profile.pins.items()}

    asked: list[Question] = [
        (p, m.text, middle(p, share), only, frozenset())
        for p in model.profiles.values()
        for m in p.machines
        for share in (0.1, 0.3, 0.5, 0.9)
        for only in (False, True)
    ]
    assert check_all(model, asked) == [check(model, *question) for question in asked]
