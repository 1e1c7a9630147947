"""``target check``: is a target of somebody's own sound, and what would it write?"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..text.diagnostic import Diagnostic, order
from ..text.source import Source
from .reporting import report

if TYPE_CHECKING:
    from ..compiling import Compiled, Prepared
    from ..output.targets import Target

DEMO = "demos/watch_strap.melt"
"""The profile of the library that a target is tried with."""


def register(commands: Any) -> None:
    """Add the command to the parser."""
    command = commands.add_parser("target", help="check a target of your own")
    actions = command.add_subparsers(dest="action", required=True, metavar="ACTION")
    action = actions.add_parser("check", help="check manifest, names, units and templates, and try them")
    action.add_argument("folders", nargs="+", type=Path, metavar="DIR", help="a target, or a folder of targets")
    action.add_argument(
        "--with",
        type=Path,
        dest="file",
        metavar="FILE",
        help="try it with the settings and profiles of this file (without it: those of the library's demonstration)",
    )
    action.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from ..compiling import prepare
    from ..meaning.loading import library_folder
    from ..output.examining import examine
    from ..output.targets import read_targets

    file = options.file or library_folder() / DEMO
    prepared = prepare(file)
    if report(prepared.compiled().diagnostics, prepared.sources, file) or prepared.model is None:
        return 1
    failed, compiled = False, None
    for folder in options.folders:
        faults: list[Diagnostic] = []
        sources: dict[str, Source] = {}
        targets = read_targets(folder, faults, sources)
        for target in targets:
            examine(target, prepared.model.settings, faults)
        texts: dict[str, dict[str, str]] = {}
        if not any(f.is_error for f in faults):
            compiled = compiled or _solved(prepared, file)
            if compiled is None:
                return 1
            texts = _render(targets, compiled, faults)
        if report(order(faults), sources, folder):
            failed = True
            continue
        for target in targets:
            print(f"{target.name}: sound ({_told(target, texts[target.name])})")
    return 1 if failed else 0


def _solved(prepared: "Prepared", file: Path) -> "Compiled | None":
    """Solve what a target is tried with; None after reporting that nothing holds."""
    from ..compiling import solve_in_turn

    before = set(prepared.faults)
    found = [s for part in solve_in_turn(prepared, prepared.networks) for s in part]
    compiled = prepared.compiled(tuple(found))
    news = [d for d in compiled.diagnostics if d not in before and d.is_error]
    return None if report(news, prepared.sources, file) else compiled


def _render(targets: "list[Target]", compiled: "Compiled", faults: list[Diagnostic]) -> dict[str, dict[str, str]]:
    from ..output.examining import render_with

    return {target.name: render_with(target, compiled.solutions, faults) for target in targets}


def _told(target: "Target", texts: dict[str, str]) -> str:
    names = sorted(texts)
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    wrote = f"writes {names[0]}{more}" if names else "writes nothing"
    if target.names is None:
        return wrote
    return f"{len(target.names.named)} settings named, {len(target.names.left_out)} left out; {wrote}"
