"""Every message of the program: code, slug, severity, sentence and help, in one place.

Codes are stable and grouped by floor (``GROUPS``). A code that is no longer used is never given to something else.
Each has a page in ``pages/``, which ``meltwright explain`` shows.

Retired: M628 (a name map names a setting that the answer lacks; the map is held against the settings before).
"""

import re
from dataclasses import dataclass

GROUPS = {
    "M1": "text and syntax",
    "M2": "names and values",
    "M3": "dimensions",
    "M4": "a profile on a machine, and requests",
    "M5": "solving",
    "M6": "outputs",
    "M7": "two sides compared",
    "M8": "starting and editors",
}
"""What the first figure of a code says."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A kind of fault: how it is named, how bad it is, what is said and what is advised."""

    slug: str
    message: str
    help: str = ""
    severity: str = "error"


CATALOGUE: dict[str, Entry] = {
    # ---- text and syntax
    "M101": Entry("no-file", "there is no file {path}", "check the spelling of the path"),
    "M102": Entry("not-text", "{path} is not UTF-8 text (byte {offset})", "save the file as UTF-8"),
    "M103": Entry(
        "too-large",
        "{path} has {size} bytes, more than a settings file can need",
        "split it; the limit is {limit} bytes",
    ),
    "M104": Entry("empty-file", "{path} says nothing", "write a profile, or remove the file"),
    "M105": Entry("unreadable", "{path} cannot be read: {reason}", "check what the path is and who may read it"),
    "M106": Entry(
        "document",
        "{path} is {kind}, not plain text",
        "save it as plain text (UTF-8), in an editor for plain text",
    ),
    "M110": Entry("unexpected", "unexpected {found} {place}", "{advice}"),
    "M111": Entry("cut-short", "this line ends too early, after {after}", "{advice}"),
    "M112": Entry("unclosed-text", "this text has no closing quote", 'end it with " on the same line'),
    "M113": Entry("stray-character", "{found} means nothing here", "{advice}"),
    "M114": Entry("unclosed-block", "this block is never closed", "end it with }} on a line of its own"),
    "M115": Entry("stray-brace", "this }} is one too many", "remove it, or look for a missing {{ above"),
    "M116": Entry("too-deep", "parentheses are nested {depth} deep", "name the parts with let; the limit is {limit}"),
    "M117": Entry("unclosed-parenthesis", "this parenthesis is never closed", "add the missing )"),
    "M118": Entry("missing-block", "{what} needs a block", "write {{ after it, and }} on a line of its own at the end"),
    "M119": Entry(
        "too-long-number",
        "{number} is beyond what a number may be",
        "write at most 40 digits, and an exponent of ten between -200 and 200",
    ),
    "M120": Entry("too-long", "this expression has more than {limit} operators", "name its parts with let"),
    "M121": Entry(
        "too-many-faults", "more than {limit} faults; the rest of {path} is not reported", "mend these first"
    ),
    "M122": Entry(
        "format-failed",
        "the layout of {path} could not be proved to say the same, so it is left as it is",
        "this is a fault of the program; please report it",
    ),
    # ---- names and values
    "M220": Entry("wrong-owner", "{name} belongs to a {owner}, not to a {kind}", "write it in the {owner}"),
    "M201": Entry("import-cycle", "this file is already being read: {chain}", "remove one of these use lines"),
    "M202": Entry("import-outside", "{path} leaves {root}", "{advice}"),
    "M204": Entry(
        "import-too-deep", "files use one another more than {limit} deep", "use them from fewer files, side by side"
    ),
    "M203": Entry("import-missing", "there is no {what} {path}", "{near}"),
    "M205": Entry("used-twice", "{path} is used already, further up in this file", "remove this use line", "warning"),
    "M210": Entry("defined-twice", "{kind} {name} is defined twice", "rename or remove one of the two"),
    "M211": Entry("given-twice", "{name} is given twice here", "keep one of the two lines"),
    "M212": Entry("unknown-entity", "there is no {kind} {name}", "{near}"),
    "M213": Entry("inherits-itself", "{name} inherits from itself: {chain}", "change one of the from parts"),
    "M214": Entry("unknown-name", "nothing is called {name}", "{near}"),
    "M215": Entry("unknown-unit", "{unit} is not a unit", "{near}"),
    "M216": Entry("unknown-dimension", "{name} is not a dimension", "{near}"),
    "M217": Entry("unknown-word", "{name} is not one of the words for {quantity}", "write {words}{near}"),
    "M218": Entry("unknown-function", "there is no function {name}", "{near}"),
    "M219": Entry("argument-count", "{name} takes {wanted}, not {found}", "write {pattern}"),
    "M221": Entry("range-reversed", "the range runs from {low} down to {high}", "write {turned}"),
    "M222": Entry(
        "not-believable", "{value} is outside what is believable for {name}: {range}", "check the number and its unit"
    ),
    "M223": Entry(
        "no-evidence", "{name} has no evidence", 'write measured, published, typical or assumed "..." after it'
    ),
    "M224": Entry("negative-tolerance", "a tolerance cannot be negative", "write it without the sign"),
    "M225": Entry("law-incomplete", "law {name} has no {part}", "{advice}"),
    "M226": Entry("part-twice", "this {part} is said twice", "keep one of the two lines"),
    "M227": Entry("bad-lattice", "{why}", "write in LOW .. HIGH UNIT step NUMBER UNIT"),
    "M228": Entry("bad-grade", "{why}", "list the bands from best to worst; the last is 'above' or 'below'"),
    "M229": Entry("circular-let", "{name} is derived from itself: {chain}", "derive one of these names from inputs"),
    "M230": Entry(
        "not-an-input",
        "{name} is not an input, so a when cannot look at it",
        "use a quantity of a material, machine or profile",
    ),
    "M231": Entry("name-taken", "{name} is already a {kind}", "choose another name"),
    "M232": Entry("not-a-number-value", "{name} takes {wanted}, not {found}", "{advice}"),
    "M233": Entry(
        "not-bounded",
        "{name} is an input, given in the {owner}, so it cannot be wanted",
        "want a grade, a merit, a derived quantity or a setting",
    ),
    "M234": Entry("not-a-setting", "{name} is {what}, so it cannot be pinned", "{advice}"),
    "M235": Entry(
        "chosen-setting", "{name} is chosen by the compiler", 'to fix it, write: pin {name} = {value} because "..."'
    ),
    "M236": Entry("pin-without-reason", "a pin must say why", 'write: {pin} because "..."'),
    "M237": Entry("not-a-merit", "{name} is not a merit", "{near}"),
    "M238": Entry("bad-share", "{found} is not a share", "write a percentage from 0 to 100, like 2 %"),
    "M239": Entry(
        "misplaced-remedy",
        "a remedy for {name}, which is neither an input nor a setting",
        "name a quantity or a setting",
    ),
    "M240": Entry("point-count", "an integral takes 1 to 32 points, not {found}", "write a whole number from 1 to 32"),
    "M241": Entry(
        "law-without-effect", "law {name} derives and limits nothing", "add a let, a require, a caution or a prepare"
    ),
    "M242": Entry(
        "when-too-complex",
        "a when compares quantities and numbers, not {found}",
        "write a number or the name of a quantity on each side",
    ),
    "M243": Entry(
        "too-long-name", "the name {name} has {length} characters", "choose a shorter one; the limit is {limit}"
    ),
    "M244": Entry("listed-twice", "{name} is listed twice", "remove one of the two"),
    "M245": Entry("not-a-quantity", "{name} is {what}, and only quantities are given here", "{advice}"),
    "M246": Entry(
        "not-in-formulas", "{name} is a {kind}; formulas use quantities, settings and what a let derives", "{advice}"
    ),
    "M247": Entry("two-readings", "{value} can be read in two ways", "write {readings}"),
    "M260": Entry(
        "checked-and-not",
        "law {name} says that it was checked, and why it was not",
        "keep the checked lines or the unchecked one",
    ),
    # ---- dimensions
    "M301": Entry("wrong-dimension", "{name} is {wanted}, and {found_text} is {found}", "{advice}"),
    "M302": Entry("unlike-terms", "{left} and {right} cannot be {verb}", "{advice}"),
    "M303": Entry(
        "needs-number", "{what} needs a plain number, not {found}", "divide by a reference of the same dimension"
    ),
    "M304": Entry(
        "temperature-point",
        "a temperature point cannot be {verb}",
        "write absolute(...) for kelvins, or subtract a point first",
    ),
    "M305": Entry(
        "hardness-scale",
        "a hardness reading cannot be {verb}",
        "read it with reading(...) in a law that says 'when ... on' its scale",
    ),
    "M306": Entry(
        "bad-exponent",
        "an exponent here must be a constant number",
        "a value with a dimension takes a constant exponent",
    ),
    "M307": Entry("exponent-range", "this exponent is beyond -{limit} .. {limit}", "write an exponent in that range"),
    # ---- a profile on a machine
    "M401": Entry(
        "no-profile",
        "{path} has no profile",
        "write profile NAME {{ ... }}; one is started by: meltwright new profile NAME",
    ),
    "M402": Entry("profile-incomplete", "profile {name} names no {part}", "{advice}"),
    "M403": Entry("missing-input", "{owner} {entity} does not give {name}", "{advice}"),
    "M404": Entry("missing-setting", "{name} is not given in profile {profile}", "add: {name} {example}"),
    "M405": Entry("off-lattice", "{value} is not on the lattice of {name}", "write {near}"),
    "M406": Entry("beyond-limit", "{value} is outside the range of {name}: {range}", "stay inside {range}"),
    "M407": Entry(
        "law-clash",
        "{name} is derived by two laws at once on {machine}",
        "make their when conditions exclude each other",
    ),
    "M408": Entry("nothing-derives", "nothing derives {name} for {profile} on {machine}", "{advice}"),
    "M409": Entry(
        "unbound-setting",
        "no law limits {name} on {machine}, so any value would do",
        "pin it, or limit it with a law",
        "warning",
    ),
    "M410": Entry("pin-range", "{name} takes one exact number, not {found}", "write: {advice}"),
    "M411": Entry("pinned-twice", "{name} is both given and pinned", "keep one of the two lines"),
    "M412": Entry("no-such-machine", "the profile does not name a machine {name}", "{near}"),
    "M413": Entry("no-such-setting", "there is no setting {name} to explain", "{near}"),
    "M415": Entry("many-missing-inputs", "{owner} {entity} does not give {count} quantities: {names}", "{advice}"),
    "M420": Entry(
        "not-asked",
        "{found} does not set a name to a value",
        "write NAME = VALUE, or to vary it: NAME = LOW .. HIGH UNIT in N steps",
    ),
    "M421": Entry(
        "cannot-be-set",
        "{name} is {what}, so it cannot be set",
        "set what it comes from: a quantity of material, machine or profile, or a setting",
    ),
    "M422": Entry(
        "bad-steps",
        "'{found}' does not say over how many values",
        "write 'in N steps' at the end: N values, 2 to {most}, the first and the last at the ends of the range",
    ),
    "M423": Entry(
        "nothing-varies",
        "{name} = {found} leaves nothing to vary",
        "write a range: {name} = LOW .. HIGH UNIT in N steps, or leave 'in N steps' away",
    ),
    "M424": Entry(
        "too-many-varied",
        "{count} names are varied: {names}",
        "vary one or two, and give each of the others one value: NAME = VALUE",
    ),
    "M425": Entry("too-many-points", "these are {count} points; {most} are the most", "vary in fewer steps"),
    "M426": Entry(
        "nothing-to-draw",
        "a picture is drawn over a varied value, and none is varied",
        "vary one: NAME = LOW .. HIGH UNIT in N steps",
    ),
    "M427": Entry("picture-name", "{path} is not the name of an SVG file", "write a name that ends in .svg"),
    "M430": Entry("no-such-entry", "the library has nothing called {name}", "{near}"),
    "M431": Entry("nothing-leads", "{name} is {what}, so nothing leads from it", "{advice}"),
    "M432": Entry("no-such-code", "there is no code {name} to explain", "{near}"),
    # ---- solving
    "M501": Entry("divides-by-zero", "this divides by {what}, which may be zero: {range} on {machine}", "{advice}"),
    "M502": Entry("undefined", "{what} is not defined for {range} on {machine}", "{advice}"),
    "M503": Entry("conflict", "nothing holds for {profile} on {machine}", "{advice}"),
    "M504": Entry(
        "stated-only",
        "on {machine} nothing holds for all values in the ranges, but something does at the stated ones",
        "{advice}",
        "warning",
    ),
    "M505": Entry(
        "unproved",
        "no answer was proved for {profile} on {machine} within {limit} boxes",
        "let it look at more boxes: --effort {more}, or give the inputs narrower ranges",
    ),
    "M506": Entry(
        "check-failed",
        "the independent check does not confirm the answer for {profile} on {machine}: {why}",
        "this is a fault of the program; please report it",
    ),
    "M507": Entry(
        "not-certified",
        "the search for {profile} on {machine} ended after {limit} boxes: what it found holds, but there may be better",
        "let it look at more boxes: --effort {more}",
        "warning",
    ),
    "M508": Entry(
        "want-dropped",
        "the want {want} cannot be met on {machine}",
        "it says 'if possible', so it was set aside",
        "warning",
    ),
    # ---- outputs
    "M601": Entry("bad-target", "target {name} cannot be used: {why}", "{advice}"),
    "M602": Entry("bad-template", "template {name} failed: {why}", "check the names it uses against targets/README.md"),
    "M603": Entry("cannot-write", "{path} cannot be written: {reason}", "choose another --out folder"),
    "M604": Entry(
        "same-output",
        "{other} has a profile {name} too, so their files would overwrite each other",
        "rename one of them, or compile the files into folders of their own",
    ),
    "M605": Entry(
        "output-missing", "{path} is not there, and the sources give it", "run: {command}, and keep what it writes"
    ),
    "M606": Entry(
        "output-stale",
        "{path} is not what the sources give now, from this line on",
        "run: {command}, and review what changes",
    ),
    "M607": Entry(
        "output-edited",
        "{path} is not what its sources give, and they are the same as when it was made: it was edited, or its target was",
        "make the change in the text, not in the output; then run: {command}",
    ),
    "M608": Entry(
        "output-superfluous",
        "{path} is not among what the sources give",
        "remove it; where the folder holds the outputs of other files too, name these in the same command",
    ),
    "M609": Entry("output-unreadable", "{path} cannot be compared: {reason}", "run: {command}"),
    "M610": Entry(
        "no-target",
        "{path} holds no target",
        "name a folder with a target.toml, or one whose folders have one each; targets/README.md shows how to write it",
    ),
    "M611": Entry("same-target", "there is another target called {name}", "rename the folder of one of them"),
    "M612": Entry("no-such-target", "there is no target {name}", "{near}"),
    "M613": Entry(
        "same-file",
        "targets {other} and {name} both write {path}",
        "change the path in the manifest of one of them, or choose one with --only",
    ),
    "M614": Entry("bad-names", "the name map of target {name} cannot be used: {why}", "{advice}"),
    "M615": Entry(
        "not-a-setting-to-name", "the name map of target {target} says {setting}, which is no setting", "{near}"
    ),
    "M616": Entry("impossible-unit", "{setting} cannot be written in {unit}, {why}", "{advice}"),
    "M617": Entry(
        "name-given-twice", "{name} is written for {other} and for {setting}", "give one of them another name"
    ),
    "M618": Entry("named-and-left-out", "{setting} is named, and left out too", "keep one of the two lines"),
    "M619": Entry(
        "setting-not-named",
        "target {target} does not write {settings}, of which its name map says nothing",
        "list in left_out what shall not be written, and name the others below [names]:\n{lines}",
        "warning",
    ),
    "M620": Entry(
        "too-few-decimals",
        "with decimals = {decimals} different values of {setting} are written alike",
        "write decimals = {need}, or leave it away",
    ),
    "M621": Entry(
        "endless-template",
        "template {name} takes more than {limit}",
        "look for a loop over too much, or for a macro that calls itself",
    ),
    "M622": Entry(
        "too-much-text",
        "template {name} puts together more than {limit} characters",
        "look for a text that doubles, or write less into one file",
    ),
    "M623": Entry(
        "forbidden-in-template",
        "template {name} does what no template may: {why}",
        "targets/README.md lists what it may use",
    ),
    "M624": Entry(
        "not-in-template",
        "template {name} uses what is not there: {why}",
        "targets/README.md lists what a template sees",
    ),
    "M625": Entry(
        "not-as-its-schema",
        "what target {name} writes into {path} is not as its schema {schema} says: {why}",
        "change the template or the schema",
    ),
    "M626": Entry(
        "outside-output", "{path} leads out of the output folder", "remove the link, or choose another --out folder"
    ),
    "M629": Entry(
        "fix-failed",
        "a fix tried on {path} was not proved good, so the rest of it is left as it is",
        "mend what is reported by hand; this is a fault of the program, please report it",
    ),
    # ---- two sides compared
    "M701": Entry(
        "no-git",
        "git is not installed, so no revision can be read",
        "install git, or give two files or folders: compare OLD NEW",
    ),
    "M702": Entry(
        "no-repository",
        "{path} lies in no git repository, so it has no revisions",
        "give two files or folders: compare OLD NEW",
    ),
    "M703": Entry("no-revision", "there is no revision {revision}", "{advice}"),
    "M704": Entry("not-at-revision", "{path} is not there {where}", "{advice}"),
    "M705": Entry(
        "deleted-between",
        "{path} is there {before} and no longer {after}",
        "name a --to revision that still has it, or give the file that took its place: compare OLD NEW",
    ),
    "M706": Entry("side-at-fault", "{side} cannot be compared: {count} there", "{advice}"),
    "M707": Entry("nothing-in-common", "{old} and {new} have no profile of the same name: {names}", "{advice}"),
    "M708": Entry(
        "git-failed", "git could not read the repository: {why}", "see what git itself says there: git status"
    ),
    "M709": Entry(
        "nothing-to-compare",
        "{path} holds neither a profile nor files that compile wrote",
        "name a .melt file, a folder of them, or a folder that was given to compile as --out",
    ),
    "M710": Entry("bad-output", "{path} is not a file that compile wrote: {why}", "compile again, or remove the file"),
    "M711": Entry("machine-on-neither-side", "neither side has a machine {name} to compare", "{near}"),
    "M712": Entry(
        "written-by-other", "{path} is of format {found}, and this version reads {wanted}", "compile it again"
    ),
    # ---- starting a text
    "M801": Entry(
        "bad-name",
        "{name} is not a name of the language",
        "write letters, digits and _, with a letter or _ first, like {like}",
    ),
    "M802": Entry("name-known", "there is a {kind} {name} already, in {file}", "choose another name"),
    "M803": Entry(
        "file-there",
        "{path} is there already, and nothing is written over it",
        "choose another name, or another file with --out",
    ),
    "M804": Entry("not-melt", "{path} is not the name of a file of the language", "write a name that ends in .melt"),
    "M805": Entry("no-terminal", "{what}, and there is no terminal to ask at", "{advice}"),
    "M806": Entry("not-a-value", "this is not {wanted}", "{advice}"),
    "M807": Entry(
        "nothing-known",
        "nothing gives a value of {name}, so nothing can tell how it is known",
        "add: --set '{name} = VALUE'",
    ),
    "M808": Entry("known-and-unknown", "{name} has a value, and is said to be unknown", "keep one of the two"),
    "M809": Entry(
        "not-filled-in", "{kind} {name} does not give {names} yet, so no profile can use it", "{advice}", "warning"
    ),
    # ---- editors
    "M820": Entry(
        "no-editor-extra",
        "the language server needs {package}, which is not installed",
        "install it beside meltwright: {command}",
    ),
}


def general(text: str) -> str:
    """Write a text of the catalogue for all cases: ``<name>`` stands for what differs."""
    return re.sub(r"\{(\w+)\}", r"<\1>", text).replace("{{", "{").replace("}}", "}")
