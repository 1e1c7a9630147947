"""Looking over a target of somebody's own: its form, its names and units, its templates, and what they write."""

import json
from collections.abc import Mapping, Sequence
from itertools import islice
from typing import Any

from ..meaning.model import SettingDecl
from ..telling.solution import Solution
from ..text.diagnostic import Diagnostic, diagnose
from .guarding import Guarded
from .naming import check_names
from .producing import produce
from .rendering import template_fault
from .targets import MANIFEST, Target, builtin_folder, clashes, neutral_targets
from .toml_places import place

MOST_TOLD = 5
"""Faults against a schema that are told of one file."""


def examine(target: Target, settings: Mapping[str, SettingDecl], faults: list[Diagnostic]) -> None:
    """Report what is wrong with a target before anything is rendered."""
    if target.names is not None:
        check_names(target.names, settings, faults)
    if target.folder.resolve().parent != builtin_folder().resolve():
        neutral = neutral_targets(faults)
        if any(t.name == target.name for t in neutral):
            faults.append(diagnose("M611", place(target.texts[MANIFEST], "about"), name=target.name))
        clashes([*neutral, target], faults)
    environment = Guarded(target, {})
    for name in (n for n in target.texts if n.endswith(".j2")):
        try:
            environment.parse(target.texts[name].text, name, target.texts[name].name)
        except Exception as error:  # a template is a program of somebody's: whatever it raises is its fault
            faults.append(template_fault(target, name, error))


def render_with(target: Target, solutions: Sequence[Solution], faults: list[Diagnostic]) -> dict[str, str]:
    """Render a target for solutions, and hold its JSON files against its schema; gives texts by path."""
    texts = produce(solutions, faults, [target])
    if target.schema and not any(f.is_error for f in faults):
        from jsonschema import Draft202012Validator, SchemaError

        at = place(target.texts[MANIFEST], "schema")
        try:
            schema: Any = json.loads(target.texts[target.schema].text)
            Draft202012Validator.check_schema(schema)
        except (ValueError, SchemaError, RecursionError) as error:
            why = f"{target.schema} is no JSON Schema: {str(error).splitlines()[0]}"
            faults.append(diagnose("M601", at, name=target.name, why=why, advice="correct the schema"))
            return texts
        facts: dict[str, Any] = {"name": target.name, "schema": target.schema}
        for path, text in sorted(texts.items()):
            if path.endswith(".json"):
                for why in _differences(text, Draft202012Validator(schema)):
                    faults.append(diagnose("M625", at, path=path, why=why, **facts))
    return texts


def _differences(text: str, validator: Any) -> list[str]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        return [f"it is no JSON ({error})"]
    found = []
    for fault in islice(validator.iter_errors(data), MOST_TOLD):
        message = fault.message if len(fault.message) < 200 else f"{fault.message[:200]}..."
        found.append(f"{fault.json_path}: {message}")
    return found
