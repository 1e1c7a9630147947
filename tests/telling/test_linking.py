"""How a name bears on a setting: what is told, and that nothing changes a setting to which nothing leads."""

import json
import random
import re
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meltwright.cli import main
from meltwright.compiling import prepare
from meltwright.meaning.asking import with_choices
from meltwright.meaning.loading import library_folder
from meltwright.meaning.model import Amount, GivenValue, Model, ProfileDecl
from meltwright.network.graph import Network
from meltwright.network.lowering import lower_all
from meltwright.solving.answering import Answer, solve_all
from meltwright.telling.linking import Link, reached, ways, web
from syrupy.assertion import SnapshotAssertion

DEMO = library_folder() / "demos" / "watch_strap.melt"

FIXTURE = """\
quantity softness of material : number in 0 .. 100 "How soft (invented)."
quantity colour of material : one of light, dark "Colour (invented)."
quantity gap of machine : length in 0 .. 40 mm "Length without support."
quantity grip of machine : number in 0 .. 100 "Grip (invented)."
quantity fan_limit of machine : number in 0 .. 100 "How fast the fan turns."
quantity unused of machine : number in 0 .. 100 "What no law uses."
setting speed : number in 0 .. 100 step 1 "Speed."
setting length : number in 0 .. 50 step 1 rather low "Length."
setting fan : number in 0 .. 100 step 1 "Fan."
setting bed : number in 0 .. 100 step 1 "Bed."
grade shine by gloss {
  bright from 10
  dull below
}
law pushing {
  about "Push grows with speed (invented)."
  source assumed "invented"
  let push = speed * (1 + softness / 100) "Push."
  let strain = push / grip "Strain."
}
law escape {
  about "It bows out of a gap (invented)."
  source assumed "invented"
  when gap > 0 mm
  let bow = push * gap / 1 mm
  require bow <= 400 else "it bows out"
}
law drawing {
  about "What is strained is drawn back (invented)."
  source assumed "invented"
  require length >= strain
  require length <= 40
}
law blowing {
  about "The fan has a limit (invented)."
  source assumed "invented"
  require fan <= fan_limit
}
law gloss {
  about "Light shines (invented)."
  source assumed "invented"
  when colour is light
  let gloss = fan - 1
}
law gloss_of_dark {
  about "Dark shines less (invented)."
  source assumed "invented"
  when colour is dark
  let gloss = fan / 2
}
merit throughput = speed "Speed."
material rub {
  softness 50
  colour light
}
machine open {
  gap 6 mm
  grip 2
  fan_limit 60
  unused 3
}
machine closed from open {
  gap 0 mm
}
profile job {
  material rub
  machines open, closed
  shine at least bright
  prefer throughput
  pin bed = 40 because "it lets go below"
}
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.melt").write_text(FIXTURE, encoding="utf-8")
    return tmp_path


ASKED = {
    "a number, on two machines": ("speed", "softness"),
    "what switches a law": ("speed", "gap"),
    "through another setting": ("length", "gap"),
    "a word": ("fan", "colour"),
    "a setting": ("length", "speed"),
    "a derived quantity": ("length", "push"),
    "a limit": ("fan", "fan_limit"),
    "nothing leads there": ("fan", "softness"),
    "nothing uses it": ("speed", "unused"),
    "a pinned setting": ("bed", "softness"),
    "from a pinned setting": ("speed", "bed"),
}


@pytest.mark.parametrize("asked", ASKED)
def test_what_is_told(asked: str, here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    setting, start = ASKED[asked]
    assert main(["why", "job.melt", setting, "--from", start]) == 0
    out, err = capsys.readouterr()
    assert not err
    assert snapshot == f"\nwhy job.melt {setting} --from {start}\n{'-' * 72}\n{out}"


def test_for_programs(here: Path, capsys: pytest.CaptureFixture[str], snapshot: SnapshotAssertion) -> None:
    assert main(["why", "job.melt", "length", "--from", "gap", "--machine", "open", "--json"]) == 0
    out = capsys.readouterr().out
    assert json.loads(out)["machines"][0]["leads"] is True
    assert snapshot == out


@pytest.mark.parametrize(
    ("setting", "start", "code", "said"),
    [
        ("speed", "gapp", "M214", "did you mean gap?"),
        ("sped", "gap", "M413", "did you mean speed?"),
        ("speed", "speed", "M431", "the setting itself"),
        ("speed", "shine", "M431", "name what it is read from: gloss"),
        ("length", "throughput", "M431", "name what it is made of: speed"),
    ],
)
def test_a_request_at_fault(
    setting: str, start: str, code: str, said: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["why", "job.melt", setting, "--from", start]) == 1
    out, err = capsys.readouterr()
    assert not out and f"error[{code} " in err and said in err


def test_from_goes_with_a_setting(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["why", "job.melt", "not", "speed = 3", "--from", "gap"]) == 2


# ---- the demonstration


def networks_of(path: Path) -> tuple[Model, list[Network]]:
    prepared = prepare(path)
    assert prepared.model is not None and not prepared.failed, prepared.faults
    return prepared.model, prepared.networks


def test_the_shortest_way_of_the_demonstration(capsys: pytest.CaptureFixture[str]) -> None:
    """The unguided length bows the filament out, which bounds the push, and with it the speed."""
    model, networks = networks_of(DEMO)
    first = ways(web(model, networks[0], "gap"), "speed.contour")[0]
    assert first.knot.law == "column_escape" and not first.through
    steps = [k.step for k in first.links]
    assert steps == sorted(steps, key=["derives", "requires", "with"].index)
    assert steps.count("requires") == 1 and {"derives", "with"} < set(steps)
    assert main(["why", str(DEMO), "speed.contour", "--from", "bed_lowest"]) == 0
    assert "changing bed_lowest does not change speed.contour through any law" in capsys.readouterr().out


def test_each_link_of_the_demonstration_uses_the_one_before() -> None:
    """Every formula upwards holds the name before it, every formula downwards the name after it."""
    model, networks = networks_of(DEMO)
    followed = 0
    for network in networks:
        free = {s.decl.name for s in network.settings if s.pin is None}
        for start in ("gap", "hardness", "nozzle_bore", "heater_power", "guide_bore", "heat.nozzle"):
            seen = web(model, network, start)
            for setting in sorted(free - {start}):
                for way in ways(seen, setting):
                    assert follows(way.links, start, setting), (start, setting, way)
                    followed += len(way.links)
    assert followed > 1000


def follows(links: tuple[Link, ...], start: str, setting: str) -> bool:
    """Tell whether a chain hangs together, read as text."""
    name, above, last = start, "", links[0]
    for k in (*links, Link("moves", setting, setting, "", links[-1].span)):
        if k.step in ("with", "moves"):
            sound = k.name in re.findall(r"[\w.]+", above)
        elif k.step == "switches":
            sound = k is links[0] and start in re.findall(r"[\w.]+", k.text)
        elif last.step == "switches":
            sound = k.law == last.law
        else:
            sound = not above and name in re.findall(r"[\w.]+", k.text.partition(" = ")[2] or k.text)
        if not sound:
            return False
        # What stands above says which names may follow downwards; a setting starts upwards again.
        above = "" if k.step in ("switches", "derives", "moves") else k.text.partition(" = ")[2] or k.text
        name, last = k.name, k
    return True


# ---- nothing changes a setting to which nothing leads


def changed(network: Network, name: str, factor: float) -> ProfileDecl:
    """Give the profile with one input a little larger or smaller, its range as wide as before."""
    old = next(i.given for i in network.inputs if i.given.name == name)
    amount = old.amount
    assert amount is not None
    by = abs(amount.stated) * (factor - 1) if amount.unit.offset == 0 else 300 * (factor - 1)
    moved = Amount(amount.stated + by, amount.low + by, amount.high + by, amount.unit, "changed")
    return with_choices(network.profile, [GivenValue(name, moved, "", old.evidence, old.entity, old.span)])


def chosen(network: Network, outcome: object) -> dict[str, int] | None:
    """Give the chosen lattice index of each setting; None where nothing holds for all input values."""
    if not isinstance(outcome, Answer) or not outcome.robust:
        return None
    return {s.decl.name: int(at) for s, at in zip(network.settings, outcome.point, strict=True)}


def compare(model: Model, network: Network, changes: list[tuple[str, ProfileDecl]]) -> tuple[int, int, list[str]]:
    """Solve with each change; give how many settings had to stay, how many others moved, and which moved wrongly."""
    lowered = lower_all(model, [(p, network.machine) for p in (network.profile, *(p for _, p in changes))], [])
    found = [n for n in lowered if n is not None]
    assert len(found) == len(changes) + 1
    answers = [chosen(n, outcome) for n, (_, outcome) in zip(found, solve_all(found), strict=True)]
    base = answers[0]
    assert base is not None
    kept, moved, wrong = 0, 0, []
    for (name, _), after in zip(changes, answers[1:], strict=True):
        if after is None:
            continue
        may = reached(web(model, network, name))
        kept += len(base.keys() - may)
        moved += sum(base[s] != after[s] for s in may)
        wrong += [f"{name} moved {s}" for s in base.keys() - may if base[s] != after[s]]
    return kept, moved, wrong


PINS = {
    "as it is": (),
    "bed free": ("heat.bed",),
}


@pytest.mark.parametrize("freed", PINS)
def test_a_changed_number_of_the_demonstration_leaves_the_rest(freed: str, tmp_path: Path) -> None:
    model, networks = networks_of(DEMO)
    network = networks[0]
    pins = {n: p for n, p in network.profile.pins.items() if n not in PINS[freed]}
    profile = replace(network.profile, pins=pins)
    (network,) = [n for n in lower_all(model, [(profile, network.machine)], []) if n is not None]
    names = sorted(i.given.name for i in network.inputs if i.given.amount is not None)
    beds = [n for n in names if n.startswith(("bed_l", "bed_h"))]
    picked = [*random.Random(freed).sample([n for n in names if n not in beds], 8), *beds]
    changes = [(n, changed(network, n, f)) for n in picked for f in (0.99, 1.01)]
    kept, moved, wrong = compare(model, network, changes)
    assert wrong == []
    assert kept >= len(changes) / 2 and moved > 0


LINES = """\
law l{at} {{
  about "a"
  source assumed "invented"
{when}  let d{at} = {sum}
  require d{at} <= {limit}
}}
"""


@st.composite
def texts(draw: st.DrawFn) -> str:
    """Write settings, inputs and laws that always leave the point of zeros: sums of settings below sums of inputs."""
    n = draw(st.integers(3, 5))
    rather = st.sampled_from(["", " rather low", " rather high"])
    parts = [f"setting s{i} : number in 0 .. 12 step 1{draw(rather)}\n" for i in range(n)]
    parts += [f"quantity i{i} of machine : number in 0 .. 100\n" for i in range(n)]
    some = st.lists(st.integers(0, n - 1), min_size=1, max_size=2, unique=True)
    for at in range(draw(st.integers(2, 5))):
        terms = [f"{draw(st.integers(1, 3))} * s{k}" for k in draw(some)]
        if at and draw(st.booleans()) and draw(st.booleans()):
            terms.append(f"e{at - 1}")
        when = f"  when i{draw(st.integers(0, n - 1))} > 9\n" if draw(st.integers(0, 3)) == 0 else ""
        limit = " + ".join(f"i{k}" for k in draw(some))
        parts.append(f'law m{at} {{\n  about "a"\n  source assumed "invented"\n  let e{at} = {" + ".join(terms)}\n}}\n')
        parts.append(LINES.format(at=at, when=when, sum=f"e{at}", limit=limit))
    merits = draw(st.integers(0, 2))
    parts += [f"merit q{m} = {' + '.join(f's{k}' for k in draw(some))}\n" for m in range(merits)]
    values = "".join(f"  i{i} {draw(st.integers(4, 20))}\n" for i in range(n))
    prefer = f"  prefer {', '.join(f'q{m}' for m in range(merits))}\n" if merits else ""
    pin = f'  pin s{draw(st.integers(0, n - 1))} = 1 because "so"\n' if draw(st.booleans()) else ""
    parts.append(f"material rub {{\n}}\nmachine mach {{\n{values}}}\n")
    parts.append(f"profile p {{\n  material rub\n  machines mach\n{prefer}{pin}}}\n")
    return "".join(parts)


@settings(max_examples=60)
@given(texts(), st.integers(0, 4), st.integers(1, 24))
def test_a_changed_number_leaves_what_nothing_leads_to(text: str, which: int, value: int) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "case.melt"
        path.write_text(text, encoding="utf-8")
        model, (network,) = networks_of(path)
    given_values = model.machines["mach"].values
    old = given_values[f"i{which % len(given_values)}"]
    assert old.amount is not None
    amount = Amount(float(value), float(value), float(value), old.amount.unit, str(value))
    profile = with_choices(network.profile, [replace(old, amount=amount)])
    _, _, wrong = compare(model, network, [(old.name, profile)])
    assert wrong == []
