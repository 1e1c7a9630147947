"""Targets of one's own: how they are used, and every way in which a manifest or a map can be wrong."""

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from meltwright.cli import main
from meltwright.output.targets import builtin_folder
from meltwright.output.toml_places import place
from meltwright.text.source import Source

from tests.test_cli import GOOD

MANIFEST = """\
format = 1
about = "A card a machine (invented)."
names = "names.toml"
[[file]]
each = "machine"
path = "{profile}/{machine}.card"
template = "card.j2"
"""
NAMES = """\
format = 1
left_out = []
[names]
"layer.height" = { name = "ply", unit = "um" }
"speed.contour" = "pace"
[fixed]
yarn = "warm"
"""
CARD = "{% for line in lines %}{{ line.name }}={{ line.text }}\n{% endfor %}"

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with a small project and a target for it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shop.melt").write_text(GOOD, encoding="utf-8")
    write(tmp_path / "mine", MANIFEST, NAMES, CARD)
    return tmp_path


def write(folder: Path, manifest: str = MANIFEST, names: str = NAMES, card: str = CARD) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (("target.toml", manifest), ("names.toml", names), ("card.j2", card)):
        (folder / name).write_text(text, encoding="utf-8")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command; gives the exit code and what it said."""

    def runs(*arguments: str) -> tuple[int, str, str]:
        code = main(list(arguments))
        said = capsys.readouterr()
        return code, said.out, said.err

    return runs


@pytest.fixture
def compiles(run: Run) -> Run:
    return lambda *options: run("compile", "shop.melt", "--out", "made", "--targets", "mine", *options)


@pytest.fixture
def checks(run: Run) -> Run:
    return lambda *options: run("target", "check", "mine", "--with", "shop.melt", *options)


# ---- besides the neutral ones, or alone


def test_it_is_written_besides_the_neutral_ones(here: Path, compiles: Run) -> None:
    code, out, _ = compiles()
    assert code == 0
    assert {"made/job/tube.card", "made/job/tube.json", "made/job/tube.ini"} <= set(out.split())
    assert (here / "made" / "job" / "tube.card").read_text("utf-8") == "ply=200\npace=50\n"


def test_it_is_written_alone(here: Path, compiles: Run) -> None:
    assert compiles("--only", "mine") == (0, "made/job/tube.card\n", "")
    assert compiles("--only", "mine", "--check") == (0, "made: fresh (1 file)\n", "")


def test_a_folder_of_targets(here: Path, run: Run) -> None:
    write(here / "all" / "one")
    write(here / "all" / "two", MANIFEST.replace(".card", ".two"))
    code, out, _ = run("compile", "shop.melt", "--out", "made", "--targets", "all", "--only", "one", "--only", "two")
    assert (code, out) == (0, "made/job/tube.card\nmade/job/tube.two\n")


def test_resuming_begins_anew_with_another_map(here: Path, compiles: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from meltwright.output.resuming import digest
    from meltwright.output.targets import read_targets

    first = digest({}, 0, read_targets(here / "mine", []))
    write(here / "mine", names=NAMES.replace("pace", "gait"))
    assert digest({}, 0, read_targets(here / "mine", [])) != first
    assert digest({}, 0, []) != first
    assert compiles("--resume")[0] == 0
    assert "gait=50" in (here / "made" / "job" / "tube.card").read_text("utf-8")


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (("--targets", "none"), "M610"),
        (("--targets", "shop.melt"), "M610"),
        (("--targets", "mine"), "M611"),
        (("--only", "minf"), "M612"),
    ],
)
def test_targets_that_are_not_there(here: Path, compiles: Run, options: tuple[str, ...], code: str) -> None:
    ended, out, err = compiles(*options)
    assert (ended, out) == (1, "") and f"error[{code}" in err and "help: " in err
    assert err.endswith("nothing was written\n")
    assert not (here / "made").exists()


def test_two_targets_that_write_one_file(here: Path, compiles: Run, run: Run) -> None:
    write(here / "mine", MANIFEST.replace("{machine}.card", "{machine}.INI"))
    for code, _, err in (compiles(), run("target", "check", "mine", "--with", "shop.melt")):
        assert code == 1 and "error[M613 same-file]" in err and "--> mine/target.toml:6:1" in err
    assert compiles("--only", "mine")[0] == 0


def test_a_machine_that_is_called_like_the_file_of_the_profile(here: Path, run: Run) -> None:
    text = GOOD.replace("machine tube {", "machine overview {").replace("machines tube", "machines overview")
    (here / "shop.melt").write_text(text, encoding="utf-8")
    code, _, err = run("compile", "shop.melt", "--out", "made")
    assert code == 1 and "error[M613 same-file]" in err and "job/overview.md" in err
    assert not (here / "made").exists()


# ---- manifests


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ("format = 1", "format = 2", 1, "format is 2, not 1"),
        ("format = 1", "format = = 1", 1, "it is no TOML"),
        ('about = "A card a machine (invented)."\n', "", 1, "it lacks about"),
        ('"A card a machine (invented)."', "3", 2, "about is not a text"),
        ("names =", "nams =", 3, "it has nams, which is none of format, about, schema, names, file"),
        ('"names.toml"', '"../names.toml"', 3, "which is not of the form that it takes"),
        ('"names.toml"', '"other.toml"', 3, "there is no 'other.toml' in its folder"),
        ('"machine"', '"moon"', 5, "file.1.each is 'moon', not machine or profile"),
        ('path = "{profile}/{machine}.card"\n', "", 4, "file.1 lacks path"),
        ("{profile}/{machine}.card", "../{profile}/{machine}.card", 6, "leaves the output folder"),
        ("{profile}/{machine}.card", "/{profile}/{machine}", 6, "leaves the output folder"),
        ("{profile}/{machine}.card", "c:/{profile}/{machine}", 6, "leaves the output folder"),
        ("{profile}/{machine}.card", r"{profile}\\{machine}", 6, "leaves the output folder"),
        ("{profile}/{machine}.card", "{profile}//{machine}", 6, "none that a file can have everywhere"),
        ("{profile}/{machine}.card", r"{profile}/\u0007{machine}", 6, "none that a file can have everywhere"),
        ("{profile}/{machine}.card", "{profile}/.{machine}", 6, "names a hidden file"),
        ("{profile}/{machine}.card", "{profile}/{material}/{machine}", 6, "nothing else in braces"),
        ("{profile}/{machine}.card", "{profile}/same.card", 6, "the same for every machine"),
        ("{profile}/{machine}.card", "{machine}.card", 6, "the same for every profile"),
        ('"card.j2"', '"missing.j2"', 7, "there is no template 'missing.j2' in its folder"),
        ('"card.j2"', '"../mine/card.j2"', 7, "not of the form that it takes"),
        ('"card.j2"', '"card.j2"\ncolour = "red"', 8, "file.1 has colour, which is none of each, path, template"),
    ],
)
def test_manifests_at_fault(here: Path, compiles: Run, checks: Run, old: str, new: str, line: int, said: str) -> None:
    text = MANIFEST.replace(old, new)
    assert text != MANIFEST
    write(here / "mine", text)
    for code, out, err in (checks(), compiles()):
        assert (code, out) == (1, "")
        assert "error[M601 bad-target]" in err and said in err and "help: " in err
        assert f"--> mine/target.toml:{line}:" in err or (line == 1 and "--> mine/target.toml" in err), err
    assert not (here / "made").exists()


def test_texts_of_a_target_stay_in_its_folder(here: Path, checks: Run) -> None:
    (here / "secret.j2").write_text("secret", encoding="utf-8")
    (here / "mine" / "card.j2").unlink()
    (here / "mine" / "card.j2").symlink_to(here / "secret.j2")
    code, _, err = checks()
    assert code == 1 and "card.j2 is no file of its folder" in err


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("card.j2", b"\xff\xfe", "is not UTF-8 text"),
        ("names.toml", b"\xff", "is not UTF-8 text"),
        ("big.j2", b"x" * 1_000_001, "has more than 1,000,000 bytes"),
    ],
)
def test_texts_that_cannot_be_read(here: Path, checks: Run, name: str, data: bytes, said: str) -> None:
    (here / "mine" / name).write_bytes(data)
    code, _, err = checks()
    assert code == 1 and "error[M601" in err and f"{name} {said}" in err and f"--> mine/{name}" in err


# ---- name maps


@pytest.mark.parametrize(
    ("old", "new", "line", "code", "said"),
    [
        ("format = 1\n", "", 1, "M614", "it lacks format"),
        ("format = 1", "format = 9", 1, "M614", "format is 9, not 1"),
        ("[names]", "[names", 3, "M614", "it is no TOML"),
        ("[names]", "[name]", 3, "M614", "it lacks names"),
        ('"pace"', '""', 5, "M614", "names.speed.contour is no name"),
        ('"pace"', "7", 5, "M614", "names.speed.contour is no name"),
        ('name = "ply", ', "", 4, "M614", "names.layer.height lacks name"),
        ('unit = "um"', "unit = 3", 4, "M614", "names.layer.height.unit is not a text"),
        ('unit = "um"', "factor = 0", 4, "M614", "names.layer.height.factor is 0, which cannot be"),
        ('unit = "um"', "offset = inf", 4, "M614", "has a number without end"),
        ('unit = "um"', "decimals = -1", 4, "M614", "is -1, beyond 0"),
        ('unit = "um"', "decimals = 1.5", 4, "M614", "is not a whole number"),
        ('unit = "um"', 'units = "um"', 4, "M614", "has units, which is none of name, unit, factor, offset, decimals"),
        ('"warm"', "[1]", 7, "M614", "fixed.yarn is not a text or a number or true or false"),
        ('"warm"', "nan", 6, "M614", "fixed has a number without end"),
        ('"layer.height"', '"layer.heigth"', 4, "M615", "layer.heigth, which is no setting"),
        ("left_out = []", 'left_out = ["speed.contuor"]', 2, "M615", "speed.contuor, which is no setting"),
        ('"um"', '"furlong"', 4, "M616", "layer.height cannot be written in furlong, which is no unit"),
        ('"um"', '"mm/s"', 4, "M616", "since it is a length, and that is a speed"),
        ('"um"', '""', 4, "M616", "since it is a length, and that is a plain number"),
        ('"pace"', '"ply"', 5, "M617", "ply is written for layer.height and for speed.contour"),
        ("yarn =", "pace =", 5, "M617", "pace is written for a fixed line and for speed.contour"),
        ("left_out = []", 'left_out = ["speed.contour"]', 5, "M618", "speed.contour is named, and left out too"),
        ('unit = "um"', "decimals = 1", 4, "M620", "different values of layer.height are written alike"),
    ],
)
def test_maps_at_fault(
    here: Path, compiles: Run, checks: Run, old: str, new: str, line: int, code: str, said: str
) -> None:
    names = NAMES.replace(old, new, 1)
    assert names != NAMES
    write(here / "mine", names=names)
    for ended, out, err in (checks(), compiles()):
        assert (ended, out) == (1, "")
        assert f"error[{code} " in err and said in err and "help: " in err
        assert f"--> mine/names.toml:{line}:1\n" in err or (line == 1 and "--> mine/names.toml" in err), err
    assert not (here / "made").exists()


def test_a_setting_that_the_map_leaves_out_is_told(here: Path, compiles: Run, checks: Run) -> None:
    write(here / "mine", names=NAMES.replace('"speed.contour" = "pace"\n', ""))
    for code, _, err in (checks(), compiles("--only", "mine")):
        assert code == 0
        assert "warning[M619 setting-not-named]: target mine does not write speed.contour" in err
        # The help can be pasted.
        assert '"speed.contour" = { name = "...", unit = "mm/s" }\n' in err
    assert (here / "made" / "job" / "tube.card").read_text("utf-8") == "ply=200\n"


def test_a_setting_that_is_left_out_is_told_once(here: Path, run: Run) -> None:
    write(here / "mine", names=NAMES.replace('"speed.contour" = "pace"\n', ""))
    (here / "more.melt").write_text(GOOD.replace("profile job", "profile other"), encoding="utf-8")
    code, _, err = run("compile", "shop.melt", "more.melt", "--out", "made", "--targets", "mine")
    assert code == 0 and err.count("M619") == 1


def test_a_setting_that_is_left_out_on_purpose_is_not(here: Path, compiles: Run, checks: Run) -> None:
    names = NAMES.replace('"speed.contour" = "pace"\n', "").replace("[]", '["speed.contour"]')
    write(here / "mine", names=names)
    assert checks() == (0, "mine: sound (1 settings named, 1 left out; writes job/tube.card)\n", "")
    assert compiles("--only", "mine") == (0, "made/job/tube.card\n", "")


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ('{ name = "n" }', "0.20"),
        ('{ name = "n", unit = "mm" }', "0.20"),
        ('{ name = "n", unit = "m" }', "0.00020"),
        ('{ name = "n", unit = "um" }', "200"),
        ('{ name = "n", decimals = 4 }', "0.2000"),
        ('{ name = "n", factor = 0.1, offset = -1 }', "-0.980"),
        ('{ name = "n", factor = -10 }', "-2.0"),
        ('{ name = "n", unit = "um", factor = 0.03937007874 }', "7.874015748"),
        ('{ name = "n", offset = 273.15 }', "273.35"),
        ('{ name = "n", factor = 5, decimals = 1 }', "1.0"),
    ],
)
def test_units_factors_and_decimals(here: Path, compiles: Run, entry: str, text: str) -> None:
    names = NAMES.replace('{ name = "ply", unit = "um" }', entry)
    write(
        here / "mine", names=names, card="{{ lines[0].text }} {{ lines[0].value * 1 }} {{ lines[0].band | join(' ') }}"
    )
    if "decimals = 1" in entry:
        # A step of 0.01 mm is written as 0.05: that is too little for one decimal.
        assert "error[M620" in compiles("--only", "mine")[2]
        return
    code, _, err = compiles("--only", "mine")
    assert (code, err) == (0, "")
    written, value, low, high = (here / "made" / "job" / "tube.card").read_text("utf-8").split()
    if "0.03937" in entry:
        # More digits than are needed: a thousandth of the last digit of the setting is kept.
        assert abs(Fraction(written) - Fraction(text)) <= Fraction(1, 1000) * Fraction("0.3937")
    else:
        assert written == text
    assert float(value) == float(written) and low == high == written


# ---- what a target writes


def test_a_template_of_a_profile_gets_the_lines_of_all_its_machines(here: Path, compiles: Run) -> None:
    second = '[[file]]\neach = "profile"\npath = "{profile}/all.txt"\ntemplate = "all.j2"\n'
    write(here / "mine", MANIFEST + second)
    text = "{% for m in machines %}{{ m.machine }} {{ lines[m.machine][1].text }} {{ fixed.yarn }}{% endfor %}"
    (here / "mine" / "all.j2").write_text(text, encoding="utf-8")
    assert compiles("--only", "mine")[0] == 0
    assert (here / "made" / "job" / "all.txt").read_text("utf-8") == "tube 50 warm"


SCHEMA = {"type": "object", "properties": {"pace": {"type": "number", "maximum": 60}}, "required": ["pace"]}


@pytest.mark.parametrize(
    ("card", "schema", "code", "said"),
    [
        ('{"pace": {{ lines[1].text }}}', SCHEMA, "", ""),
        ('{"pace": {{ lines[1].text }}0}', SCHEMA, "M625", "$.pace: 500 is greater than the maximum of 60"),
        ("{}", SCHEMA, "M625", "'pace' is a required property"),
        ("pace", SCHEMA, "M625", "it is no JSON"),
        ("{}", {"type": "thing"}, "M601", "schema.json is no JSON Schema"),
    ],
)
def test_json_is_held_against_the_schema(
    here: Path, checks: Run, card: str, schema: object, code: str, said: str
) -> None:
    manifest = MANIFEST.replace(".card", ".card.json").replace("[[file]]", 'schema = "schema.json"\n[[file]]')
    write(here / "mine", manifest, card=card)
    (here / "mine" / "schema.json").write_text(json.dumps(schema), encoding="utf-8")
    ended, _, err = checks()
    assert ended == (1 if code else 0)
    assert f"error[{code}" in err and said in err and "--> mine/target.toml:4:1" in err if code else err == ""


def test_a_link_that_leads_out_of_the_output_folder(here: Path, compiles: Run) -> None:
    (here / "elsewhere").mkdir()
    (here / "made").mkdir()
    (here / "made" / "job").symlink_to(here / "elsewhere")
    code, _, err = compiles()
    assert code == 1 and "error[M626 outside-output]: made/job leads out of the output folder" in err
    assert list((here / "elsewhere").iterdir()) == []


# ---- the command, the schemas, the places


@pytest.mark.parametrize("name", ["ini", "json", "markdown"])
def test_the_neutral_targets_keep_the_rules_for_others(run: Run, name: str) -> None:
    code, out, err = run("target", "check", str(builtin_folder() / name))
    assert (code, err) == (0, "") and out.startswith(f"{name}: sound (writes watch_strap/")


def test_a_target_may_not_be_called_like_a_neutral_one(here: Path, run: Run) -> None:
    write(here / "ini")
    code, _, err = run("target", "check", "ini", "--with", "shop.melt")
    assert code == 1 and "error[M611" in err


def test_trying_with_a_text_at_fault(here: Path, run: Run) -> None:
    (here / "bad.melt").write_text(GOOD.replace("6 mm", "6 MM"), encoding="utf-8")
    code, out, err = run("target", "check", "mine", "--with", "bad.melt")
    assert (code, out) == (1, "") and "error[M215" in err
    (here / "bad.melt").write_text(GOOD.replace("<= 10 mm3/s", "<= 0.0001 mm3/s"), encoding="utf-8")
    code, out, err = run("target", "check", "mine", "--with", "bad.melt")
    assert (code, out) == (1, "") and "error[M503" in err


@pytest.mark.parametrize("arguments", [["target"], ["target", "check"], ["target", "change", "mine"]])
def test_misuse(arguments: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2


@pytest.mark.parametrize("name", ["manifest", "names"])
def test_the_schemas_are_schemas(name: str) -> None:
    schema = json.loads((builtin_folder() / "schemas" / f"{name}.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is False and schema["$id"].endswith(":1")


def test_places_in_toml() -> None:
    text = 'a = 1\n[t]\n"x.y" = { b = 1 } # [t]\nc = """\n[no]\n"""\n[[l]]\nd = 1\n[[l]]\nd = 2\n[t.u]\n\'e\' = 3\n'
    source = Source("s", Path("s"), text)

    def line(*keys: str | int) -> int:
        return source.line_column(place(source, *keys).start)[0]

    assert [line("a"), line("t"), line("t", "x.y"), line("t", "x.y", "b"), line("t", "c")] == [1, 2, 3, 3, 4]
    assert [line("l", 0, "d"), line("l", 1), line("l", 1, "d"), line("t", "u", "e"), line("zzz")] == [8, 9, 10, 12, 1]
