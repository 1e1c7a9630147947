"""The JSON Schema of bundles, generated from the settings that the library declares.

``python -m meltwright.output.schema`` prints it; ``targets/json/schema.json`` is that text, checked in, and a test
fails when the two differ. With a file it prints the schema for the settings of that file.
"""

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from ..meaning.checking import check_file
from ..meaning.loading import library_folder
from ..meaning.model import SettingDecl
from ..syntax.tree import EVIDENCE
from ..telling.bundle import FORMAT
from ..text.diagnostic import write

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": ["number", "null"]}
TEXTS: Schema = {"type": "array", "items": TEXT}
USES: Schema = {
    **TEXTS,
    "description": "Names in the formula: keys of derived, names of inputs, or settings as group.name.",
    "uniqueItems": True,
}


def schema(settings: Iterable[SettingDecl]) -> Schema:
    """Describe a bundle (JSON Schema 2020-12). Each setting of the library is bounded by its lattice."""
    groups: Schema = {}
    for decl in sorted(settings, key=lambda d: d.name):
        group, _, name = decl.name.partition(".")
        groups.setdefault(group, {})[name or group] = _setting(decl)
    setting = {"$ref": "#/$defs/setting"}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:meltwright:bundle:{FORMAT}",
        "title": "Meltwright bundle",
        "description": "The settings of one profile on one machine, with bands, margins, evidence and places.",
        **_object(
            {
                "format": {"const": FORMAT},
                "program": _object({"name": TEXT, "version": TEXT}),
                "profile": TEXT,
                "file": TEXT,
                "material": TEXT,
                "machine": TEXT,
                "lineage": _object({"material": TEXTS, "machine": TEXTS}),
                "holds": {"enum": ["all input values", "stated values only"]},
                "work": _work(),
                "settings": {
                    "type": "object",
                    "properties": {
                        g: {
                            "type": "object",
                            "properties": groups[g],
                            "required": sorted(groups[g]),
                            "additionalProperties": setting,
                        }
                        for g in sorted(groups)
                    },
                    "required": sorted(groups),
                    "additionalProperties": {"type": "object", "additionalProperties": setting},
                },
                "wants": _list({"text": TEXT, "met": {"type": "boolean"}, "worst": TEXT, "place": TEXT}),
                "merits": _list(
                    {
                        "name": TEXT,
                        "about": TEXT,
                        "value": NUMBER,
                        "unit": TEXT,
                        "text": TEXT,
                        "better": {"enum": ["more", "less"]},
                        "limited_by": TEXTS,
                        "place": TEXT,
                    }
                ),
                "grades": _table({"band": TEXT, "quantity": TEXT, "worst": TEXT, "place": TEXT}),
                "requirements": {"type": "array", "items": {"$ref": "#/$defs/requirement"}},
                "derived": _table(
                    {
                        "value": NUMBER,
                        "low": NUMBER,
                        "high": NUMBER,
                        **dict.fromkeys(
                            (
                                "unit",
                                "text",
                                "range_text",
                                "about",
                                "formula",
                                "numbers",
                                "law",
                                "status",
                                "source",
                                "place",
                            ),
                            TEXT,
                        ),
                        "uses": USES,
                    }
                ),
                "inputs": {"type": "array", "items": {"$ref": "#/$defs/input"}},
                "laws": _list(dict.fromkeys(("name", "about", "status", "source", "place"), TEXT)),
                "warnings": _list(dict.fromkeys(("law", "text", "otherwise", "place"), TEXT)),
                "cautions": _list(dict.fromkeys(("text", "law", "place"), TEXT)),
                "prepare": _list(dict.fromkeys(("text", "law", "place"), TEXT)),
                "sources": _list({"file": TEXT, "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"}}),
            }
        ),
        "$defs": {"setting": _any_setting(), "requirement": _requirement(), "input": _input()},
    }


def _object(properties: Schema, optional: Iterable[str] = ()) -> Schema:
    required = [p for p in properties if p not in set(optional)]
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _work() -> Schema:
    count: Schema = {"type": "integer", "minimum": 0}
    return _object(
        {
            "boxes": {**count, "description": "Boxes of settings that were looked at, over all searches."},
            "limit": {"type": ["integer", "null"], "description": "Boxes that one search may look at."},
            "certified": {
                "type": "boolean",
                "description": "Whether every other box of settings was refuted or cannot beat the answer.",
            },
            "says": TEXT,
        }
    )


def _list(properties: Schema) -> Schema:
    return {"type": "array", "items": _object(properties)}


def _table(properties: Schema) -> Schema:
    return {"type": "object", "additionalProperties": _object(properties)}


def _any_setting() -> Schema:
    value = {"type": "number"}
    properties: Schema = {
        "value": value,
        "text": TEXT,
        "unit": TEXT,
        "about": TEXT,
        "chosen": {"enum": ["given", "pinned", "preference", "low", "high", "middle"]},
        "because": TEXT,
        "band": {"type": "array", "items": value, "minItems": 2, "maxItems": 2},
        "band_text": TEXT,
        "limited_below": TEXT,
        "limited_above": TEXT,
        "ends_below": TEXT,
        "ends_above": TEXT,
        "step": value,
        "requirements": TEXTS,
        "place": TEXT,
    }
    return _object(properties)


def _setting(decl: SettingDecl) -> Schema:
    return {
        "description": decl.doc,
        "$ref": "#/$defs/setting",
        "properties": {
            "value": {"minimum": float(decl.text(0)), "maximum": float(decl.text(decl.last))},
            "unit": {"const": decl.unit.symbol},
        },
    }


def _requirement() -> Schema:
    texts = (
        "id",
        "title",
        "law",
        "text",
        "numbers",
        "otherwise",
        "unit",
        "sides",
        "spare",
        "status",
        "source",
        "follows",
        "place",
    )
    return _object(
        {
            **dict.fromkeys(texts, TEXT),
            "origin": {"enum": ["law", "want"]},
            "uses": USES,
            "left": {**NUMBER, "description": "The side that must not be the larger one, at the worst inputs."},
            "right": {**NUMBER, "description": "The side that must not be the smaller one, at the worst inputs."},
            "margin": {
                "type": "number",
                "description": "Slack as a percentage of the larger side, at the worst inputs.",
            },
            "at": {"type": "object", "additionalProperties": TEXT},
            "remedies": _list({"direction": {"enum": ["lower", "raise", "change"]}, "name": TEXT, "text": TEXT}),
        }
    )


def _input() -> Schema:
    numbers: Schema = dict.fromkeys(("value", "low", "high"), NUMBER)
    texts = ("name", "about", "entity", "text", "range_text", "evidence_text", "cost_on", "place")
    return _object(
        {
            **dict.fromkeys(texts, TEXT),
            "owner": {"enum": ["material", "machine", "profile"]},
            "evidence": {"enum": list(EVIDENCE)},
            "evidence_given": {"type": "boolean"},
            "cost": {"type": "number", "minimum": 0},
            "replaced": _list({"entity": TEXT, "text": TEXT, "place": TEXT}),
            **numbers,
            "unit": TEXT,
        },
        optional=(*numbers, "unit"),
    )


def library_schema() -> str:
    """Give the text of ``targets/json/schema.json``."""
    text, faults = schema_of(library_folder() / "trade.melt")
    if faults:
        raise ValueError(faults)
    return text


def schema_of(path: Path) -> tuple[str, str]:
    """Give the text of the schema for the settings that a file declares or uses, or what is wrong with the file."""
    model, diagnostics, sources = check_file(path)
    if model is None:
        return "", write(diagnostics, sources)
    return json.dumps(schema(model.settings.values()), indent=2, ensure_ascii=False) + "\n", ""


def main(arguments: Sequence[str]) -> int:
    """Print the schema of the library, or of a file; gives the exit code."""
    if len(arguments) > 1:
        print("usage: python -m meltwright.output.schema [FILE]", file=sys.stderr)
        return 2
    path = Path(arguments[0]) if arguments else library_folder() / "trade.melt"
    text, faults = schema_of(path)
    print(faults, end="", file=sys.stderr)
    print(text, end="")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
