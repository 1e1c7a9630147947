"""Rendering bundles through the templates of targets, in Jinja2's sandbox."""

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from jinja2 import FileSystemLoader, StrictUndefined
from jinja2.runtime import Macro
from jinja2.sandbox import ImmutableSandboxedEnvironment

from ..telling import brief, sentences
from ..telling.shared import Shared
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE
from .json_text import JsonWriter
from .targets import Target, TargetFile

Data = dict[str, Any]

MOST_KEPT = 10_000
"""Texts whose safe forms are kept: most are the same for many machines."""


class Renderer:
    """Renders files of targets; what templates have made is kept from one part of a fleet to the next."""

    def __init__(self, targets: Iterable[Target], faults: list[Diagnostic]) -> None:
        self._targets = [(target, _environment(target)) for target in targets]
        self._faults = faults
        self._broken: set[tuple[str, str]] = set()

    def machine_files(self, profile: Data, bundles: Iterable[Data]) -> dict[str, dict[str, str]]:
        """Render the files of some machines; gives for each machine its texts by path below the output folder."""
        return self._render("machine", [({"bundle": b, "profile": profile}, b["machine"]) for b in bundles], profile)

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
                    text = _render(environment, target, file, view, self._faults)
                    if text is None:
                        self._broken.add((target.name, file.template))
                        break
                    path = file.path.replace("{profile}", profile["name"]).replace("{machine}", machine)
                    rendered[machine][path] = text
        return rendered


def _render(
    environment: ImmutableSandboxedEnvironment,
    target: Target,
    file: TargetFile,
    view: Data,
    faults: list[Diagnostic],
) -> str | None:
    try:
        return environment.get_template(file.template).render(view)
    except Exception as error:  # a template is a program of somebody's: whatever it raises is its fault
        line = getattr(error, "lineno", None)
        where = f"{target.name}/{file.template}" + (f":{line}" if line else "")
        faults.append(
            diagnose(
                "M602",
                NOWHERE,
                name=where,
                why=str(error).splitlines()[0] if str(error) else type(error).__name__,
            )
        )
        return None


class _Environment(ImmutableSandboxedEnvironment):
    """The sandbox, in which ``data.name`` is first of all the field of that name."""

    def getattr(self, obj: Any, attribute: str) -> Any:
        if isinstance(obj, dict) and attribute in obj:
            return obj[attribute]
        return super().getattr(obj, attribute)


class _Rows:
    """Writes lists by a macro for one item; what several bundles share is written once."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, int], tuple[Shared, str]] = {}

    def rows(self, items: Iterable[Any], macro: Macro) -> str:
        """Write items one after the other; the macro must look at nothing but its item."""
        parts = []
        for item in items:
            if not isinstance(item, Shared):
                parts.append(macro(item))
                continue
            key = (macro.name, id(item))
            kept = self._kept.get(key)
            if kept is None:
                # The item is kept as well, so that no other can come by the same identity.
                kept = self._kept[key] = (item, macro(item))
            parts.append(kept[1])
        return "".join(parts)


def _environment(target: Target) -> ImmutableSandboxedEnvironment:
    environment = _Environment(
        loader=FileSystemLoader(target.folder),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    environment.globals["few_machines"] = brief.FEW_MACHINES
    environment.filters |= {
        "as_json": JsonWriter().text,
        "cell": cell,
        "chosen": sentences.chosen,
        "code_cell": code_cell,
        "by_machine": brief.by_machine,
        "differing_inputs": brief.differing_inputs,
        "differing_settings": brief.differing_settings,
        "limits": sentences.limits,
        "ending": sentences.ending,
        "one_line": one_line,
        "rows": _Rows().rows,
        "story": sentences.story,
        "summary": sentences.summary,
    }
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
