"""Rendering bundles through the templates of targets, in Jinja2's sandbox."""

import hashlib
import re
import sys
from collections.abc import Callable, Iterable, Sequence
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import BytecodeCache, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.runtime import Macro
from jinja2.sandbox import ImmutableSandboxedEnvironment

from .. import __version__
from ..syntax.keeping import cache_folder
from ..telling import brief, citing, sentences
from ..telling.shared import Shared
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE
from . import markup
from .json_text import JsonWriter
from .strip_picture import strip_picture
from .targets import Target, TargetFile

Data = dict[str, Any]

MOST_KEPT = 10_000
"""Texts whose safe forms are kept, and rows of shared items: most are the same for many machines."""


class Renderer:
    """Renders files of targets; what templates have made is kept from one part of a fleet to the next."""

    def __init__(self, targets: Iterable[Target], faults: list[Diagnostic]) -> None:
        self._targets = [(target, _environment(target)) for target in targets]
        self._faults = faults
        self._broken: set[tuple[str, str]] = set()

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
        kind = type(obj)
        if (kind is Shared or kind is dict) and attribute in obj:
            return obj[attribute]
        return super().getattr(obj, attribute)


class _Rows:
    """Writes lists by a macro for one item; what several bundles share is written once."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str, int], tuple[Shared, str]] = {}

    def rows(self, items: Any, macro: Macro, group: str = "") -> str:
        """Write items one after the other, or names with their items; the macro must look at nothing else.

        Names are told with the ``group`` that they stand in.
        """
        if not isinstance(items, dict):
            return "".join([self._row(macro, "", item) for item in items])
        before = f"{group}." if group else ""
        return "".join([self._row(macro, before + name, item) for name, item in items.items()])

    def _row(self, macro: Macro, name: str, item: Any) -> str:
        key = (macro.name, name, id(item))
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


@cache
def _kept_templates() -> BytecodeCache | None:
    """Give the store of compiled templates in the user's cache folder, for this version of all that compiles them."""
    folder = cache_folder()
    if folder is None:
        return None
    stamp = Path(__file__).stat()
    parts = (__version__, jinja2.__version__, sys.version, str(stamp.st_size), str(stamp.st_mtime_ns))
    digest = hashlib.sha256("\0".join(parts).encode()).hexdigest()[:16]
    return FileSystemBytecodeCache(str(folder), f"template-{digest}-%s.bin")


def sandbox(folder: Path, escapes: bool | Callable[[str | None], bool]) -> ImmutableSandboxedEnvironment:
    """Make the sandbox for the templates of a folder; ``escapes`` what would be markup, or tells by name where to."""
    return _Environment(
        loader=FileSystemLoader(folder),
        bytecode_cache=_kept_templates(),
        auto_reload=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=escapes,
    )


def _environment(target: Target) -> ImmutableSandboxedEnvironment:
    environment = sandbox(target.folder, markup.escapes)
    environment.globals["few_machines"] = brief.FEW_MACHINES
    environment.filters |= {
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
