"""JUnit XML: a suite for each file, a case for each machine or output and for each error."""

import re
from collections.abc import Sequence
from xml.etree import ElementTree

from ...text.diagnostic import Diagnostic
from . import Part, place_of

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def junit(parts: Sequence[Part]) -> str:
    """Write the report.

    Where a file has errors its cases are skipped: what did not come of it is not known to be good. Times are told as
    zero, since a report is the same for the same check.
    """
    root = ElementTree.Element("testsuites", {"name": "meltwright"})
    totals = {"tests": 0, "failures": 0, "skipped": 0}
    for part in parts:
        counts = _suite(root, part)
        for key in totals:
            totals[key] += counts[key]
    _count(root, totals)
    ElementTree.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def _suite(root: ElementTree.Element, part: Part) -> dict[str, int]:
    suite = ElementTree.SubElement(root, "testsuite", {"name": _clean(part.name)})
    errors = [d for d in part.diagnostics if d.is_error]
    apart = [d for d in errors if d.span.file not in part.cases]
    counts = {"tests": 0, "failures": 0, "skipped": 0}
    for name in part.cases:
        case = _case(suite, part, name)
        own = [d for d in errors if d.span.file == name]
        if own:
            _fails(case, part, own)
            counts["failures"] += 1
        elif apart:
            ElementTree.SubElement(case, "skipped", {"message": "not known to be good, because of the errors"})
            counts["skipped"] += 1
    for d in apart:
        where = _where(d, part)
        _fails(_case(suite, part, f"{d.code} {d.slug}" + (f", {where}" if where else "")), part, [d])
    counts["failures"] += len(apart)
    counts["tests"] = len(part.cases) + len(apart)
    warnings = [d for d in part.diagnostics if not d.is_error]
    if warnings:
        said = "\n".join(f"warning {d.code} {d.slug}: {_told(d, part)}" for d in warnings)
        ElementTree.SubElement(suite, "system-out").text = _clean(said)
    _count(suite, counts)
    return counts


def _fails(case: ElementTree.Element, part: Part, errors: Sequence[Diagnostic]) -> None:
    kind = f"{errors[0].code} {errors[0].slug}"
    failure = ElementTree.SubElement(case, "failure", {"message": _clean(errors[0].message), "type": kind})
    failure.text = _clean("\n".join(_told(d, part) for d in errors))


def _case(suite: ElementTree.Element, part: Part, name: str) -> ElementTree.Element:
    facts = {"classname": _clean(part.name), "name": _clean(name), "time": "0"}
    return ElementTree.SubElement(suite, "testcase", facts)


def _count(element: ElementTree.Element, counts: dict[str, int]) -> None:
    for key, count in counts.items():
        element.set(key, str(count))
    element.set("errors", "0")
    element.set("time", "0")


def _where(d: Diagnostic, part: Part) -> str:
    place = place_of(d.span, part.sources)
    if place is None:
        return ""
    name = f"library/{place.uri}" if place.in_library else place.uri
    return f"{name}:{place.line}:{place.column}" if place.line else name


def _told(d: Diagnostic, part: Part) -> str:
    where = _where(d, part)
    return "\n".join(text for text in (d.message, where and f"at {where}", d.help and f"help: {d.help}") if text)


def _clean(text: str) -> str:
    """Leave away what XML 1.0 has no form for."""
    return _NOT_XML.sub("\ufffd", text)
