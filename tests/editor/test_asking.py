"""What an editor asks about a text, over the small workspace of the reference."""

import pytest
from meltwright.editor.completing import complete
from meltwright.editor.finding import definitions, references
from meltwright.editor.hovering import hover
from meltwright.editor.keywords import KEYWORDS
from meltwright.editor.laying_out import layout_edits
from meltwright.editor.outlining import Symbol, outline
from meltwright.editor.positions import Lines
from meltwright.editor.renaming import Refused, rename, renameable
from meltwright.syntax.grammar import keywords

from tests.editor.small import Small

HEIGHT = "setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given"


def said(small: Small, name: str, snippet: str) -> str:
    found = hover(*small.at(name, snippet))
    assert found is not None
    return found.markdown


def offered(small: Small, name: str, old: str, new: str) -> list[str]:
    """List what is offered at a mark, in the order in which an editor shows it."""
    found = complete(*small.typed(name, old, new))
    return [o.text for o in sorted(found, key=lambda o: (o.sort, o.text))]


# ---- hovering


def test_hover_tells_a_value_with_its_ends_and_evidence(small: Small) -> None:
    told = said(small, "shop.melt", "gap‸    4 .. 5 mm")
    assert "length (shown in mm) of a machine" in told
    assert "Filament length without support." in told
    assert "believable: 0 .. 40 mm" in told
    assert "4 mm to 5 mm = 0.004 m to 0.005 m" in told
    assert "measured: calliper (invented)" in told


def test_hover_tells_what_a_value_replaced(small: Small) -> None:
    told = said(small, "shop.melt", "machine open_block from open_tube {\n  gu‸ide")
    assert "here: `block`" in told
    assert "no evidence given: it counts as assumed" in told
    assert "instead of `tube` of open_tube; typical: such machines (invented)" in told


def test_hover_on_a_number_tells_its_ends(small: Small) -> None:
    told = said(small, "shop.melt", "modulus   2‸0 MPa ± 10 %")
    assert "18 MPa to 22 MPa = 1.8e7 kg/m/s2 to 2.2e7 kg/m/s2" in told


def test_hover_tells_formula_and_source_of_a_law(small: Small) -> None:
    told = said(small, "trade.melt", "require pu‸sh <= pi^3")
    assert "push = 2 N + flow * 1 N*s/mm3" in told
    assert "derived by law `flowing`" in told
    assert "textbook: conservation of volume" in told


@pytest.mark.parametrize(
    ("name", "snippet", "words"),
    [
        ("trade.melt", "law bow‸ing", ["A free piece bows out", "applies when `gap > 0 mm`", "require push <="]),
        ("job.melt", "pa‸ce  ", ["grade of `flow`", "`quick` from 4 mm3/s: an afternoon", "`slow` below: overnight"]),
        ("job.melt", "at least qui‸ck", ["a band of grade `pace`"]),
        ("job.melt", "prefer        through‸put", ["merit", "throughput = flow"]),
        ("job.melt", "layer.hei‸ght  0.2", ["setting, length", "0.05 .. 0.60 mm in steps of 0.01 mm", "gives it"]),
        ("job.melt", "machines      open_‸tube", ["machine, `open_tube`", "gap `4 .. 5 mm`"]),
        ("job.melt", "material      rub‸ber", ["material, `rubber`", "measured: calliper"]),
        ("job.melt", "profile str‸ap", ["profile of rubber on open_tube, open_block"]),
        ("trade.melt", "modulus of material : press‸ure", ["a dimension; units like MPa"]),
        ("trade.melt", "0.1 .. 5000 M‸Pa", ["**MPa**: pressure", "1 MPa = 1000000 kg/m/s2"]),
        ("trade.melt", "guide is bl‸ock", ["a word of `guide`", "What guides the filament."]),
        ("trade.melt", "rem‸edy lower gap", ["what may cure a broken limit"]),
        ("shop.melt", "meas‸ured", ['somebody measured it: measured "how"']),
        ("trade.melt", "push <= p‸i^3", ["a constant"]),
    ],
)
def test_hover(small: Small, name: str, snippet: str, words: list[str]) -> None:
    told = said(small, name, snippet)
    for word in words:
        assert word in told


def test_hover_on_nothing(small: Small) -> None:
    assert hover(*small.at("job.melt", "rubber\n‸")) is None
    assert hover(*small.at("shop.melt", '"calliper, t‸en places')) is None


def test_every_keyword_has_its_line() -> None:
    assert KEYWORDS.keys() == keywords().keys()


# ---- definitions and uses


def places(small: Small, found: list[tuple[object, object]]) -> list[str]:
    """Write places as the file, what stands there, and the line that it stands in."""
    out = []
    for path, place in found:
        text = small.files[path.name]  # type: ignore[attr-defined]
        lines = Lines(text)
        start, end = lines.offset(place.start), lines.offset(place.end)  # type: ignore[attr-defined]
        line = text.split("\n")[place.start.line].strip()  # type: ignore[attr-defined]
        out.append(f"{path.name}: {text[start:end]}: {line}")  # type: ignore[attr-defined]
    return out


@pytest.mark.parametrize(
    ("name", "snippet", "wanted"),
    [
        ("shop.melt", "ga‸p    4", ["trade.melt: gap: quantity gap of machine : length in 0 .. 40 mm"]),
        (
            "job.melt",
            "layer.he‸ight",
            [f"trade.melt: layer.height: {HEIGHT}"],
        ),
        ("job.melt", "pa‸ce  ", ["trade.melt: pace: grade pace by flow {"]),
        ("job.melt", "least qui‸ck", ['trade.melt: quick: quick  from 4 mm3/s  "an afternoon"']),
        ("job.melt", "prefer        through‸put", ["trade.melt: throughput: merit throughput = flow"]),
        ("job.melt", "      rub‸ber", ["shop.melt: rubber: material rubber {"]),
        ("job.melt", "open_‸block", ["shop.melt: open_block: machine open_block from open_tube {"]),
        ("shop.melt", "from open_t‸ube", ["shop.melt: open_tube: machine open_tube {"]),
        ("trade.melt", "require pu‸sh <= 20", ["trade.melt: push: let push = 2 N + flow * 1 N*s/mm3"]),
        ("trade.melt", "guide is blo‸ck", ["trade.melt: block: quantity guide of machine : one of tube, block"]),
        ("job.melt", 'use "sh‸op.melt"', ['shop.melt: : use "trade.melt"']),
        ("job.melt", "0.2 m‸m", []),
    ],
)
def test_definition(small: Small, name: str, snippet: str, wanted: list[str]) -> None:
    assert places(small, definitions(*small.at(name, snippet))) == wanted


def test_references_are_found_in_all_files(small: Small) -> None:
    found = places(small, references(*small.at("trade.melt", "quantity gu‸ide"), declaration=False))
    assert found == [
        'shop.melt: guide: guide  tube       typical "such machines (invented)"',
        "shop.melt: guide: guide  block",
        "trade.melt: guide: when    guide is block",
    ]
    with_it = places(small, references(*small.at("trade.melt", "quantity gu‸ide"), declaration=True))
    assert set(with_it) - set(found) == {"trade.melt: guide: quantity guide of machine : one of tube, block"}


def test_references_are_found_in_every_main_file(small: Small) -> None:
    small.put("second.melt", small.files["job.melt"].replace("profile strap", "profile hose"))
    found = places(small, references(*small.at("shop.melt", "material rub‸ber"), declaration=False))
    assert found == [f"{name}: rubber: material      rubber" for name in ("job.melt", "second.melt")]


# ---- renaming


def renamed(small: Small, name: str, snippet: str, new: str) -> dict[str, str]:
    """Give the texts that a change of a name makes."""
    edits = rename(*small.at(name, snippet), new)
    files = dict(small.files)
    for edit in sorted(edits, key=lambda e: e.range, reverse=True):
        lines = Lines(files[edit.path.name])
        start, end = lines.offset(edit.range.start), lines.offset(edit.range.end)
        files[edit.path.name] = lines.text[:start] + edit.text + lines.text[end:]
    return {n: t for n, t in files.items() if t != small.files[n]}


def test_a_name_is_changed_in_every_file(small: Small) -> None:
    made = renamed(small, "shop.melt", "machine open_t‸ube", "wide_tube")
    assert made == {n: small.files[n].replace("open_tube", "wide_tube") for n in ("shop.melt", "job.melt")}


@pytest.mark.parametrize(
    ("name", "snippet", "new", "count"),
    [
        ("trade.melt", "let pu‸sh", "thrust", 3),
        ("trade.melt", "law bow‸ing", "giving_way", 1),
        ("job.melt", "at least qui‸ck", "swift", 2),
        ("trade.melt", "one of tu‸be", "pipe", 2),
        ("job.melt", "layer.h‸eight", "layer.thickness", 3),
        ("job.melt", "profile st‸rap", "band", 1),
    ],
)
def test_names_of_every_kind(small: Small, name: str, snippet: str, new: str, count: int) -> None:
    assert len(rename(*small.at(name, snippet), new)) == count
    for file, text in renamed(small, name, snippet, new).items():
        small.put(file, text)
    assert small.codes() == {}


@pytest.mark.parametrize(
    ("name", "snippet", "new", "why"),
    [
        ("shop.melt", "machine open_t‸ube", "open_block", "open_block is the name of something else: see line 13 of"),
        ("trade.melt", "let pu‸sh", "flow", "flow is the name of something else: see line 23 of trade.melt"),
        ("trade.melt", "let pu‸sh", "pi", "pi is a constant of the language"),
        ("trade.melt", "let pu‸sh", "sqrt", "sqrt is a function of the language"),
        ("trade.melt", "let pu‸sh", "require", "require is a word of the language"),
        ("trade.melt", "let pu‸sh", "two words", "'two words' is no name"),
        ("trade.melt", "let pu‸sh", "p" * 65, "a name has at most 64 characters, and this one has 65"),
        ("job.melt", "0.2 m‸m", "cm", "this is a unit"),
        ("job.melt", "at lea‸st", "most", "this is no name that a text defines"),
    ],
)
def test_a_name_that_cannot_be_taken(small: Small, name: str, snippet: str, new: str, why: str) -> None:
    with pytest.raises(Refused) as refused:
        rename(*small.at(name, snippet), new)
    assert str(refused.value).startswith(why)


def test_a_name_in_a_line_that_cannot_be_read_is_not_changed(small: Small) -> None:
    small.put("shop.melt", small.files["shop.melt"].replace("from open_tube {", "from from open_tube {"))
    with pytest.raises(Refused, match=r"line 13 of shop\.melt cannot be read and may mean open_tube; mend it first"):
        rename(*small.at("job.melt", "open_t‸ube"), "wide_tube")


def test_a_name_of_the_library_is_not_changed(small: Small) -> None:
    small.put("own.melt", 'use library "materials/urethanes"\n\nmaterial band from urethane_85a {\n  feel  0.5\n}\n')
    with pytest.raises(Refused, match=r"urethane_85a is defined in library/materials/urethanes\.melt"):
        rename(*small.at("own.melt", "from urethane‸_85a"), "soft")
    with pytest.raises(Refused, match="which is no file of this project"):
        renameable(*small.at("own.melt", "from urethane‸_85a"))
    assert renameable(*small.at("own.melt", "material ba‸nd"))[1] == "band"


# ---- completion


def test_what_is_missing_is_offered_first(small: Small) -> None:
    small.put("shop.melt", small.files["shop.melt"].replace("  modulus   20 MPa ± 10 %", "  # left out"))
    found = offered(small, "shop.melt", "  # left out", "  ‸#")
    assert found[:2] == ["modulus"]


def test_what_a_profile_must_give_is_offered_first(small: Small) -> None:
    found = offered(small, "job.melt", "  layer.height  0.2 mm", "  ‸")
    assert found[0] == "layer.height"
    assert {"pace", "parts", "material", "machines", "prefer", "pin", "throughput", "flow"} <= set(found)


@pytest.mark.parametrize(
    ("name", "old", "new", "first"),
    [
        ("job.melt", "0.2 mm", "0.2 ‸", ["mm", "cm", "m", "um"]),
        ("shop.melt", "20 MPa", "20 M‸", ["MPa"]),
        ("job.melt", "at least quick", "at least ‸", ["quick", "slow"]),
        ("job.melt", "at least quick", "at ‸", ["least", "most"]),
        ("shop.melt", "guide  tube ", "guide  ‸", ["block", "tube"]),
        ("shop.melt", 'typical "such m', '‸ "such m', ["assumed", "measured", "published", "typical"]),
        ("job.melt", "open_tube, open", "open_tube, ‸, open", ["open_block"]),
        ("job.melt", "prefer        throughput", "prefer ‸", ["throughput"]),
        ("job.melt", "prefer        throughput", "pin ‸", ["layer.wait", "speed.contour"]),
        ("job.melt", "material      rubber", "material ‸", ["rubber"]),
        ("job.melt", 'use "shop.melt"', 'use "‸"', ["shop.melt", "trade.melt"]),
        ("job.melt", 'use "shop.melt"', 'use library "materials/u‸"', ["materials/urethanes"]),
        ("shop.melt", "machine open_block from open_tube", "machine open_block from ‸", ["open_tube"]),
        ("shop.melt", "machine open_block from open_tube", "machine open_block ‸", ["from"]),
        ("trade.melt", "guide is block", "guide is ‸", ["block", "tube"]),
        ("trade.melt", "remedy lower gap", "remedy ‸", ["change", "lower", "raise"]),
        ("trade.melt", 'source  assumed "an', 'source  ‸ "an', ["assumed", "practice", "published", "textbook"]),
        ("trade.melt", "gap of machine : length", "gap of ‸", ["machine", "material", "profile"]),
        ("trade.melt", "quick  from", "quick  ‸", ["above", "below", "from", "up"]),
        ("trade.melt", "grade pace by flow", "grade pace by ‸", ["diameter", "flow", "gap"]),
    ],
)
def test_completion(small: Small, name: str, old: str, new: str, first: list[str]) -> None:
    assert offered(small, name, old, new)[: len(first)] == first


def test_what_goes_on_with_the_line_before_is_offered(small: Small) -> None:
    found = offered(small, "trade.melt", '    else   "the drive skips"', "    ‸")
    assert {"else", "remedy", "let", "require"} <= set(found)
    assert "by" not in found


def test_formulas_are_offered_names_and_functions(small: Small) -> None:
    found = offered(small, "trade.melt", "require push <= 20 N", "require push <= ‸")
    assert {"flow", "modulus", "speed.contour", "sqrt", "pi"} <= set(found)
    assert "pace" not in found


def test_a_word_that_was_begun_is_replaced(small: Small) -> None:
    found = complete(*small.typed("job.melt", "layer.height", "layer.he‸"))
    offer = next(o for o in found if o.text == "layer.height")
    assert (offer.range.start.column, offer.range.end.column) == (2, 10)


@pytest.mark.parametrize("new", ['measured "cal‸liper', '# a com‸ment\n  gap 4 mm measured "'])
def test_nothing_is_offered_in_texts_and_comments(small: Small, new: str) -> None:
    assert complete(*small.typed("shop.melt", 'measured "calliper', new)) == []


# ---- outline and layout


def test_outline(small: Small) -> None:
    def told(symbols: list[Symbol] | tuple[Symbol, ...]) -> list[str]:
        return [f"{s.kind} {s.name} {s.detail}".rstrip() for s in symbols]

    found = outline(small.workspace, small.path("job.melt"))
    assert told(found) == ["profile strap"]
    assert told(found[0].inner) == [
        "material rubber material",
        "machine open_tube machine",
        "machine open_block machine",
        "value layer.height 0.2 mm",
        "value parts 4",
        "want pace at least quick",
    ]
    text = Lines(small.files["job.melt"])
    assert text.text[text.offset(found[0].range.start) : text.offset(found[0].range.end)].endswith("}")
    shop = outline(small.workspace, small.path("shop.melt"))
    assert told(shop) == ["material rubber", "machine open_tube", "machine open_block from open_tube"]


def test_layout_changes_only_the_lines_that_differ(small: Small) -> None:
    small.put("job.melt", small.files["job.melt"].replace("  material      rubber", "  material rubber"))
    (edit,) = layout_edits(small.workspace, small.path("job.melt"))
    assert (edit.range.start.line, edit.range.end.line, edit.text) == (3, 4, "  material      rubber\n")


def test_a_text_with_faults_is_not_laid_out(small: Small) -> None:
    small.put("job.melt", small.files["job.melt"].replace("0.2 mm", "0.2 mm mm"))
    assert layout_edits(small.workspace, small.path("job.melt")) == []
