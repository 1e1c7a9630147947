"""``vary``: settings and merits over one or two varied inputs, as a table and a picture."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic, Related, diagnose, order
from ..text.source import NOWHERE, Source
from .reporting import print_json, report, takes_effort

if TYPE_CHECKING:
    from ..compiling import Prepared
    from ..meaning.asking import Asked, Choice
    from ..meaning.model import Model, ProfileDecl
    from ..telling.varying import Data


HELP = """\
NAME = VALUE gives an input of material, machine or profile another value for this run, or fixes a setting:
  --set 'NAME = 1 mm'   --set 'NAME = 86 ± 2 shore_a'   --set 'NAME = WORD'
NAME = LOW .. HIGH UNIT in N steps varies it: N values, evenly spaced, the first at LOW and the last at HIGH:
  --set 'NAME = 0 .. 12 mm in 13 steps'   --set 'NAME = 75 .. 95 ± 2 shore_a in 5 steps'
Varied values are exact unless a tolerance says otherwise. One or two names may vary. The file is not changed.
"""


def register(commands: Any) -> None:
    """Add the command to the parser."""
    vary = commands.add_parser(
        "vary",
        help="show how settings and merits change with an input",
        epilog=HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    vary.add_argument("file", type=Path, metavar="FILE")
    vary.add_argument(
        "--set",
        dest="sets",
        action="append",
        required=True,
        metavar="'NAME = VALUE'",
        help="another value for an input or a setting, or a range of them 'in N steps', N values; may be repeated",
    )
    vary.add_argument("--machine", default="", metavar="NAME", help="only this machine of the profile")
    vary.add_argument("--picture", type=Path, metavar="FILE.svg", help="draw it, too")
    vary.add_argument("--json", action="store_true", help="write the data as JSON instead of a table")
    takes_effort(vary)
    vary.set_defaults(run=_vary)


def _vary(options: argparse.Namespace) -> int:
    from ..compiling import Prepared, wanted
    from ..meaning.checking import check_file

    model, found, sources = check_file(options.file)
    prepared = Prepared(model, [], list(found), sources)
    if model is None or prepared.failed:
        report(found, sources, options.file)
        return 1
    pairs = wanted(model, options.file.name, options.machine, prepared.faults)
    asked, read = _asked(options, model, prepared.faults)
    tables = [] if prepared.failed else _tables(prepared, pairs, asked, options.effort)
    if prepared.failed:
        return _refuse(options, prepared.faults, {**sources, read.name: read}, options.file)
    from ..telling.varying import varied

    data = varied(options.file.name, asked, tables)
    if options.picture is not None:
        from ..output.charting import draw
        from ..output.writing import write_files

        faults: list[Diagnostic] = []
        picture = draw(data, faults)
        if not faults:
            write_files(options.picture.parent, {options.picture.name: picture}, faults)
            faults = [replace(f, help="choose another --picture file") for f in faults]
        if faults:
            return _refuse(options, faults, {}, options.picture)
    if options.json:
        print_json(data)
        return 0
    from ..telling.tabling import told

    print(told(data), end="")
    if options.picture is not None:
        print(f"picture: {options.picture}")
    return 0


def _refuse(options: argparse.Namespace, faults: Sequence[Diagnostic], sources: dict[str, Source], file: Path) -> int:
    from ..meaning.asking import OPTION

    typed = all(f.span.file == OPTION for f in faults)
    report(order(faults), sources, Path(OPTION) if typed else file)
    if options.picture is not None:
        print("nothing was written", file=sys.stderr)
    return 1


def _asked(options: argparse.Namespace, model: "Model", faults: list[Diagnostic]) -> tuple[list["Asked"], Source]:
    from ..meaning.asking import asked_values

    before = len(faults)
    asked, read = asked_values(options.sets, model, faults)
    if options.picture is not None:
        if options.picture.suffix != ".svg":
            faults.append(diagnose("M427", NOWHERE, path=options.picture))
        if len(faults) == before and not any(a.varied for a in asked):
            faults.append(diagnose("M426", NOWHERE))
    return asked, read


def _tables(
    prepared: "Prepared", pairs: Sequence[tuple["ProfileDecl", str]], asked: Sequence["Asked"], effort: int
) -> list["Data"]:
    """Lower and solve all points of all profiles and machines at once; none where that reports errors."""
    from ..compiling import confirmed, undefined
    from ..meaning.asking import with_choices
    from ..network.lowering import lower_all
    from ..solving.answering import DEFAULT_EFFORT, Answer, solve_all
    from ..telling.varying import Point, table

    model = prepared.model
    assert model is not None
    # The first that is varied changes slowest.
    grid = list(product(*(a.choices for a in sorted(asked, key=lambda a: not a.varied))))
    profiles = [(with_choices(p, choices), machine) for p, machine in pairs for choices in grid]
    everywhere = [choices for _ in pairs for choices in grid]
    lowered = lower_all(model, profiles, prepared.faults)
    if prepared.failed:
        return []
    networks = [n for n in lowered if n is not None]
    for network, choices in zip(networks, everywhere, strict=True):
        before = len(prepared.faults)
        if undefined(prepared, [network])[0]:
            prepared.faults[before:] = [_at(f, choices, asked) for f in prepared.faults[before:]]
            return []
    solved = solve_all(networks, effort or DEFAULT_EFFORT)
    points = [Point(c, *s) for c, s in zip(everywhere, solved, strict=True)]
    confirmed(model, [(p, outcome) for p, outcome in solved if isinstance(outcome, Answer)], prepared.faults)
    if prepared.failed:
        return []
    groups = [points[at : at + len(grid)] for at in range(0, len(points), len(grid))]
    return [table(model, asked, group) for group in groups]


def _at(fault: Diagnostic, choices: Sequence["Choice"], asked: Sequence["Asked"]) -> Diagnostic:
    """Say at which varied values a fault was found."""
    varied = {a.name for a in asked if a.varied}
    places = tuple(
        Related(c.span, f"where {c.name} is {c.amount.text}") for c in choices if c.amount and c.name in varied
    )
    return replace(fault, related=fault.related + places)
