"""JSON of our own: what was looked at, what was found, and what mends it; ``schema.json`` tells its form."""

import json
from collections.abc import Sequence
from typing import Any

from ...text.diagnostic import Diagnostic, Fix
from . import Part, Place, exact_place, place_of

Data = dict[str, Any]

FORMAT = 1
"""Raised with every change that a reader may stumble over."""


def plain(parts: Sequence[Part]) -> str:
    """Write the report."""
    data = {"format": FORMAT, "sound": not any(p.failed for p in parts), "files": [_file(p) for p in parts]}
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _file(part: Part) -> Data:
    return {
        "file": part.name,
        "sound": not part.failed,
        "cases": list(part.cases),
        "mended": [
            {"code": r.code, "title": r.title, "place": _place(exact_place(r.span, {r.span.file: r.source}))}
            for r in part.repairs
        ],
        "diagnostics": [_diagnostic(d, part) for d in part.diagnostics],
    }


def _diagnostic(d: Diagnostic, part: Part) -> Data:
    return {
        "code": d.code,
        "slug": d.slug,
        "severity": d.severity,
        "message": d.message,
        "help": d.help,
        "place": _place(place_of(d.span, part.sources)),
        "related": [{"role": r.role, "place": _place(place_of(r.span, part.sources))} for r in d.related],
        "values": [{"text": v.text, "place": _place(place_of(v.span, part.sources))} for v in d.values],
        "fixes": [_fix(fix, part) for fix in d.fixes],
    }


def _fix(fix: Fix, part: Part) -> Data:
    edits = [{"place": _place(exact_place(e.span, part.sources)), "text": e.text} for e in fix.edits]
    return {"title": fix.title, "safe": fix.safe, "edits": edits}


def _place(place: Place | None) -> Data | None:
    """Write a place; one that means the whole file has no line."""
    if place is None:
        return None
    data: Data = {"file": place.uri, "in_library": place.in_library}
    if place.line:
        data |= {
            "line": place.line,
            "column": place.column,
            "end_line": place.end_line,
            "end_column": place.end_column,
        }
    return data
