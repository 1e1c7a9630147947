"""The coverage of the library for a terminal: a summary, the list of a kind, or one entry whole."""

from collections.abc import Callable, Mapping, Sequence
from textwrap import shorten
from typing import Any

from ..syntax.tree import EVIDENCE
from ..text.cells import wrapped
from .coverage import STATUS, counted, own

Data = dict[str, Any]

WIDTH = 100
"""Characters of the longest line that is not one word."""
LONGEST_HEAD = 50
"""Beneath a longer head the text goes on from the left."""


def summary(page: Mapping[str, list[Data]]) -> str:
    """Say in a line or two what there is of every kind."""
    said = {
        "quantities": lambda q: _listed(counted(q, "owner"), "of a {}"),
        "settings": _groups,
        "laws": _laws_counted,
        "grades": lambda g: "; ".join(f"{e['name']} ({len(e['bands'])} bands)" for e in g),
        "merits": lambda m: ", ".join(e["name"] for e in m),
        "materials": _values_counted,
        "machines": _values_counted,
    }
    lines = []
    for kind, entries in page.items():
        mine = own(entries)
        text = said[kind](entries) + (f"; {mine} of your own files" if mine else "")
        lines += _wrapped(f"{kind:<10} {len(entries):>4}   ", text)
    return "\n".join([*lines, "", _MORE]) + "\n"


_MORE = "A kind lists its entries, a name gives one whole: meltwright library laws, meltwright library NAME"


def listing(kind: str, entries: Sequence[Data]) -> str:
    """List the entries of a kind, a line or two each."""
    width = max((len(_indented(e)) for e in entries), default=0)
    lines = [f"{kind}: {len(entries)}"]
    for e in entries:
        head, text = f"  {_indented(e):<{width}}  ", _LISTED[kind](e)
        if kind == "laws":
            # What laws are about takes sentences: one line of it is enough to find the law.
            text = shorten(text, WIDTH - width - 4, placeholder=" ...")
        lines += _wrapped(head, text)
    return "\n".join(lines) + "\n"


def entry(kind: str, e: Data) -> str:
    """Tell one entry whole."""
    lines = [f"{_SINGULAR[kind]} {e['name']}   ({e['place']})"]
    if e.get("about"):
        lines += _wrapped("  ", e["about"])
    return "\n".join([*lines, *_WHOLE[kind](e)]) + "\n"


# ---- summary


def _listed(counts: Mapping[str, int], pattern: str = "{}") -> str:
    return ", ".join(f"{n} {pattern.format(name)}" for name, n in counts.items())


def _groups(entries: Sequence[Data]) -> str:
    return ", ".join(f"{group or 'no group'} {n}" for group, n in counted(entries, "group").items())


def _laws_counted(laws: Sequence[Data]) -> str:
    checks = sum(len(e["checks"]) for e in laws)
    checked = sum(bool(e["checks"]) for e in laws)
    reasoned = sum(bool(e["unchecked"]) for e in laws)
    silent = len(laws) - checked - reasoned
    parts = [
        _listed(counted(laws, "status", STATUS)),
        f"{checked} checked against something outside ({checks} {'check' if checks == 1 else 'checks'})",
        f"{reasoned} with a reason why not",
    ]
    return "; ".join([*parts, *([f"{silent} that say nothing of it"] if silent else [])])


def _values_counted(entities: Sequence[Data]) -> str:
    counts = {k: sum(e["own_values"][k] for e in entities) for k in EVIDENCE}
    none = sum(len(e["without_evidence"]) for e in entities)
    total = sum(counts.values()) + none
    said = [_listed({k: n for k, n in counts.items() if n}), f"{none} without evidence" if none else ""]
    return f"{total} {'value' if total == 1 else 'values'}: {', '.join(s for s in said if s)}" if total else "no values"


# ---- lists


def _indented(e: Data) -> str:
    return "  " * len(e.get("line", ())) + str(e["name"])


def _quantity_line(e: Data) -> str:
    what = f"one of {', '.join(e['words'])}" if e["words"] else e["dimension"]
    believable = f" in {e['believable']}" if e["believable"] else ""
    return f"of {e['owner']}: {what}{believable}. {e['about']}".rstrip()


def _setting_line(e: Data) -> str:
    extra = ("; given in the profile" if e["given"] else "") + (f"; rather {e['rather']}" if e["rather"] else "")
    return f"{e['lattice']}{extra}. {e['about']}".rstrip()


def _law_line(e: Data) -> str:
    n = len(e["checks"])
    checked = (
        f"{n} {'check' if n == 1 else 'checks'}" if n else "no outside check" if e["unchecked"] else "does not say"
    )
    return f"{e['status']}, {checked}: {e['about']}"


def _grade_line(e: Data) -> str:
    return f"by {e['of']}: " + ", ".join(f"{b['name']} {b['limit']}" for b in e["bands"])


def _merit_line(e: Data) -> str:
    return f"{e['formula']}. {e['about']}".rstrip()


def _entity_line(e: Data) -> str:
    said = _values_counted([e])
    return said + (f" ({', '.join(e['assumed'])})" if e["assumed"] else "")


_LISTED: dict[str, Callable[[Data], str]] = {
    "quantities": _quantity_line,
    "settings": _setting_line,
    "laws": _law_line,
    "grades": _grade_line,
    "merits": _merit_line,
    "materials": _entity_line,
    "machines": _entity_line,
}

# ---- entries


def _quantity_whole(e: Data) -> list[str]:
    lines = [f"  belongs to a {e['owner']}"]
    if e["words"]:
        lines += _wrapped("  one of ", ", ".join(e["words"]))
    else:
        lines.append(f"  {e['dimension']}" + (f", believable in {e['believable']}" if e["believable"] else ""))
    if e["derived_by"]:
        lines.append(f"  where it is not given, derived by {', '.join(e['derived_by'])}")
    return lines


def _setting_whole(e: Data) -> list[str]:
    lines = [f"  {e['dimension']} in {e['lattice']}"]
    if e["given"]:
        lines.append("  the profile must give it")
    if e["rather"]:
        lines.append(f"  rather {e['rather']} where the preferences leave it open")
    return lines


def _law_whole(e: Data) -> list[str]:
    lines = _wrapped(f"  {e['status']}: ", e["source"])
    if e["when"]:
        lines += _wrapped("  applies when ", e["when"])
    for d in e["derives"]:
        lines += _wrapped(f"  derives {d['name']} = ", d["formula"])
        lines += _wrapped("    ", d["about"])
    for r in e["requires"]:
        lines += _wrapped("  requires ", r["text"])
        lines += _wrapped("    else ", r["otherwise"])
    for v in e["valid"]:
        lines += _wrapped("  valid for ", v["text"])
        lines += _wrapped("    else ", v["otherwise"])
    if not e["valid"]:
        lines.append("  no range of validity is stated")
    for n in e["notices"]:
        lines += _wrapped(f"  {n['kind']}: ", n["text"] + (f" (where {n['where']})" if n["where"] else ""))
    for c in e["checks"]:
        lines += [*_wrapped("  checked: ", c["text"]), f"    by {c['by']}"]
    if e["unchecked"]:
        lines += _wrapped("  not checked: ", e["unchecked"])
    elif not e["checks"]:
        lines.append("  does not say what it was checked against")
    return lines


def _grade_whole(e: Data) -> list[str]:
    name, limit = (max(len(b[k]) for b in e["bands"]) for k in ("name", "limit"))
    lines = [f"  by {e['of']}"]
    for b in e["bands"]:
        lines += _wrapped(f"  {b['name']:<{name}}  {b['limit']:<{limit}}  ", b["reason"] or "no reason is given")
    return lines


def _merit_whole(e: Data) -> list[str]:
    return _wrapped("  as much as possible of ", e["formula"])


def _entity_whole(e: Data) -> list[str]:
    lines = [f"  from {', from '.join(e['line'])}"] if e["line"] else []
    lines += _wrapped("  own ", _entity_line(e))
    for source in [*dict.fromkeys(v["of"] for v in e["values"] if v["of"] == e["name"]), *e["line"]]:
        values = [v for v in e["values"] if v["of"] == source]
        if values:
            lines.append("  own values" if source == e["name"] else f"  from {source}")
        name, text = (max((len(v[k]) for v in values), default=0) for k in ("name", "text"))
        for v in values:
            known = f"{v['evidence']}: {v['evidence_text']}" if v["evidence_given"] else "no evidence"
            known += f" (replaces that of {v['replaces']})" if v["replaces"] else ""
            lines += _wrapped(f"    {v['name']:<{name}}  {v['text']:<{text}}  ", known)
    return lines


_SINGULAR = {
    "quantities": "quantity",
    "settings": "setting",
    "laws": "law",
    "grades": "grade",
    "merits": "merit",
    "materials": "material",
    "machines": "machine",
}
_WHOLE: dict[str, Callable[[Data], list[str]]] = {
    "quantities": _quantity_whole,
    "settings": _setting_whole,
    "laws": _law_whole,
    "grades": _grade_whole,
    "merits": _merit_whole,
    "materials": _entity_whole,
    "machines": _entity_whole,
}


def _wrapped(head: str, text: str) -> list[str]:
    """Break a text at spaces after its head, which later lines leave free up to a point; nothing for no text."""
    if not text:
        return []
    indent = " " * (len(head) if len(head) <= LONGEST_HEAD else len(head) - len(head.lstrip()) + 2)
    return wrapped(text, WIDTH, head, indent) or [head.rstrip()]
