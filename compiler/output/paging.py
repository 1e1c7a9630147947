"""The coverage of the library as a page, through a template."""

from collections.abc import Mapping
from typing import Any

from ..telling.coverage import KINDS
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE
from .targets import builtin_folder

FOLDER, TEMPLATE = "library", "page.md.j2"


def page_text(page: Mapping[str, list[dict[str, Any]]], faults: list[Diagnostic]) -> str:
    """Write the entries that are given, kind by kind; gives nothing, and a fault, where the template is spoilt."""
    from jinja2 import TemplateError

    from .rendering import cell, code_cell
    from .sandboxing import sandbox

    environment = sandbox(builtin_folder() / FOLDER, False)
    environment.filters |= {"cell": cell, "code_cell": code_cell}
    try:
        text = environment.get_template(TEMPLATE).render(page={k: page.get(k, []) for k in KINDS})
    except TemplateError as error:
        faults.append(diagnose("M602", NOWHERE, name=f"{FOLDER}/{TEMPLATE}", why=str(error)))
        return ""
    return text.rstrip() + "\n"
