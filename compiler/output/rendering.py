"""Rendering bundles through the templates of targets, in Jinja2's sandbox."""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from jinja2.exceptions import SecurityError, UndefinedError
from jinja2.runtime import Macro

from ..telling import brief, citing, sentences
from ..telling.shared import Shared
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Source
from . import markup
from .guarding import CHARACTERS, STEPS, Guarded, TooManySteps, TooMuchText
from .json_text import JsonWriter
from .naming import lines
from .sandboxing import Sandbox, sandbox
from .strip_picture import strip_picture
from .targets import Target, TargetFile
from .toml_places import line_span, whole

Data = dict[str, Any]

MOST_KEPT = 10_000
"""Texts whose safe forms are kept, and rows of shared items: most are the same for many machines."""


class Renderer:
    """Renders files of targets; what templates have made is kept from one part of a fleet to the next."""

    def __init__(self, targets: Iterable[Target], faults: list[Diagnostic]) -> None:
        self._targets = [(target, _environment(target)) for target in targets]
        self._faults = faults
        self._broken: set[tuple[str, str]] = set()
        self._writers: dict[str, tuple[str, str, str]] = {}

    def machine_files(
        self, profile: Data, bundles: Sequence[Data], pictures: Sequence[Data] = ()
    ) -> dict[str, dict[str, str]]:
        """Render the files of some machines; gives for each machine its texts by path below the output folder."""
        drawn = pictures or [{}] * len(bundles)
        views = [
            ({"bundle": b, "profile": profile, "pictures": p}, b["machine"])
            for b, p in zip(bundles, drawn, strict=True)
        ]
        return self._render("machine", views, profile)

    def profile_files(self, profile: Data, machines: list[Data]) -> dict[str, str]:
        """Render the files of a profile from the briefs of its machines."""
        return self._render("profile", [({"machines": machines, "profile": profile}, "")], profile)[""]

    def _render(self, each: str, views: list[tuple[Data, str]], profile: Data) -> dict[str, dict[str, str]]:
        rendered: dict[str, dict[str, str]] = {machine: {} for _, machine in views}
        for target, environment in self._targets:
            for file in target.files:
                for view, machine in views if file.each == each else ():
                    if (target.name, file.template) in self._broken:
                        break
                    text = _render(environment, target, file, self._named(target, view), self._faults)
                    if text is None:
                        self._broken.add((target.name, file.template))
                        break
                    path = file.path.replace("{profile}", profile["name"]).replace("{machine}", machine)
                    self._claim(path, (target.name, file.path, machine))
                    rendered[machine][path] = text
        return rendered

    def _named(self, target: Target, view: Data) -> Data:
        """Add what the name map of a target makes of the settings."""
        names = target.names
        if names is None:
            return view
        if "bundle" in view:
            written: Any = lines(names, view["bundle"]["settings"])
        else:
            written = {m["machine"]: lines(names, m["settings"]) for m in view["machines"]}
        return {**view, "lines": written, "fixed": dict(names.fixed)}

    def _claim(self, path: str, writer: tuple[str, str, str]) -> None:
        """Report where the names of profiles and machines bring two files to one path."""
        other = self._writers.setdefault(path.casefold(), writer)
        if other != writer:
            self._faults.append(diagnose("M613", NOWHERE, path=path, name=writer[0], other=other[0]))


def _render(environment: Sandbox, target: Target, file: TargetFile, view: Data, faults: list[Diagnostic]) -> str | None:
    try:
        if isinstance(environment, Guarded):
            environment.counter.begin()
        return environment.get_template(file.template).render(view)
    except Exception as error:  # a template is a program of somebody's: whatever it raises is its fault
        faults.append(template_fault(target, file.template, error))
        return None


def template_fault(target: Target, template: str, error: Exception) -> Diagnostic:
    """Say what went wrong in a template, and where."""
    source, line = _place(target, error)
    name = source.name if source else f"{target.name}/{template}" + (f":{line}" if line else "")
    span = line_span(source, line) if source and line else whole(source) if source else NOWHERE
    if isinstance(error, TooManySteps):
        return diagnose("M621", span, name=name, limit=f"{STEPS:,} steps")
    if isinstance(error, RecursionError):
        return diagnose("M621", span, name=name, limit="a stack can hold: it calls itself again and again")
    if isinstance(error, TooMuchText):
        return diagnose("M622", span, name=name, limit=f"{CHARACTERS:,}")
    why = str(error).splitlines()[0] if str(error) else type(error).__name__
    if isinstance(error, SecurityError):
        return diagnose("M623", span, name=name, why=why)
    if isinstance(error, UndefinedError):
        return diagnose("M624", span, name=name, why=why)
    return diagnose("M602", span, name=name, why=why)


def _place(target: Target, error: Exception) -> tuple[Source | None, int]:
    """Find the innermost line of a template that an error came from."""
    line = getattr(error, "lineno", None) or 0
    found = target.texts.get(str(getattr(error, "name", "")))
    if found is not None and line:
        return found, line
    at = error.__traceback__
    by_name = {s.name: s for s in target.texts.values()}
    while at is not None:
        source = by_name.get(at.tb_frame.f_code.co_filename)
        if source is not None:
            found, line = source, at.tb_lineno
        at = at.tb_next
    return found, line


class _Rows:
    """Writes lists by a macro for one item; what several bundles share is written once."""

    def __init__(self) -> None:
        self._kept: dict[tuple[int, str, int], tuple[Shared, str]] = {}

    def rows(self, items: Any, macro: Macro, group: str = "") -> str:
        """Write items one after the other, or names with their items; the macro must look at nothing else.

        Names are told with the ``group`` that they stand in.
        """
        if not isinstance(items, dict):
            return "".join([self._row(macro, "", item) for item in items])
        before = f"{group}." if group else ""
        return "".join([self._row(macro, before + name, item) for name, item in items.items()])

    def _row(self, macro: Macro, name: str, item: Any) -> str:
        # Two templates may each have a macro of this name: its code tells them apart.
        key = (id(macro._func.__code__), name, id(item))
        kept = self._kept.get(key)
        if kept is not None:
            return kept[1]
        text: str = macro(name, item) if name else macro(item)
        if isinstance(item, Shared):
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            # The item is kept as well, so that no other can come by the same identity.
            self._kept[key] = (item, text)
        return text


def _environment(target: Target) -> Sandbox:
    filters: dict[str, Callable[..., Any]] = {
        "as_json": JsonWriter().text,
        "assumed": citing.assumed,
        "cell": cell,
        "chosen": sentences.chosen,
        "cited": citing.cited,
        "code_cell": code_cell,
        "coded": markup.coded,
        "compact": markup.compact,
        "by_machine": brief.by_machine,
        "differing_inputs": brief.differing_inputs,
        "differing_settings": brief.differing_settings,
        "known": citing.known,
        "limits": sentences.limits,
        "ending": sentences.ending,
        "one_line": one_line,
        "pairs": lambda fields: ", ".join([f"{name} {text}" for name, text in fields.items()]),
        "rows": _Rows().rows,
        "stacked": markup.stacked,
        "story": sentences.story,
        "strip": strip_picture,
        "summary": sentences.summary,
    }
    environment: Sandbox
    if target.neutral:
        environment = sandbox(target.folder, markup.escapes)
        environment.filters |= filters
    else:
        environment = Guarded(target, filters)
    environment.globals["few_machines"] = brief.FEW_MACHINES
    return environment


@lru_cache(maxsize=MOST_KEPT)
def one_line(text: str) -> str:
    """Fold white space, so that a text cannot start a new line of a line-based format."""
    return re.sub(r"\s+", " ", text).strip()


@lru_cache(maxsize=MOST_KEPT)
def cell(text: str) -> str:
    """Make a text safe inside a cell of a Markdown table."""
    return re.sub(r"<(?=[A-Za-z/!?])", "&lt;", one_line(text).replace("|", "\\|"))


@lru_cache(maxsize=MOST_KEPT)
def code_cell(text: str) -> str:
    """Make a text safe as code inside a cell of a Markdown table."""
    return f"`{one_line(text).replace('|', chr(92) + '|').replace('`', chr(39))}`"
