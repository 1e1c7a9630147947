"""What people are told of a text that is at fault: every snapshot shows the source, then the rendered diagnostics.

A case is a text, or several files by name, of which the first is compiled. ``trade.melt`` stands for a small library.
"""

import os
from pathlib import Path

import pytest
from meltwright.compiling import Compiled, compile_file
from meltwright.meaning.loading import DEEPEST, LARGEST
from meltwright.meaning.near import LONGEST_NAME
from meltwright.text.catalogue import CATALOGUE
from meltwright.text.diagnostic import write
from meltwright.text.source import NOWHERE
from syrupy.assertion import SnapshotAssertion

TRADE = """\
quantity diameter of material : length in 1 .. 4 mm
quantity hardness of material : hardness in 10 .. 98 shore_a, 20 .. 85 shore_d
quantity modulus of material : pressure in 1 .. 5000 MPa "Stiffness of the filament."
quantity softening of material : temperature in 30 .. 300 degC
quantity gap of machine : length in 0 .. 40 mm
quantity liner of machine : one of none, fluoropolymer
quantity copies of profile : number in 1 .. 100
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given
setting heat.nozzle : temperature in 180 .. 260 degC step 1 degC
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s
law flowing {
  about "a" source
  textbook "x"
  let flow = speed.contour * layer.height * 1 mm
  require flow <= 20 mm3/s
}
grade strength by flow {
  firm up to 5 mm3/s
  weak above
}
merit throughput = flow
"""
TRADE = TRADE.replace('about "a" source\n  textbook "x"', 'about "a"\n  source textbook "x"')

RUB = """\
material rub {
  diameter 1.75 mm
}
"""
TUBE = """\
machine tube {
  gap 6 mm
}
"""
JOB = """\
profile job {
  material rub
  machines tube
  layer.height 0.2 mm
}
"""
USE = 'use "trade.melt"\n'
ALL = USE + RUB + TUBE + JOB


def job(*lines: str) -> str:
    """Give a whole text whose profile has some lines more."""
    return ALL.replace("0.2 mm\n}", "0.2 mm\n" + "".join(f"  {line}\n" for line in lines) + "}")


def rub(*lines: str) -> str:
    """Give a whole text whose material says these lines."""
    return USE + "material rub {\n" + "".join(f"  {line}\n" for line in lines) + "}\n"


def law(*lines: str) -> str:
    """Give a law with these lines."""
    inner = "".join(f"  {line}\n" for line in ('about "a"', 'source textbook "x"', *lines))
    return USE + "law added {\n" + inner + "}\n"


def letting(formula: str) -> str:
    return law(f"let made = {formula}")


Case = str | dict[str, str]
CASES: dict[str, dict[str, Case]] = {
    "syntax": {
        "five faults in one file": (
            'material a {\n  gap = 3 mm\n  bore 4 mm mesured "x"\n}\nquantity q of machin : length\n'
            'law b {\n  about "x"\n  let push a + b\n  require push < < 3 N\n}\n'
        ),
        "a broken use line does not make names unknown": ALL.replace(USE, "use trade.melt\n"),
        "a broken source is not a missing one": law("let made = gap").replace("source textbook", "source texbook"),
        "a broken declaration does not make its uses unknown": USE
        + "quantity bore of machine length\nmachine tube {\n  bore 2 mm\n}\n"
        + 'law b {\n  about "x"\n  source textbook "x"\n  let area = bore ^\n  let twice = 2 * area\n}\n'
        + "material rub frm base {\n}\nprofile job {\n  material rub\n  machines tube\n}\n",
    },
    "unknown": {
        "unit": rub("diameter 1.75 MM"),
        "unit in another spelling": rub("softening 90 degc"),
        "unit by name": rub("softening 90 celsius"),
        "unit like no other": rub("diameter 1.75 furlongs"),
        "unit in a formula": letting("gap * 3 mmm"),
        "quantity, nearly right": rub("diametre 1.75 mm"),
        "quantity, not at all right": rub("colour 7"),
        "quantity in a formula": letting("diametr * 2"),
        "grade word": job("strength at most frim"),
        "word of a quantity": USE + "machine tube {\n  liner fluropolymer\n}\n",
        "material and machine": USE + RUB + TUBE + "profile job {\n  material rubb\n  machines tub, gantry\n}\n",
        "merit": job("prefer throughputt, surface"),
        "function": letting("sqr(diameter)"),
        "function, not near any": letting("interpolate(diameter)"),
        "dimension": "quantity bore of machine : lenght\n",
        "dimension, not near any": "quantity bore of machine : roundness\n",
        "pin": job('pin heat.nozle = 220 degC because "x"'),
        "setting by its last part": job('pin nozzle = 220 degC because "x"'),
        "want": job("strengh at most firm"),
        "base": USE + "material rub from urethane {\n}\n",
        "scale in a condition": law("when hardness on shore_b", "require gap <= 30 mm"),
        "word in a condition": law("when liner is steel", "require gap <= 30 mm"),
        "remedy": law("require gap <= 30 mm", "  remedy lower gasp"),
        "grade of nothing": USE + "grade g by flo {\n  a up to 1 mm3/s\n  b above\n}\n",
    },
    "dimensions": {
        "value": rub("diameter 20 degC"),
        "value without a unit": rub("diameter 2"),
        "number with a unit": job("copies 3 mm"),
        "difference for a point": rub("softening 90 K"),
        "want": job("flow at most 3 mm"),
        "want on a grade": job("strength at most 3 mm"),
        "pin": job('pin heat.nozzle = 220 mm because "x"'),
        "given setting": ALL.replace("0.2 mm", "0.2 MPa"),
        "believable range": "quantity bore of machine : length in 0 .. 3 MPa\n",
        "range of a setting": "setting bed : temperature in 20 .. 90 mm step 1 K\n",
        "step": "setting bed : temperature in 20 .. 90 degC step 1 mm\n",
        "step without a unit": "setting fan : length in 0 .. 10 mm step 1\n",
        "step with a unit too many": "setting fan : number in 0 .. 10 step 1 mm\n",
        "band of a grade": USE + "grade g by flow {\n  a up to 1 mm\n  b above\n}\n",
        "sum": letting("diameter + modulus"),
        "sum with a bare number": letting("gap + 3"),
        "comparison": law("require gap < modulus"),
        "comparison with a bare number": law("require gap < 3"),
        "two derivations of one name": law("let made = gap")
        + "\n"
        + law("let made = modulus").replace(USE, "").replace("added", "other"),
        "fallback of a quantity": law("let gap = modulus"),
        "exponent with a dimension": letting("2 ^ gap"),
        "exponent that is not constant": letting("gap ^ copies"),
        "exponent too large": letting("gap ^ 1000"),
        "function of a length": letting("log(gap)"),
        "function of unlike things": letting("max(gap, modulus)"),
        "too few arguments": letting("min(gap)"),
        "too many arguments": letting("sqrt(gap, gap)"),
        "integral between unlike ends": letting("integral(x for x from gap to modulus in 4 points)"),
        "points of an integral": letting("integral(x for x from 0 mm to gap in 99 points)"),
        "variable of an integral": letting("integral(gap for gap from 0 mm to 1 mm in 4 points)"),
        "word in a formula": letting("liner * 2"),
        "merit and grade in a formula": letting("throughput + strength"),
    },
    "temperatures and hardness": {
        "adding two points": letting("softening + heat.nozzle"),
        "multiplying a point": letting("2 * softening"),
        "point in a function": letting("exp(softening)"),
        "negated point": letting("-softening"),
        "point and difference compared": law("require softening < 20 K"),
        "absolute of a difference": letting("absolute(softening - 20 degC)"),
        "hardness in a sum": letting("hardness + 3"),
        "hardness compared": law("require hardness <= 90 shore_a"),
        "reading of a length": letting("reading(gap)"),
        "other scale in a tolerance": rub("hardness 85 shore_a ± 2 shore_d"),
        "tolerance of a point in per cent": rub("softening 90 degC ± 5 %"),
    },
    "values": {
        "range the wrong way round": rub("diameter 2 .. 1.5 mm"),
        "range in two dimensions": rub("diameter 1 K .. 2 mm"),
        "outside the believable range": rub("diameter 17.5 mm"),
        "partly outside the believable range": rub("diameter 3.9 ± 0.2 mm"),
        "outside the range of its scale": rub("hardness 95 shore_d"),
        "negative tolerance": rub("diameter 1.75 ± -0.02 mm"),
        "tolerance of another dimension": rub("diameter 1.75 mm ± 2 K"),
        "per cent of which number": USE + TUBE + RUB + JOB.replace("0.2 mm", "0.2 mm\n  copies 50 ± 5 %"),
        "given twice": rub("diameter 1.75 mm", "modulus 20 MPa", "diameter 1.8 mm"),
        "word for a number": rub("diameter thick"),
        "number for a word": USE + "machine tube {\n  liner 3\n}\n",
        "of another owner": rub("gap 3 mm"),
        "setting in a material": rub("heat.nozzle 220 degC"),
        "derived value in a material": rub("flow 3 mm3/s"),
        "grade in a material": rub("strength firm"),
        "huge exponent": rub("diameter 1e999 mm"),
        "tiny exponent": rub("diameter 1e-400 mm"),
        "exponent of many digits": rub("diameter 1e" + "9" * 6000 + " mm"),
        "huge exponent in a formula": letting("gap * 1e999"),
        "many digits": rub("diameter 1." + "7" * 60 + " mm"),
    },
    "definitions": {
        "two materials": USE + RUB + RUB,
        "two quantities": "quantity bore of machine : length\nquantity bore of machine : length\n",
        "a quantity and a setting": "quantity bore of machine : length\nsetting bore : length in 0 .. 3 mm step 1 mm\n",
        "two laws": law("let made = gap") + "\n" + law("let other = gap").replace(USE, ""),
        "a name derived twice in one law": law("let made = gap", "let made = 2 * gap"),
        "a let of the name of a setting": law("let heat.nozzle = softening"),
        "a let of the name of a merit": law("let throughput = gap"),
        "a let of the name of a grade": law("let strength = gap"),
        "a quantity of the name of a constant": "quantity pi of machine : length\n",
        "a let of the name of a constant": law("let gas_constant = gap"),
        "in two files": {"main.melt": USE + 'use "more.melt"\n' + RUB, "more.melt": RUB},
        "a broken quantity": "quantity bore of machine : lenght\nmachine tube {\n  bore 2 mm\n}\n"
        'law a {\n  about "a"\n  source textbook "x"\n  when bore > 0 mm\n  let area = bore ^ 2\n'
        "  require area <= 3 mm2\n    remedy lower bore\n}\n",
        "a broken setting": "setting fan : length in 0 .. 10 mm step 3 mm\n"
        'law a {\n  about "a"\n  source textbook "x"\n  require fan <= 3 mm\n}\nprofile p {\n  fan 3 mm\n'
        '  fan at most 3 mm\n  pin fan = 3 mm because "x"\n}\n',
        "a broken grade": USE
        + RUB
        + TUBE
        + "grade look by flow {\n  fine up to 1 mm3/s\n  rough up to 2 mm3/s\n}\n"
        + JOB.replace("0.2 mm", "0.2 mm\n  look at most fine"),
        "a broken let": letting("gap * nothing") + "merit more = made\n"
        "grade g by made {\n  a up to 3 mm\n  b above\n}\n",
        "words listed twice": "quantity liner of machine : one of none, steel, none\n",
        "a long name": f"quantity {'bore' * 30} of machine : length\n",
        "a long name that is not known": rub("bore" * 30 + " 3 mm"),
    },
    "lattices and grades": {
        "step of zero": "setting fan : length in 0 .. 10 mm step 0 mm\n",
        "range that is no multiple": "setting fan : length in 0 .. 10 mm step 3 mm\n",
        "too many steps": "setting fan : length in 0 .. 10 mm step 0.000001 mm\n",
        "too many decimals": "setting fan : length in 0 .. 3e-15 mm step 1e-15 mm\n",
        "no range": "setting fan : length in 10 mm step 1 mm\n",
        "ends in two units": "setting fan : length in 5 mm .. 1 cm step 0.1 cm\n",
        "grade of one band": USE + "grade g by flow {\n  a above\n}\n",
        "grade out of order": USE + "grade g by flow {\n  a up to 2 mm3/s\n  b up to 1 mm3/s\n  c above\n}\n",
        "grade of mixed edges": USE + "grade g by flow {\n  a up to 2 mm3/s\n  b below\n}\n",
        "grade of words": USE + "grade g by liner {\n  a up to 2 mm\n  b above\n}\n",
        "grade of a hardness": USE + "grade g by hardness {\n  a up to 60 shore_a\n  b above\n}\n",
    },
    "laws": {
        "without about and source": "law a {\n  let x = 3\n}\n",
        "empty": "law a {\n}\n",
        "without effect": 'law a {\n  about "a"\n  source practice "x"\n}\n',
        "two sources": law("let x = gap").replace("  let", '  source practice "y"\n  let'),
        "checked and not": law("let x = gap", 'checked "y" by "a.py"', 'unchecked "z"', 'checked "y" by "b.py::c"'),
        "a check twice": law("let x = gap", 'checked "y" by "a.py"', 'checked "y" by "a.py"'),
        "two reasons for no check": law("let x = gap", 'unchecked "y"', 'unchecked "z"'),
        "circle of one": letting("made + gap"),
        "circle of two": law("let one = 2 * two", "let two = one + gap"),
        "circle of three": law("let a = b", "let b = c", "let c = a", "let d = 2 * a"),
        "when on a derived quantity": law("when flow > 3 mm3/s", "require gap <= 30 mm"),
        "when on a setting": law("when heat.nozzle > 200 degC", "require gap <= 30 mm"),
        "when with a formula": law("when 2 * gap > 3 mm", "require gap <= 30 mm"),
        "when of numbers alone": law("when 2 > 3", "require gap <= 30 mm"),
        "when asking a number for its scale": law("when gap on shore_a", "require gap <= 30 mm"),
        "when asking a number for its word": law("when gap is none", "require gap <= 30 mm"),
        "when on the word of a setting": law("when heat.nozzle is hot", "require gap <= 30 mm"),
        "remedy for a derived quantity": law("require gap <= 30 mm", "  remedy lower flow"),
    },
    "inheritance": {
        "circle of one": USE + "material a from a {\n}\n",
        "circle of three": USE + "material a from c {\n}\nmaterial b from a {\n}\nmaterial c from b {\n}\n"
        "material d from c {\n}\n",
        "base of another kind": USE + TUBE + "material rub from tube {\n}\n",
    },
    "profiles": {
        "none": USE + RUB + TUBE,
        "without material and machines": USE + RUB + TUBE + "profile job {\n  layer.height 0.2 mm\n}\n",
        "without anything to name": USE + "profile job {\n}\n",
        "a machine listed twice": ALL.replace("machines tube", "machines tube, tube"),
        "two materials": job("material rub"),
        "a merit preferred twice": job("prefer throughput, throughput"),
        "a bad share": job("prefer throughput giving 2 mm"),
        "a given setting is missing": ALL.replace("  layer.height 0.2 mm\n", ""),
        "a setting that the compiler chooses": job("heat.nozzle 220 degC"),
        "a grade given": job("strength firm"),
        "a derived value given": job("flow 3 mm3/s"),
        "a pin off the lattice": job('pin heat.nozzle = 220.5 degC because "x"'),
        "a pin beyond the range": job('pin heat.nozzle = 300 degC because "x"'),
        "a pin far beyond the range": job('pin heat.nozzle = 1e200 degC because "x"'),
        "a pin without a reason": job("pin heat.nozzle = 220 degC"),
        "a pin on a quantity": job('pin gap = 3 mm because "x"'),
        "a pin on a derived value": job('pin flow = 3 mm3/s because "x"'),
        "a pin with a range": job('pin heat.nozzle = 220 .. 230 degC because "x"'),
        "a pin with a tolerance": job('pin heat.nozzle = 220 ± 5 degC because "x"'),
        "a pin with a word": job('pin heat.nozzle = hot because "x"'),
        "a given setting with a range": ALL.replace("0.2 mm", "0.2 .. 0.3 mm"),
        "given and pinned": job('pin layer.height = 0.3 mm because "x"'),
        "a want with a range": job("flow at most 2 .. 3 mm3/s"),
        "a want with a word for a number": job("flow at most much"),
        "a want on an input": job("gap at most 3 mm"),
        "a want said twice": job("flow at most 3 mm3/s", "flow at most 4 mm3/s"),
    },
    "on a machine": {
        "a missing input of the material": law("require modulus >= 3 MPa") + RUB + TUBE + JOB,
        "a missing input of the machine": law("when liner is fluoropolymer", "require heat.nozzle <= 240 degC")
        + RUB
        + TUBE
        + "machine bench from tube {\n}\n"
        + JOB.replace("tube", "tube, bench"),
        "a missing input of the profile": law("require copies <= 3") + RUB + TUBE + JOB,
        "a missing input without a range": "quantity size of machine : area\n"
        + law("require size <= 3 mm2")
        + RUB
        + TUBE
        + JOB,
        "many missing inputs in one report": "".join(
            f"quantity part_{n} of machine : length in 1 .. 9 mm\n" for n in "abcde"
        )
        + law(*(f"require part_{n} <= 9 mm" for n in "abcde"))
        + RUB
        + TUBE
        + "machine whole {\n"
        + "".join(f"  part_{n} 2 mm\n" for n in "abcde")
        + "}\n"
        + JOB,
        "two laws at once": law("let made = gap")
        + law("when gap > 2 mm", "let made = 2 * gap", "require made <= 30 mm")
        .replace(USE, "")
        .replace("added", "bent")
        + RUB
        + TUBE
        + "machine bench {\n  gap 7 mm\n}\n"
        + JOB.replace("tube", "tube, bench"),
        "nothing derives it": law("when gap > 20 mm", "let made = gap")
        + law("require made <= 3 mm").replace(USE, "").replace("added", "needing")
        + RUB
        + TUBE
        + JOB,
        "a circle through two fallbacks": law("let modulus = 1 MPa * softening_part").replace(
            "}", "  let softening_part = modulus / 2 MPa\n  require modulus >= 3 MPa\n}"
        )
        + RUB
        + TUBE
        + JOB,
        "division by an interval that holds zero": law("require 3 mm2 / (gap - 6 mm) <= 3 mm")
        + RUB
        + TUBE.replace("6 mm", "6 ± 1 mm")
        + JOB,
        "division by zero": law("require 3 mm2 / (gap - gap) <= 3 mm") + RUB + TUBE + JOB,
        "logarithm outside its domain": law("require log(gap / 1 mm) <= 3")
        + RUB
        + TUBE.replace("6 mm", "0 .. 2 mm")
        + JOB,
        "root outside its domain": law("require sqrt(gap - 7 mm) <= 3 mm ^ 0.5") + RUB + TUBE + JOB,
    },
    "files": {
        "empty": "",
        "only a comment": "# nothing yet\n",
        "circle of two": {"main.melt": 'use "b.melt"\n' + ALL, "b.melt": 'use "main.melt"\n' + "merit m = flow\n"},
        "circle of three": {
            "main.melt": 'use "b.melt"\n' + ALL,
            "b.melt": 'use "c"\nmerit m = flow\n',
            "c.melt": 'use "main"\nmerit n = flow\n',
        },
        "leaving the project": 'use "../../other.melt"\n' + ALL,
        "absolute": 'use "/etc/passwd"\n' + ALL,
        "a path of another system": 'use "parts\\\\shop.melt"\n' + ALL,
        "missing": 'use "trad.melt"\n' + RUB + TUBE + JOB,
        "missing in a folder": 'use "parts/shop"\n' + RUB,
        "used twice": USE + 'use "trade"\n' + RUB + TUBE,
        "a path with nothing in it": 'use ""\n' + RUB,
        "leaving the library": 'use library "../compiler/cli"\n' + RUB,
    },
    "many": {
        "ten mistakes, ten reports": USE
        + "quantity bore of machine : lenght\n"
        + "material rub from urethan {\n  diameter 1.75 MM\n  modulus 20 mm\n}\n"
        + "machine tube {\n  gap 60 mm\n  bore 2 mm\n  linner none\n}\n"
        + 'law a {\n  about "a"\n  let made = bore + flw\n  require made <= 2 * heat.nozzle\n}\n'
        + "profile job {\n  material rub\n  machines tube\n  layer.height 0.204 mm\n  strength at most frm\n"
        + "  prefer made_up\n  made at most 3 mm\n}\n",
    },
}
GROUPS = list(CASES)


def compile_case(case: Case, folder: Path) -> Compiled:
    """Write the files of a case and compile the first."""
    files = {"main.melt": case} if isinstance(case, str) else case
    for name, text in {"trade.melt": TRADE, **files}.items():
        (folder / name).write_text(text, encoding="utf-8")
    return compile_file(folder / next(iter(files)))


def shown(name: str, case: Case, found: Compiled) -> str:
    """Show a case: its name, its source, and what is said of it."""
    files = {"": case} if isinstance(case, str) else case
    parts = [f"==== {name}"]
    for file, text in files.items():
        short = "\n".join(line if len(line) <= 130 else f"{line[:60]} ... {line[-20:]}" for line in text.splitlines())
        parts += [f"---- {file}".rstrip(" -") or "----", short]
    return "\n".join([*parts, "----", write(found.diagnostics, found.sources)])


@pytest.mark.parametrize("group", GROUPS)
def test_reports(group: str, tmp_path: Path, snapshot: SnapshotAssertion) -> None:
    parts = []
    for number, (name, case) in enumerate(CASES[group].items()):
        folder = tmp_path / str(number)
        folder.mkdir()
        found = compile_case(case, folder)
        assert found.failed, name
        assert not found.solutions, name
        for d in found.diagnostics:
            assert d.span != NOWHERE, name
            assert d.help, name
            assert len(d.message) < 300, name
        parts.append(shown(name, case, found))
    assert "\n".join(parts) == snapshot


def codes(case: Case, folder: Path) -> list[str]:
    return [d.code for d in compile_case(case, folder).diagnostics if d.is_error]


def test_the_text_behind_the_cases_is_good(tmp_path: Path) -> None:
    # Its only law does not look at the nozzle's temperature, and is told so.
    assert [d.code for d in compile_case(ALL, tmp_path).diagnostics] == ["M409"]


def test_a_missing_library_file_lists_others(tmp_path: Path) -> None:
    (fault,) = compile_case('use library "tradee"\n' + RUB, tmp_path).diagnostics
    assert (fault.code, fault.help) == ("M203", "did you mean trade?")
    (fault,) = compile_case('use library "no_such_thing"\n' + RUB, tmp_path).diagnostics
    assert fault.code == "M203" and fault.help.startswith("the library has trade, ")


# ---- advice that is followed literally


def test_a_missing_input_is_cured_by_the_line_that_is_advised(tmp_path: Path) -> None:
    text = law("require modulus >= 0.5 MPa") + RUB + TUBE + JOB
    (fault,) = compile_case(text, tmp_path).diagnostics
    line = fault.help.split("like: ")[1]
    assert not compile_case(text.replace("1.75 mm\n", f"1.75 mm\n  {line}\n"), tmp_path).failed


def test_a_missing_input_of_the_library_is_given_in_an_own_material(tmp_path: Path) -> None:
    text = (
        'use library "materials/polylactide"\nquantity sheen of material : number in 0 .. 1\n'
        + law("require sheen <= 2").replace(USE, "")
        + "machine tube {\n}\nprofile job {\n  material polylactide\n  machines tube\n}\n"
    )
    (fault,) = [d for d in compile_case(text, tmp_path).diagnostics if "sheen" in d.message]
    first, second = fault.help.split("\n")
    assert fault.span.file == "main.melt"
    assert first == "write: material my_polylactide from polylactide { sheen 0 .. 1 }"
    assert second == "and name it here: material my_polylactide"
    cured = text.replace("material polylactide", "material my_polylactide") + first.removeprefix("write: ") + "\n"
    assert not [d for d in compile_case(cured, tmp_path).diagnostics if "sheen" in d.message]


def test_a_missing_setting_is_cured_by_the_line_that_is_advised(tmp_path: Path) -> None:
    text = ALL.replace("  layer.height 0.2 mm\n", "")
    (fault,) = compile_case(text, tmp_path).diagnostics
    line = fault.help.removeprefix("add: ")
    assert not compile_case(text.replace("machines tube\n", f"machines tube\n  {line}\n"), tmp_path).failed


# ---- files as they are found


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def found(path: Path) -> tuple[str, str, str]:
        (fault,) = compile_file(path).diagnostics
        return fault.code, fault.message, fault.span.file

    (tmp_path / "folder.melt").mkdir()
    assert found(tmp_path / "folder.melt") == ("M105", "folder.melt cannot be read: it is a folder", "folder.melt")
    assert found(tmp_path / "none.melt") == ("M101", "there is no file none.melt", "none.melt")
    os.mkfifo(tmp_path / "pipe.melt")
    assert found(tmp_path / "pipe.melt")[:2] == ("M105", "pipe.melt cannot be read: it is not a file")
    (tmp_path / "loop.melt").symlink_to(tmp_path / "loop.melt")
    assert found(tmp_path / "loop.melt")[0] == "M105"
    assert found(tmp_path / ("x" * 5000))[0] == "M105"
    assert found(tmp_path / "a\0b")[0] == "M105"
    (tmp_path / "latin.melt").write_bytes("# caf\xe9\n".encode("latin-1"))
    (tmp_path / "rich.melt").write_bytes(b"{\\rtf1 text}")
    assert found(tmp_path / "rich.melt")[:2] == (
        "M106",
        "rich.melt is a document with formatting (RTF), not plain text",
    )
    assert found(tmp_path / "latin.melt")[:2] == ("M102", "latin.melt is not UTF-8 text (byte 5)")
    (tmp_path / "large.melt").write_bytes(b"# \n" * 1_700_000)
    assert found(tmp_path / "large.melt")[0] == "M103"
    (tmp_path / "large.melt").write_bytes(b"#" * LARGEST)
    assert found(tmp_path / "large.melt")[0] == "M104"
    monkeypatch.setattr(Path, "read_bytes", _forbidden)
    (tmp_path / "secret.melt").write_text(RUB)
    assert found(tmp_path / "secret.melt")[:2] == ("M105", "secret.melt cannot be read: permission denied")


def _forbidden(path: Path) -> bytes:
    raise PermissionError(13, "Permission denied")


def test_imports_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "folder.melt").mkdir()
    (tmp_path / "latin.melt").write_bytes("# caf\xe9\n".encode("latin-1"))
    (tmp_path / "loop.melt").symlink_to(tmp_path / "loop.melt")
    uses = ("folder", "latin", "loop", "x" * 5000, "a/" * 3000 + "b", "trade.melt/inner", "a\0b")
    text = "".join(f'use "{u}"\n' for u in uses) + "material rub {\n  colour 7 mm\n}\n"
    faults = compile_case(text, tmp_path).diagnostics
    assert [d.code for d in faults] == ["M105", "M102", "M105", "M203", "M203", "M203", "M203"]
    assert [d.span.file for d in faults] == ["main.melt"] * 7
    assert all(len(d.message) < 200 for d in faults)


def test_imports_stay_inside_the_project(tmp_path: Path) -> None:
    project = tmp_path / "project"
    (project / "jobs").mkdir(parents=True)
    (project / "shop.melt").write_text(TUBE)
    (tmp_path / "outside.melt").write_text(RUB)
    (project / "jobs" / "link.melt").symlink_to(tmp_path / "outside.melt")
    main = 'use "../shop"\nuse "link"\nuse "../../outside"\nuse library "../README.md"\n' + "merit m = 1\n"
    assert codes(main, project / "jobs") == ["M202", "M202", "M202", "M202"]
    (project / ".git").mkdir()
    assert codes(main, project / "jobs") == ["M202", "M202", "M202"]
    faults = compile_case(main, project / "jobs").diagnostics
    assert faults[0].help == "copy the file into the project, below its folder project, and use it from there"


def test_a_folder_called_library_is_the_authors_own(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    (tmp_path / "library" / "trade.melt").write_text("machine mine {\n  gap 99 mm\n}\n")
    faults = compile_case({"main.melt": USE + 'use "library/trade"\nuse library "trade"\n'}, tmp_path).diagnostics
    assert "./library/trade.melt" in {d.span.file for d in faults}


def test_a_long_chain_of_files_is_refused(tmp_path: Path) -> None:
    files: dict[str, str] = {"main.melt": 'use "f0"\n'}
    for i in range(300):
        files[f"f{i}.melt"] = f'use "f{i + 1}"\n'
    files["f300.melt"] = RUB
    (fault,) = compile_case(files, tmp_path).diagnostics
    assert (fault.code, fault.span.file) == ("M204", f"f{DEEPEST - 1}.melt")


# ---- sizes


def test_ten_thousand_parentheses(tmp_path: Path) -> None:
    assert codes(letting("(" * 10_000 + "gap" + ")" * 10_000), tmp_path) == ["M116"]


def test_ten_thousand_items_in_a_block(tmp_path: Path) -> None:
    good = "".join(f"  let made{i} = {i} * gap\n" for i in range(10_000))
    assert codes(law("let x = gap").replace("  let x = gap\n", good) + RUB + TUBE + JOB, tmp_path) == []


def test_ten_thousand_faults_are_not_all_reported(tmp_path: Path) -> None:
    found = codes(rub(*(f"colour{i} 3 mm" for i in range(10_000))), tmp_path)
    assert found == ["M214"] * 100 + ["M121"]


def test_five_hundred_levels_of_inheritance(tmp_path: Path) -> None:
    lines = "".join(f"material m{i + 1} from m{i} {{\n  diameter 1.{i % 90 + 10} mm\n}}\n" for i in range(500))
    text = USE + RUB.replace("rub", "m0") + lines + TUBE + JOB.replace("rub", "m500")
    assert codes(text, tmp_path) == []
    circle = text.replace("material m0 {", "material m0 from m500 {")
    (fault,) = compile_case(circle, tmp_path).diagnostics
    assert fault.code == "M213" and len(fault.message) < 200


CHAIN = [f"let made{i + 1} = made{i} + 1 mm" for i in range(1000)]


def test_a_chain_of_a_thousand_lets_is_checked_and_lowered(tmp_path: Path) -> None:
    from meltwright.meaning.checking import check_file
    from meltwright.network.lowering import lower
    from meltwright.text.diagnostic import Diagnostic

    text = law("let made0 = gap", *CHAIN, "require made1000 <= 3000 mm") + RUB + TUBE + JOB
    for name, content in (("main.melt", text), ("trade.melt", TRADE)):
        (tmp_path / name).write_text(content, encoding="utf-8")
    model, faults, _ = check_file(tmp_path / "main.melt")
    assert model is not None, faults
    found: list[Diagnostic] = []
    network = lower(model, model.profiles["job"], "tube", found)
    assert network is not None and not found
    assert "made1000" in network.derived


def test_a_chain_of_a_thousand_lets_is_solved(tmp_path: Path) -> None:
    text = law("let made0 = gap", *CHAIN, "require made1000 <= 3000 mm") + RUB + TUBE + JOB
    assert codes(text, tmp_path) == []


def test_a_circle_of_a_thousand_lets(tmp_path: Path) -> None:
    (fault,) = compile_case(law("let made0 = made1000", *CHAIN), tmp_path).diagnostics
    assert fault.code == "M229" and len(fault.message) < 200 and len(fault.related) <= 5


def test_large_numbers_inside_a_formula(tmp_path: Path) -> None:
    for formula in ("gap ^ (1e200 * 1e200)", "2 ^ (9e199 * 9e199)", "gap ^ 1e99999999", "2 ^ (-1e150)"):
        assert codes(letting(formula), tmp_path) in (["M307"], ["M119"]), formula


# ---- names that are allowed


def test_names_like_keywords_and_shared_names(tmp_path: Path) -> None:
    text = USE + RUB.replace("rub", "material") + TUBE.replace("tube", "material")
    text += "profile profile {\n  material material\n  machines material\n  layer.height 0.2 mm\n}\n"
    assert codes(text, tmp_path) == []


def test_the_longest_name(tmp_path: Path) -> None:
    name = "n" * LONGEST_NAME
    assert codes(ALL.replace("rub", name), tmp_path) == []
    assert codes(ALL.replace("rub", name + "n"), tmp_path) == ["M243"]


# ---- the catalogue


@pytest.mark.parametrize("code", sorted(c for c in CATALOGUE if c.startswith(("M2", "M3", "M40", "M41"))))
def test_every_message_of_these_floors_is_shown_by_a_case(code: str) -> None:
    shown_codes = (Path(__file__).parent / "__snapshots__" / "test_faults.ambr").read_text(encoding="utf-8")
    assert f"[{code} " in shown_codes or code in ELSEWHERE


ELSEWHERE = {
    "M204": "test_a_long_chain_of_files_is_refused",
    "M223": "tests/meaning/test_model.py",
    "M409": "not reported yet",
    "M412": "tests/test_cli.py",
    "M413": "tests/test_cli.py",
}
