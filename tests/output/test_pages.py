"""Pages and pictures: whole, reachable, readable in light and dark, and safe whatever the texts say."""

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from meltwright.cli import main
from meltwright.meaning.loading import library_folder
from meltwright.output.bar_pictures import MOST_MARGINS, budget_picture, margins_picture
from meltwright.output.markup import coded, compact, escapes, folded
from meltwright.output.rendering import sandbox
from meltwright.output.strip_picture import strip_picture
from meltwright.output.targets import builtin_folder
from meltwright.telling.brief import FEW_MACHINES
from syrupy.assertion import SnapshotAssertion

from tests.output.pages import HARMFUL, Element, read
from tests.test_cli import GOOD

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Compile the demonstrations and a text that would do harm."""
    folder = tmp_path_factory.mktemp("pages")
    demos = library_folder() / "demos"
    (folder / "harm.melt").write_text(HARMFUL, encoding="utf-8")
    files = [demos / "watch_strap.melt", demos / "stiff_bracket.melt", folder / "harm.melt"]
    assert main(["compile", *map(str, files), "--out", str(folder / "out")]) == 0
    yield folder / "out"


def pages(made: Path) -> Iterator[tuple[Path, Element]]:
    found = sorted(made.rglob("*.html"))
    assert len(found) >= 9
    for path in found:
        yield path, read(path.read_text(encoding="utf-8"))


# ---- structure


def test_pages_have_a_language_a_title_one_first_heading_and_a_skip_link(made: Path) -> None:
    for _, page in pages(made):
        (html,) = page.all("html")
        assert html.attributes["lang"] == "en"
        assert page.all("title")[0].text and len(page.all("h1")) == 1 and len(page.all("main")) == 1
        first = page.all("a")[0]
        assert first.attributes["class"] == "skip"
        levels = [int(h.name[1]) for h in page.all("h1", "h2", "h3")]
        assert all(b - a <= 1 for a, b in pairwise(levels))


def test_names_are_unique_and_links_lead_somewhere(made: Path) -> None:
    for path, page in pages(made):
        names = [e.attributes["id"] for e in page.all() if "id" in e.attributes]
        assert len(names) == len(set(names))
        for link in page.all("a"):
            target = link.attributes["href"]
            assert target[1:] in names if target.startswith("#") else (path.parent / target).is_file(), target
        for e in page.all():
            for kind in ("aria-labelledby", "aria-describedby"):
                assert set(e.attributes.get(kind, "").split()) <= set(names)


def test_tables_have_headers_with_a_scope(made: Path) -> None:
    for _, page in pages(made):
        for table in page.all("table"):
            (head,) = table.all("thead")
            columns = head.all("th")
            assert columns and all(h.attributes["scope"] == "col" for h in columns)
            for row in table.all("tbody")[0].all("tr"):
                cells = row.all("th", "td")
                assert len(cells) == len(columns)
                assert cells[0].name == "th" and cells[0].attributes["scope"] == "row"


def test_what_may_be_wide_scrolls_by_itself_and_takes_the_keyboard(made: Path) -> None:
    """Tables and pictures may be wider than a phone: each stands in a region that can be reached and is named."""
    for _, page in pages(made):
        regions = [e for e in page.all("div") if "scroll" in e.attributes.get("class", "").split()]
        inside = {id(x) for r in regions for x in r.all("table", "svg")}
        assert {id(x) for x in page.all("table", "svg")} == inside
        for region in regions:
            assert region.attributes["tabindex"] == "0" and region.attributes["role"] == "region"
            assert region.attributes["aria-label"]


def test_every_control_has_a_name(made: Path) -> None:
    for _, page in pages(made):
        labelled = {id(x) for label in page.all("label") if label.text.strip() for x in label.all("input", "select")}
        assert {id(x) for x in page.all("input", "select")} == labelled
        assert all(b.text.strip() for b in page.all("button"))


def test_pages_stand_alone(made: Path) -> None:
    """Nothing is loaded; what a script shows is hidden until the script has it."""
    for path, page in pages(made):
        text = path.read_text(encoding="utf-8")
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "") and "https://" not in text
        assert "default-src 'none'" in text
        for e in page.all():
            assert "src" not in e.attributes and not any(a.startswith("on") for a in e.attributes), e
        for e in page.all("div"):
            if {"reader", "tools"} & set(e.attributes.get("class", "").split()):
                assert "hidden" in e.attributes


def test_cautions_stand_on_every_page_of_a_machine(made: Path) -> None:
    for path, page in pages(made):
        if path.stem != "overview":
            data = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
            told = page.text
            assert all(n["text"] in told for n in data["cautions"] + data["prepare"])
            assert "makers' instructions" in told


def test_a_number_without_a_unit_is_followed_by_no_blank(made: Path) -> None:
    rationale = (made / "job" / "tube.md").read_text(encoding="utf-8")
    assert re.search(r"^\| `feed.factor` \| \*\*[0-9.]+\*\* \| [0-9.]+ \.\. 1\.2 \| ", rationale, re.MULTILINE)
    assert re.search(r"^### feed.factor = [0-9.]+$", rationale, re.MULTILINE)
    page = read((made / "job" / "tube.html").read_text(encoding="utf-8"))
    (value,) = [r.all("td")[0].text for r in page.all("tr") if r.all("th") and r.all("th")[0].text == "feed.factor"]
    assert re.fullmatch("[0-9.]+", value)


# ---- escaping


def test_texts_cannot_become_markup(made: Path) -> None:
    for path in sorted((made / "job").iterdir()):
        text = path.read_text(encoding="utf-8")
        if path.suffix == ".html":
            page = read(text)
            assert not page.all("img") and "49" not in re.sub(r"[0-9.]{3,}", "", page.all("main")[0].text)
            assert "<img src=x onerror=alert(1)>" in page.text
            data = [e for e in page.all("script") if e.attributes.get("type") == "application/json"]
            assert all("</script><img" in json.dumps(json.loads(e.text)) for e in data)
            assert len(data) == (path.stem != "overview")
        if path.suffix == ".svg":
            root = ElementTree.fromstring(text)
            assert not [e for e in root.iter() if "img" in e.tag or "script" in e.tag]
            assert "<img src=x" in "".join(root.itertext())


def test_backticks_become_code_and_nothing_else_markup() -> None:
    assert str(coded("a `b < c` & <d>")) == "a <code>b &lt; c</code> &amp; &lt;d&gt;"
    assert str(coded("an odd ` one")) == "an odd ` one"


def test_data_for_a_script_cannot_end_it() -> None:
    text = str(compact({"b": "</script><!-- & \u2028", "a": 1}))
    assert json.loads(text) == {"b": "</script><!-- & \u2028", "a": 1}
    assert not set("<>&") & set(text) and text.startswith('{"a":1')


def test_templates_that_write_markup_are_told_by_their_names() -> None:
    assert [escapes(n) for n in ("a.html.j2", "b.svg.j2", "c.md.j2", "d.ini.j2", None)] == [True, True, *[False] * 3]


# ---- pictures


def test_pictures_have_a_title_and_a_description(made: Path) -> None:
    for path in sorted(made.rglob("*.svg")):
        root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
        assert root.find(f"{SVG}title") is not None and (root.findtext(f"{SVG}desc") or "").strip()
        drawn = [e for e in root.iter(f"{SVG}svg") if e.get("role") == "img"]
        assert len(drawn) == 3
        for picture in drawn:
            assert picture.findtext(f"{SVG}title") and (picture.findtext(f"{SVG}desc") or "").strip()
            width, height = (float(v) for v in (picture.get("viewBox") or "").split()[2:])
            for e in picture.iter(f"{SVG}rect"):
                assert 0 <= float(e.get("x", "0")) <= float(e.get("x", "0")) + float(e.get("width", "0")) <= width
            for e in picture.iter(f"{SVG}text"):
                assert 0 <= float(e.get("x", "0")) <= width and 0 < float(e.get("y", "0")) <= height


def test_lines_of_a_window_are_numbered_and_told(made: Path) -> None:
    """Every line has a number in the picture, words for it, and a dash of its own where there are few."""
    for path, page in pages(made):
        if path.stem == "overview":
            continue
        (figure,) = [f for f in page.all("figure") if "data-window" in f.attributes]
        edges = [e for e in figure.all("path") if "edge" in e.attributes["class"].split()]
        kinds = {e.attributes["class"]: e.all("title")[0].text for e in edges}
        items = figure.all("ol")[0].all("li")
        numbers = [t.text for t in figure.all("svg")[0].all("text") if t.attributes["class"] == "name middle tick"]
        assert edges and numbers == [i.all("b")[0].text for i in items] == [str(k + 1) for k in range(len(items))]
        assert len(kinds) == len(items)
        assert [i.all("code")[0].text for i in items] == [kinds[f"edge e{k}"] for k in range(len(items))]


def test_what_a_script_reads_off_fits_the_picture(made: Path) -> None:
    for path, page in pages(made):
        if path.stem == "overview":
            continue
        (script,) = [e for e in page.all("script") if e.attributes.get("type") == "application/json"]
        data = json.loads(script.text)
        places = len(data["across"]) * len(data["up"])
        assert len(data["missed"]) == len(data["nearest"]) == len(data["tenths"]) == places > 20
        assert len(data["x"]) == len(data["across"]) and data["x"] == sorted(data["x"])
        assert len(data["y"]) == len(data["up"]) and data["y"] == sorted(data["y"], reverse=True)
        start = data["start"][1] * len(data["across"]) + data["start"][0]
        assert data["missed"][start] == 0 and all(t >= 0 for t in data["tenths"][start])
        for missed, tenths in zip(data["missed"], data["tenths"], strict=True):
            assert tenths == sorted(tenths)
            assert min(missed, len(tenths)) >= sum(t < 0 for t in tenths)
        machine = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["settings"]
        assert float(data["across"][data["start"][0]]) in [s["value"] for g in machine.values() for s in g.values()]


def test_parts_of_a_budget_add_up_to_what_is_asked_for(made: Path) -> None:
    """The demonstrations spend a retraction on slack, shortening and draw-back; a sum of a shop's own does as well."""
    for path, page in pages(made):
        if path.stem == "overview":
            continue
        (budget,) = [h for h in page.all("h2") if h.attributes.get("id") == "budget"]
        assert budget.text == "What retraction.length is spent on"
        data = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        (figure,) = [f for f in page.all("figure") if "key p0" in {e.attributes.get("class") for e in f.all("i")}]
        parts = [float(i.text.split(i.all("code")[0].text, 1)[1].split()[0]) for i in figure.all("li")]
        (need,) = [float(m[1]) for m in [re.search(r"asks for ([0-9.]+) mm", figure.text)] if m]
        assert len(parts) == 3 and sum(parts) == pytest.approx(need, rel=0.01)
        assert "retraction" in data["settings"]


BUDGET: dict[str, Any] = {
    "setting": "feed.length",
    "unit": "mm",
    "value": 9.0,
    "text": "9 mm",
    "sum": {"name": "need", "value": 11.0, "text": "11 mm"},
    "parts": [
        {"name": "play", "value": 1.0, "text": "1 mm"},
        {"name": "stretch", "value": 8.0, "text": "8 mm"},
        {"name": "rest", "value": 2.0, "text": "2 mm"},
    ],
    "most": {"name": "reach", "value": 9.5, "text": "9.5 mm"},
}


def drawn(call: str, **view: Any) -> str:
    """Draw one picture by its macro."""
    template = sandbox(builtin_folder() / "page", escapes).from_string(
        "{% import 'pictures.svg.j2' as draw %}{% autoescape true %}" + call + "{% endautoescape %}"
    )
    return template.render(view)


def test_a_budget_as_reviewed(snapshot: SnapshotAssertion) -> None:
    picture = budget_picture(BUDGET)
    assert picture["short"] and picture["over"] is not None
    assert drawn("{{ draw.budget(p, 'b') }}", p=picture) == snapshot


@pytest.mark.parametrize(
    ("most", "short", "over"), [(9.5, True, True), (12.0, False, False), (500.0, False, False), (11.0, False, False)]
)
def test_a_budget_says_whether_there_is_enough(most: float, short: bool, over: bool) -> None:
    picture = budget_picture({**BUDGET, "most": {"name": "reach", "value": most, "text": f"{most} mm"}})
    assert (picture["short"], picture["over"] is not None) == (short, over)
    assert f"reach: {most} mm" in picture["about"]


def margin(title: str, share: float) -> dict[str, Any]:
    return {"title": title, "margin": share, "spare": f"{share} %", "sides": "1 <= 2"}


def test_margins_as_reviewed(snapshot: SnapshotAssertion) -> None:
    rows = [
        margin("a < b & c", 0.0),
        margin("a law with a very long name: and its long condition", 3.2),
        margin("x", 80),
    ]
    assert drawn("{{ draw.margins(p, 'm') }}", p=margins_picture(rows)) == snapshot


def test_many_margins_are_cut_to_the_closest() -> None:
    picture = margins_picture([margin(f"r{k}", k) for k in range(MOST_MARGINS + 5)])
    assert (len(picture["rows"]), picture["more"]) == (MOST_MARGINS, 5)


def machine(name: str, merit: str, speed: str, limits: str = "`a law`") -> dict[str, Any]:
    settings = {"speed": {"contour": {"text": speed, "unit": "mm/s", "band_text": speed}}}
    merits = [{"name": "throughput", "better": "more", "text": merit}]
    return {"machine": name, "merits": merits, "limits": limits, "settings": settings}


def test_a_strip_as_reviewed(snapshot: SnapshotAssertion) -> None:
    picture = strip_picture([machine("one", "0.5 mm3/s", "5"), machine("two", "2 mm3/s", "30", "`b`, `c`")])
    assert drawn("{{ draw.strip(p, 's') }}", p=picture) == snapshot


def test_a_strip_shows_the_first_of_many() -> None:
    picture = strip_picture([machine(f"m{k}", f"{k} mm3/s", "5") for k in range(FEW_MACHINES + 7)])
    assert (len(picture["rows"]), picture["more"]) == (FEW_MACHINES, 7)
    assert "unbounded" in drawn("{{ draw.strip(p, 's') }}", p=strip_picture([machine("m", "unbounded", "5")]))


def test_long_lines_are_folded() -> None:
    lines = folded("word " * 60, 40)
    assert all(len(line) <= 44 for line in lines) and " ".join(lines).split() == ["word"] * 60


# ---- colours


def _luminance(colour: str) -> float:
    """Give the relative luminance of a colour; source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    a, b = sorted((_luminance(one), _luminance(other)))
    return (b + 0.05) / (a + 0.05)


def test_the_measure_of_contrast_is_right() -> None:
    """Black on white is 21:1, and #767676 on white just passes 4.5:1 (WCAG 2.2, technique G18)."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert 4.5 <= _contrast("#767676", "#ffffff") < 4.6


def test_texts_stand_out_in_light_and_dark() -> None:
    css = (builtin_folder() / "page" / "pictures.css").read_text(encoding="utf-8")
    schemes = [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block)) for block in css.split("@media")]
    light, dark = schemes[0], schemes[1]
    assert set(light) == set(dark)
    for scheme in (light, dark):
        pairs = [("ink", "paper"), ("soft", "paper"), ("melt", "paper"), ("ink", "refused"), ("on0", "p0")]
        pairs += [("ink", "p1"), ("on2", "p2"), ("ink", "p3"), ("on4", "p4")]
        for text, ground in pairs:
            assert _contrast(scheme[text], scheme[ground]) >= 4.5, (text, ground)
        # What is only drawn needs 3:1 (WCAG 2.2, 1.4.11).
        assert _contrast(scheme["line"], scheme["paper"]) >= 3
        # Neighbouring parts of a budget differ in lightness, so that they do in grey print too.
        for a, b in ((0, 1), (1, 2), (2, 3), (3, 4)):
            assert _contrast(scheme[f"p{a}"], scheme[f"p{b}"]) >= 1.5


# ---- what is not there


def compiled_pages(folder: Path, text: str) -> tuple[Element, str]:
    """Compile a profile ``job`` on a machine ``tube``; gives its page and its pictures."""
    (folder / "own.melt").write_text(text, encoding="utf-8")
    assert main(["compile", str(folder / "own.melt"), "--out", str(folder / "out")]) == 0
    page = (folder / "out" / "job" / "tube.html").read_text(encoding="utf-8")
    return read(page), (folder / "out" / "job" / "tube.svg").read_text(encoding="utf-8")


def test_without_two_open_settings_there_is_no_window(tmp_path: Path) -> None:
    page, pictures = compiled_pages(tmp_path, GOOD)
    assert not {e.attributes.get("href") for e in page.all("a")} & {"#window", "#budget"}
    assert not [f for f in page.all("figure") if "data-window" in f.attributes] and not page.all("script")
    assert "No input is merely assumed." in page.text
    drawn = [e for e in ElementTree.fromstring(pictures).iter(f"{SVG}svg") if e.get("role") == "img"]
    assert [e.findtext(f"{SVG}title") for e in drawn] == ["What each requirement has to spare, the closest first"]


def test_settings_that_hold_at_the_stated_values_only_say_so_everywhere(tmp_path: Path) -> None:
    text = HARMFUL.replace("pace 80 mm/s", "pace 80 ± 20 mm/s").replace(
        "  prefer throughput", "  throughput at least 9.9 mm3/s\n  prefer throughput"
    )
    text = text.replace("in 0.1 .. 2 mm step", "in 0.1 .. 0.8 mm step").replace("tube, slow", "tube")
    page, pictures = compiled_pages(tmp_path, text)
    assert "hold at the stated input values only" in page.text
    (figure,) = [f for f in page.all("figure") if "data-window" in f.attributes]
    assert "all requirements hold at the stated input values" in figure.text
    assert "missed at the stated input values" in pictures


def test_a_page_is_the_same_alone_and_in_a_fleet(made: Path, tmp_path: Path) -> None:
    """Machines of one structure are evaluated together; that must not show."""
    alone = HARMFUL.replace("machines tube, slow", "machines tube")
    (tmp_path / "harm.melt").write_text(alone, encoding="utf-8")
    assert main(["compile", str(tmp_path / "harm.melt"), "--out", str(tmp_path / "out")]) == 0
    for ending in ("html", "svg"):
        name = f"job/tube.{ending}"
        assert (tmp_path / "out" / name).read_bytes() == (made / name).read_bytes()
