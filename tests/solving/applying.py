"""Cures applied to the text they are for, as an author would by hand."""

from meltwright.solving.curing import Change, Cure


def changed(text: str, cure: Cure) -> str:
    """Write a text with the lines of a cure changed; the changed lines must stand in the text itself."""
    edits = sorted(((c.lever.span.start, c.lever.span.end, line(c)) for c in cure.changes), reverse=True)
    for start, end, new in edits:
        text = text[:start] + new + text[end:]
    return text


def line(change: Change) -> str:
    """Write one changed line; empty where it is left out."""
    lever, new = change.lever, change.rung.text
    if not new:
        return ""
    if lever.kind == "pin" and lever.free:
        return f'pin {lever.name} = {new} because "changed"'
    return f"{lever.name} {new}"
