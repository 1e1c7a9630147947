"""SARIF 2.1.0 (OASIS standard): a run with the rules that were broken and the results, each with its places."""

import json
from collections.abc import Sequence
from typing import Any

from ... import __version__
from ...telling.codes import page_markdown, page_meaning
from ...text.catalogue import CATALOGUE, general
from ...text.diagnostic import Diagnostic, Edit, Fix
from ...text.page import page_of
from ...text.source import Span
from . import Part, Place, exact_place, place_of

Data = dict[str, Any]

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
BASES = {
    "SOURCES": "The folder in which the command was run.",
    "LIBRARY": "The library that is installed with the program.",
}


def sarif(parts: Sequence[Part]) -> str:
    """Write the report."""
    found = [(part, d) for part in parts for d in part.diagnostics]
    codes = sorted({d.code for _, d in found})
    run: Data = {
        "tool": {"driver": {"name": "meltwright", "version": __version__, "rules": [_rule(code) for code in codes]}},
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {name: {"description": {"text": about}} for name, about in BASES.items()},
        "results": [_result(part, d, codes.index(d.code)) for part, d in found],
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2, ensure_ascii=False) + "\n"


def _rule(code: str) -> Data:
    entry, page = CATALOGUE[code], page_of(code)
    return {
        "id": code,
        "name": "".join(word.capitalize() for word in entry.slug.split("-")),
        "shortDescription": {"text": general(entry.message)},
        "fullDescription": {"text": page_meaning(page) or general(entry.message)},
        "defaultConfiguration": {"level": entry.severity},
        "help": {"text": general(entry.help), "markdown": page_markdown(code, page)},
    }


def _result(part: Part, d: Diagnostic, rule: int) -> Data:
    result: Data = {
        "ruleId": d.code,
        "ruleIndex": rule,
        "level": d.severity,
        "message": {"text": d.message + (f"\nhelp: {d.help}" if d.help else "")},
    }
    location = _location(part, d.span)
    if location:
        result["locations"] = [location]
    related: list[Data] = []
    for r in d.related:
        other = _location(part, r.span)
        if other:
            related.append({"id": len(related) + 1, **other, "message": {"text": r.role}})
    if related:
        result["relatedLocations"] = related
    fixes = [_fix(fix, part) for fix in d.fixes if all(e.span.file in part.sources for e in fix.edits)]
    if fixes:
        result["fixes"] = fixes
    return result


def _fix(fix: Fix, part: Part) -> Data:
    """Write a fix: one change a file, whose replacements are its edits in order."""
    by_file: dict[str, list[Edit]] = {}
    for edit in sorted(fix.edits, key=lambda e: (e.span.file, e.span.start, e.span.end)):
        by_file.setdefault(edit.span.file, []).append(edit)
    changes = [_change(edits, part) for edits in by_file.values()]
    return {"description": {"text": fix.title}, "artifactChanges": changes}


def _change(edits: Sequence[Edit], part: Part) -> Data:
    replacements, where = [], {}
    for edit in edits:
        place = exact_place(edit.span, part.sources)
        if place is not None:
            where = _artifact(place)
            replacements.append({"deletedRegion": _region(place), "insertedContent": {"text": edit.text}})
    return {"artifactLocation": where, "replacements": replacements}


def _location(part: Part, span: Span) -> Data:
    place = place_of(span, part.sources)
    if place is None:
        return {}
    physical: Data = {"artifactLocation": _artifact(place)}
    if place.line:
        physical["region"] = _region(place)
    return {"physicalLocation": physical}


def _artifact(place: Place) -> Data:
    return {"uri": place.uri, "uriBaseId": "LIBRARY" if place.in_library else "SOURCES"}


def _region(place: Place) -> Data:
    return {
        "startLine": place.line,
        "startColumn": place.column,
        "endLine": place.end_line,
        "endColumn": place.end_column,
    }
