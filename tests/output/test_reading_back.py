"""INI and JSON as other programs rely on them: read with the standard readers, complete, and a graph without ends.

The readers here look at nothing of Meltwright: configparser and json of the standard library, and jsonschema.
"""

import configparser
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from meltwright.cli import main
from meltwright.meaning.loading import library_folder
from meltwright.output import schema
from meltwright.output.targets import builtin_folder

from tests.test_cli import GOOD

DEMO = library_folder() / "demos" / "watch_strap.melt"
SCHEMA = json.loads((builtin_folder() / "json" / "schema.json").read_text("utf-8"))

Data = dict[str, Any]

# The settings of this project share no name with those of the library, and one has no group.
SHOP = (
    GOOD.replace("speed.contour", "pace").replace("layer.height", "ply.height")
    + """\
law melting {
  about "Melting takes time."
  source textbook "energy balance"
  let load = flow * 2 N*s/mm3 / (gap + 2 * diameter)
  require load <= 5 N/mm*s
}
"""
).replace("5 N/mm*s", "5 N*s/mm/s")


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Data]]:
    """Compile the demonstration and a small project of its own; gives the JSON data by the path."""
    folder = tmp_path_factory.mktemp("read")
    (folder / "shop.melt").write_text(SHOP, encoding="utf-8")
    assert main(["compile", str(DEMO), str(folder / "shop.melt"), "--out", str(folder / "made")]) == 0
    found = {}
    for path in sorted((folder / "made").rglob("*.json")):
        found[path.relative_to(folder / "made").as_posix()] = json.loads(path.read_text("utf-8"))
        found[path.relative_to(folder / "made").as_posix()]["ini"] = path.with_suffix(".ini").read_text("utf-8")
    yield found


def settings(data: Data) -> dict[str, Data]:
    """List the settings by their full names, as the page on targets tells it."""
    found = {}
    for group, members in data["settings"].items():
        for name, setting in members.items():
            found[group if name == group else f"{group}.{name}"] = setting
    return found


def names(data: Data) -> dict[str, str]:
    """Tell of every name in the graph what it is."""
    found = dict.fromkeys(data["derived"], "derived") | dict.fromkeys(settings(data), "setting")
    inputs = [i["name"] for i in data["inputs"]]
    assert len(inputs) == len(set(inputs)) and not set(inputs) & set(found)
    return found | dict.fromkeys(inputs, "input")


def test_there_is_something_to_read(bundles: dict[str, Data]) -> None:
    assert "job/tube.json" in bundles and len(bundles) >= 4
    assert all(data["format"] == SCHEMA["properties"]["format"]["const"] for data in bundles.values())
    assert SCHEMA["$id"] == f"urn:meltwright:bundle:{SCHEMA['properties']['format']['const']}"


def test_every_name_in_a_formula_leads_somewhere(bundles: dict[str, Data]) -> None:
    for data in bundles.values():
        known = names(data)
        for d in [*data["derived"].values(), *data["requirements"]]:
            assert set(d["uses"]) <= set(known)
            assert len(d["uses"]) == len(set(d["uses"]))
            words = d.get("formula") or d["text"]
            assert all(name in words for name in d["uses"])


def test_every_derived_value_comes_from_inputs_and_settings(bundles: dict[str, Data]) -> None:
    for data in bundles.values():
        known = names(data)
        done: set[str] = set()

        def ends(
            name: str,
            way: tuple[str, ...] = (),
            data: Data = data,
            known: dict[str, str] = known,
            done: set[str] = done,
        ) -> None:
            assert name not in way, "a value that is derived from itself"
            if known[name] == "derived" and name not in done:
                assert data["derived"][name]["law"] and data["derived"][name]["source"]
                for used in data["derived"][name]["uses"]:
                    ends(used, (*way, name))
                done.add(name)

        for name in known:
            ends(name)
        assert done == set(data["derived"])


def test_every_setting_leads_to_laws_and_evidence(bundles: dict[str, Data]) -> None:
    """Walk as the page on targets says: setting, requirements, what they use, down to inputs."""
    for data in bundles.values():
        requirements = {r["id"]: r for r in data["requirements"]}
        inputs = {i["name"]: i for i in data["inputs"]}
        laws = {law["name"] for law in data["laws"]}
        assert len(requirements) == len(data["requirements"])
        for name, setting in settings(data).items():
            reached: set[str] = set()
            for identity in setting["requirements"]:
                todo = list(requirements[identity]["uses"])
                assert requirements[identity]["law"] in laws or requirements[identity]["origin"] == "want"
                while todo:
                    at = todo.pop()
                    if at not in reached:
                        reached.add(at)
                        todo += data["derived"].get(at, {"uses": []})["uses"]
            if setting["requirements"]:
                assert name in reached
            for end in (setting["limited_below"], setting["limited_above"]):
                assert end in ("", "range", "preference") or end in setting["requirements"]
            for used in reached & set(inputs):
                assert inputs[used]["evidence"] in ("measured", "published", "typical", "assumed")


def test_a_small_graph_is_as_it_is_written(bundles: dict[str, Data]) -> None:
    data = bundles["job/tube.json"]
    assert settings(data).keys() == {"ply.height", "pace"}
    assert data["derived"]["flow"]["uses"] == ["pace", "ply.height"]
    assert data["derived"]["load"]["uses"] == ["flow", "gap", "diameter"]
    assert data["derived"]["load"]["law"] == "melting"
    assert {r["law"]: r["uses"] for r in data["requirements"]} == {"flowing": ["flow"], "melting": ["load"]}


def test_sources_are_those_files(bundles: dict[str, Data]) -> None:
    library = library_folder()
    seen = 0
    for data in bundles.values():
        for source in data["sources"]:
            name = source["file"]
            if name == "shop.melt" and data["profile"] == "job":
                digest = hashlib.sha256(SHOP.encode()).hexdigest()
            else:
                inside = name.startswith("library/")
                path = library / name.removeprefix("library/") if inside else DEMO.parent / name
                digest = hashlib.sha256(path.resolve().read_bytes()).hexdigest()
            assert source["sha256"] == digest, name
            seen += 1
    assert seen > len(bundles)


def test_ini_is_read_by_any_way_of_reading_it(bundles: dict[str, Data]) -> None:
    """Also with interpolation, strictly, and with the first of the standard library's readers that comes to hand."""
    for data in bundles.values():
        for reader in (configparser.ConfigParser(), configparser.RawConfigParser(strict=True)):
            reader.read_string(data["ini"])
            made_for = dict(reader["made_for"])
            expected = {key: data[key] for key in ("profile", "material", "machine", "holds")}
            assert made_for == {"format": "1", **expected}
            for group, members in data["settings"].items():
                assert {k: float(v) for k, v in reader[group].items()} == {k: s["value"] for k, s in members.items()}
                assert dict(reader[group]) == {k: s["text"] for k, s in members.items()}
            assert set(reader.sections()) == {"made_for", *data["settings"]}


def test_json_written_again_says_the_same(bundles: dict[str, Data]) -> None:
    validator = Draft202012Validator(SCHEMA)
    for path, data in bundles.items():
        plain = {key: value for key, value in data.items() if key != "ini"}
        assert json.loads(json.dumps(plain, sort_keys=True)) == plain
        if path != "job/tube.json":
            assert [e.message for e in validator.iter_errors(plain)] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.update(format=1),
        lambda data: data.update(more=1),
        lambda data: data.pop("sources"),
        lambda data: data["sources"][0].update(sha256="abc"),
        lambda data: next(iter(data["derived"].values())).pop("uses"),
        lambda data: next(iter(data["derived"].values())).update(uses=["a", "a"]),
        lambda data: data["requirements"][0].update(uses="flow"),
        lambda data: data["inputs"][0].update(evidence="heard"),
    ],
)
def test_the_schema_refuses_what_is_spoilt(bundles: dict[str, Data], spoil: Any) -> None:
    data = json.loads(json.dumps(next(d for p, d in bundles.items() if p != "job/tube.json")))
    del data["ini"]
    validator = Draft202012Validator(SCHEMA)
    assert validator.is_valid(data)
    spoil(data)
    assert not validator.is_valid(data)


def test_a_project_without_the_library_has_a_schema_of_its_own(
    bundles: dict[str, Data], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "shop.melt").write_text(SHOP, encoding="utf-8")
    assert schema.main([str(tmp_path / "shop.melt")]) == 0
    own = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(own)
    data = {key: value for key, value in bundles["job/tube.json"].items() if key != "ini"}
    assert [e.message for e in Draft202012Validator(own).iter_errors(data)] == []
    data["settings"]["pace"]["pace"]["value"] = 1000
    assert not Draft202012Validator(own).is_valid(data)
    (tmp_path / "shop.melt").write_text("machine", encoding="utf-8")
    assert schema.main([str(tmp_path / "shop.melt")]) == 1
    said = capsys.readouterr()
    assert said.out == "" and "error[" in said.err
    assert schema.main(["a", "b"]) == 2
