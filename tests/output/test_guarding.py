"""The guard around templates: each bad template ends with a diagnostic at its line, and nothing is half written."""

from pathlib import Path
from typing import Any

import pytest
from meltwright.cli import main
from meltwright.output import guarding
from meltwright.output.guarding import CHARACTERS, STEPS, Guarded
from meltwright.output.rendering import Renderer
from meltwright.output.targets import TargetFile, read_targets
from meltwright.text.diagnostic import Diagnostic, write
from meltwright.text.source import Source

from tests.test_cli import GOOD

MANIFEST = 'about = "a test"\n[[file]]\neach = "machine"\npath = "{profile}/{machine}.txt"\ntemplate = "t.j2"\n'
PROFILE: dict[str, Any] = {"name": "p", "material": "m"}
BUNDLE: dict[str, Any] = {
    "machine": "a",
    "holds": "all",
    "work": {"limit": None},
    "cautions": [{"text": "hot"}, {"text": "sharp"}],
    "settings": {"speed": {"contour": {"text": "10", "unit": "mm/s"}, "travel": {"text": "20", "unit": "mm/s"}}},
}


def rendered(folder: Path, template: str, **others: str) -> tuple[str | None, list[Diagnostic], dict[str, Source]]:
    """Render a template of one's own; gives the text or the faults, and the sources that they point to."""
    (folder / "x").mkdir()
    (folder / "x" / "target.toml").write_text(MANIFEST, encoding="utf-8")
    (folder / "x" / "t.j2").write_text(template, encoding="utf-8")
    for name, text in others.items():
        (folder / "x" / f"{name}.j2").write_text(text, encoding="utf-8")
    faults: list[Diagnostic] = []
    sources: dict[str, Source] = {}
    targets = read_targets(folder / "x", faults, sources)
    assert faults == []
    made = Renderer(targets, faults).machine_files(PROFILE, [BUNDLE])
    return made["a"].get("p/a.txt"), faults, sources


NESTED = "".join("{% for a in range(1000) %}" for _ in range(9)) + "{% endfor %}" * 9
DOUBLING = "{% set n = namespace(x='abcdefgh') %}{% for i in range(99) %}{% set n.x = OP %}{% endfor %}"

ENDLESS = {
    "a huge range": "{% for x in range(10000000000000000000000000) %}{% endfor %}",
    "a huge backward range": "{% for x in range(0, -100000000, -1) %}{% endfor %}",
    "nested loops": NESTED,
    "loops whose condition is never true": "{% for a in range(9000) %}{% for b in range(9000) if 0 %}{% endfor %}"
    "{% endfor %}",
    "a macro that calls itself": "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}",
    "a macro that calls itself twice": "{% macro m(n) %}{% if n %}{{ m(n-1) }}{{ m(n-1) }}{% endif %}{% endmacro %}"
    "{{ m(60) }}",
    "a loop that calls itself": "{% for a in range(9) recursive %}{{ loop(range(9)) if loop.depth < 9 }}{% endfor %}",
    "filters in a loop": "{% set r = range(900000) %}{% for a in range(9000) %}{% set s = r | sum %}{% endfor %}",
    "memberships in a loop": "{% set r = range(9000)|list %}{% for a in r %}{% set s = -1 in r %}{% endfor %}",
    "methods in a loop": "{% set r = range(9000)|list %}{% for a in r %}{% set s = r.count(a) %}{% endfor %}",
    "calls in a loop": "{% set r = range(9000) %}{% for a in r %}{% set s = dict.fromkeys(r) %}{% endfor %}",
    "a template that takes in itself": "{% include 't.j2' %}",
    "lists that double": DOUBLING.replace("'abcdefgh'", "[1]").replace("OP", "n.x + n.x"),
    "lists that hold themselves twice": DOUBLING.replace("'abcdefgh'", "[1]").replace("OP", "[n.x, n.x]")
    + "{{ n.x | as_json }}",
}
LARGE = {
    "a text many times": "{{ 'a' * 10000000000 }}",
    "a text many times from the right": "{{ 10000000000 * 'a' }}",
    "a text that doubles": DOUBLING.replace("OP", "n.x ~ n.x"),
    "a text that doubles by +": DOUBLING.replace("OP", "n.x + n.x"),
    "a text that doubles by join": DOUBLING.replace("OP", "[n.x, n.x] | join"),
    "a text that doubles by replace": DOUBLING.replace("OP", "n.x | replace('a', n.x)"),
    "a block that doubles": "{% set n = namespace(x='abcdefgh') %}{% for i in range(99) %}{% set y %}{{ n.x }}{{ n.x }}"
    "{% endset %}{% set n.x = y %}{% endfor %}",
    "much text in a loop": "{% for a in range(9000) %}" + "0123456789" * 9 + "{% endfor %}",
    "much text from a macro": "{% macro m() %}"
    + "0123456789" * 9
    + "{% endmacro %}{% for a in range(9000) %}{{ m() }}{% endfor %}",
}
FORBIDDEN = {
    "hidden attributes": "{{ bundle.__class__.__mro__ }}",
    "hidden attributes by name": "{{ bundle['__class__'] }}",
    "the code of a macro": "{% macro m() %}{% endmacro %}{{ m._func }}",
    "a method that changes data": "{{ bundle.settings.update({'a': 1}) }}",
    "formats": "{{ '{0.__class__}'.format(1) }}",
    "a wide text by a method": "{{ 'a'.ljust(1000000000) }}",
    "a wide text by a filter": "{{ 'a' | left(1000000000) }}",
    "a wide text by %": "{{ '%999999999d' % 1 }}",
    "a huge number": "{{ 10 ** 10000 }}",
    "a huge product": "{% set n = namespace(x=9) %}{% for i in range(99) %}{% set n.x = n.x * n.x %}{% endfor %}",
}
MISSING = {
    "a name": ("{{ nothing }}", "there is no nothing"),
    "a field": ("{{ bundle.machin }}", "a table has no machin; did you mean machine?"),
    "a field that is tested": ("{% if bundle.machin %}{% endif %}", "did you mean machine?"),
    "a field of a missing field": ("{{ bundle.a.b }}", "a table has no a"),
    "a place in a list": ("{{ bundle.cautions[7].text }}", "a list has no 7"),
}
WRONG = {
    "syntax": "{% for x in %}",
    "an unknown filter": "{{ bundle | random }}",
    "an unknown global": "{{ 1 if lipsum }}",
    "another folder": "{% include '../../secret' %}",
    "a whole path": "{% include '/etc/hostname' %}",
    "a table as a text": "{{ bundle.settings }}",
    "a list as a text": "{{ bundle.cautions | string }}",
    "a list among texts": "{{ 'a' ~ bundle.cautions }}",
    "a division by zero": "{{ 1 / 0 }}",
    "texts as numbers": "{{ ['a'] | sum }}",
}


@pytest.fixture
def little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Allow a tenth of what is allowed elsewhere, so that the limits are met sooner."""
    monkeypatch.setattr(guarding, "STEPS", STEPS // 10)
    monkeypatch.setattr(guarding, "CHARACTERS", CHARACTERS // 10)


@pytest.mark.usefixtures("little")
@pytest.mark.parametrize("template", ENDLESS.values(), ids=ENDLESS.keys())
def test_endless_templates(tmp_path: Path, template: str) -> None:
    assert_fault(tmp_path, template, "M621")


@pytest.mark.usefixtures("little")
@pytest.mark.parametrize("template", LARGE.values(), ids=LARGE.keys())
def test_too_much_text(tmp_path: Path, template: str) -> None:
    assert_fault(tmp_path, template, "M622")


@pytest.mark.parametrize("template", FORBIDDEN.values(), ids=FORBIDDEN.keys())
def test_what_no_template_may_do(tmp_path: Path, template: str) -> None:
    assert_fault(tmp_path, template, "M623")


@pytest.mark.parametrize(("template", "said"), MISSING.values(), ids=MISSING.keys())
def test_names_that_are_not_there(tmp_path: Path, template: str, said: str) -> None:
    assert said in assert_fault(tmp_path, template, "M624").message


@pytest.mark.parametrize("template", WRONG.values(), ids=WRONG.keys())
def test_other_mistakes(tmp_path: Path, template: str) -> None:
    if "lipsum" in template:
        assert_fault(tmp_path, template, "M624")
    else:
        assert_fault(tmp_path, template, "M602")


def assert_fault(folder: Path, template: str, code: str) -> Diagnostic:
    """Render a template whose second line is at fault; gives its diagnostic."""
    text, faults, sources = rendered(folder, "{# a first line #}\n" + template)
    assert text is None
    assert [f.code for f in faults] == [code], faults
    assert faults[0].help
    said = write(faults, sources)
    assert "  --> x/t.j2:2:1\n" in said, said
    return faults[0]


@pytest.mark.parametrize(
    ("template", "text"),
    [
        ("{{ bundle.machine }}", "a"),
        ("{{ 'a' | left(3) }}{{ 7 | right(3) }}|", "a    7|"),
        (
            "{% for g, s in bundle.settings.items() %}{{ g }}{% for n in s %} {{ n }}{% endfor %}{% endfor %}",
            "speed contour travel",
        ),
        ("{% for c in bundle.cautions if c.text != 'hot' %}{{ loop.index }}{{ c.text }}{% endfor %}", "1sharp"),
        ("{{ bundle.cautions | map(attribute='text') | join(', ') }}", "hot, sharp"),
        ("{{ bundle.cautions | join('+', attribute='text') }}", "hot+sharp"),
        ("{{ bundle.nothing | default('none') }}{{ 1 if bundle.nothing is defined else 2 }}", "none2"),
        ("{{ bundle.work.limit }}", "None"),
        ("{{ bundle.cautions[0] | as_json }}", '{\n  "text": "hot"\n}'),
        ("{% macro m(x) %}<{{ x }}>{% endmacro %}{{ m(1) ~ m(2) | upper }}", "<1><2>"),
        ("{% set t %}{{ 3 }}{% endset %}{{ t }}{{ 'ab' + 'c' }}{{ 2 + 3 * 4 }}{{ 'x' * 3 }}", "3abc14xxx"),
        (
            "{% for x in range(5, 0, -2) %}{{ x }}{{ ',' if not loop.last }}{% endfor %}{{ range(0) | list | length }}",
            "5,3,10",
        ),
        ("{% import 'parts.j2' as parts %}{{ parts.loud('a') }}{% include 'foot.j2' %}", "A!foot a"),
        ("{{ 'a-b' | replace('-', '+') }}{{ [3, 1, 2] | sort | first }}{{ [1, 2] | sum }}", "a+b13"),
        ("{{ 'hot' in (bundle.cautions | map(attribute='text')) }}{{ 'speed' in bundle.settings }}", "TrueTrue"),
        (
            "{% for g in bundle.cautions | groupby('text') %}{{ g.grouper }}{{ g.list | length }}{% endfor %}",
            "hot1sharp1",
        ),
        ("{% filter upper %}abc{% endfilter %}{% block b %}d{% endblock %}", "ABCd"),
    ],
)
def test_what_templates_may_do(tmp_path: Path, template: str, text: str) -> None:
    parts = {"parts": "{% macro loud(x) %}{{ x | upper }}!{% endmacro %}", "foot": "foot {{ bundle.machine }}"}
    assert rendered(tmp_path, template, **parts)[:2] == (text, [])


def test_faults_point_into_the_template_that_was_taken_in(tmp_path: Path) -> None:
    _, faults, sources = rendered(tmp_path, "\n\n{% include 'foot.j2' %}", foot="\n\n\n  {{ nothing }}\n")
    assert [f.code for f in faults] == ["M624"]
    assert "  --> x/foot.j2:4:3\n    |   {{ nothing }}\n" in write(faults, sources)


def test_each_file_has_the_whole_of_the_limits(tmp_path: Path) -> None:
    (tmp_path / "target.toml").write_text(MANIFEST, encoding="utf-8")
    (tmp_path / "t.j2").write_text("{% for x in range(300000) %}{% endfor %}", encoding="utf-8")
    faults: list[Diagnostic] = []
    bundles = [{**BUNDLE, "machine": f"m{k}"} for k in range(5)]
    made = Renderer(read_targets(tmp_path, faults), faults).machine_files(PROFILE, bundles)
    assert (len(made), faults) == (5, [])
    assert all(files for files in made.values())


def test_limits_leave_room_for_a_fleet() -> None:
    # A row for each of ten thousand machines, with thirty settings.
    assert STEPS >= 10_000 * 30 and CHARACTERS >= 10_000 * 30 * 10


def test_two_templates_may_have_a_macro_of_one_name(tmp_path: Path) -> None:
    second = '[[file]]\neach = "machine"\npath = "{profile}/{machine}.two"\ntemplate = "u.j2"\n'
    (tmp_path / "target.toml").write_text(MANIFEST + second, encoding="utf-8")
    for name, mark in (("t", "-"), ("u", "+")):
        text = f"{{% macro row(c) %}}{mark}{{{{ c.text }}}}{{% endmacro %}}{{{{ bundle.cautions | rows(row) }}}}"
        (tmp_path / f"{name}.j2").write_text(text, encoding="utf-8")
    faults: list[Diagnostic] = []
    from meltwright.telling.shared import Shared

    bundle = {**BUNDLE, "cautions": [Shared(text="hot")]}
    made = Renderer(read_targets(tmp_path, faults), faults).machine_files(PROFILE, [bundle])
    assert (made, faults) == ({"a": {"p/a.txt": "-hot", "p/a.two": "+hot"}}, [])


def test_a_guarded_template_is_not_taken_from_the_cache_of_others(tmp_path: Path) -> None:
    # What is kept of neutral templates has no counting in it.
    (tmp_path / "target.toml").write_text(MANIFEST, encoding="utf-8")
    (tmp_path / "t.j2").touch()
    (target,) = read_targets(tmp_path, [])
    assert target.files == (TargetFile("machine", "{profile}/{machine}.txt", "t.j2"),)
    assert Guarded(target, {}).bytecode_cache is None


# ---- nothing by halves


@pytest.mark.parametrize(
    "template",
    [
        "{{ nothing }}",
        "{% for x in range(100000000) %}{% endfor %}",
        "{{ bundle.__class__ }}",
        "{% if %}",
        "{{ 'a' * 100000000 }}",
    ],
)
def test_a_template_at_fault_leaves_the_folder_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], template: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shop.melt").write_text(GOOD, encoding="utf-8")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "target.toml").write_text(MANIFEST, encoding="utf-8")
    (tmp_path / "mine" / "t.j2").write_text(f"first\n{template}\n", encoding="utf-8")
    assert main(["compile", "shop.melt", "--out", "made", "--targets", "mine"]) == 1
    said = capsys.readouterr()
    assert said.out == "" and "  --> mine/t.j2:2:1\n" in said.err
    assert said.err.endswith("shop.melt: 1 error\nnothing was written\n")
    assert not (tmp_path / "made").exists()
    assert main(["target", "check", "mine"]) == 1
    assert "  --> mine/t.j2:2:1\n" in capsys.readouterr().err
