"""Fixes: made, laid into the lines of a text, chosen, applied, and proved to bring in no new fault."""

import re
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from .diagnostic import Diagnostic, Edit, Fix
from .source import Source, Span

MOST_ROUNDS = 20
"""Times that a text is read again after fixes: mending one fault can uncover another."""

Read = Callable[[Mapping[Path, str]], tuple[Sequence[Diagnostic], Mapping[str, Source]]]
"""Reads a file with all it uses, some of them as the texts given by path; gives the faults and all sources."""

_LONGEST_SHOWN = 64
"""Characters of a text that a title shows."""
_BARE_LINE_END = re.compile(r"(?<!\r)\n")
_SYNTAX = "M1"
_CUT_SHORT = "M121"
_ASKED_LAST = frozenset(["M222"])
"""Whether a value is believable is asked once all else of it is good."""


# ---- making


def write_for(span: Span, old: str, new: str, safe: bool = False) -> Fix:
    """Write a text in the place of another."""
    return Fix(f"write {_short(new)} for {_short(old)}", (Edit(span, new),), safe)


def put_in(span: Span, text: str, title: str, safe: bool = False) -> Fix:
    """Put a text in after a stretch; one that starts with a line end goes to lines of its own."""
    return Fix(title, (Edit(Span(span.file, span.end, span.end), text),), safe)


def take_out(span: Span, title: str, safe: bool = False) -> Fix:
    """Take a stretch out, with its lines where nothing else stands on them."""
    return Fix(title, (Edit(span, ""),), safe)


def _short(text: str) -> str:
    one_line = " ".join(text.split())
    return one_line if len(one_line) <= _LONGEST_SHOWN else f"{one_line[: _LONGEST_SHOWN - 3]}..."


# ---- laying


def laid(diagnostic: Diagnostic, sources: Mapping[str, Source]) -> Diagnostic:
    """Fit the fixes of a diagnostic to the lines of the texts, so that edits can be carried out to the letter.

    What is taken out goes with its whole lines where nothing else stands on them; what starts with a line end is put
    in after the rest of its line, comment included; line ends are those of the file. Doing it twice changes nothing.
    """
    if not diagnostic.fixes:
        return diagnostic
    return replace(diagnostic, fixes=tuple(laid_fix(f, sources) for f in diagnostic.fixes))


def laid_fix(fix: Fix, sources: Mapping[str, Source]) -> Fix:
    """Fit the edits of one fix to the lines of the texts."""
    return replace(fix, edits=tuple(_laid(e, sources) for e in fix.edits))


def _laid(edit: Edit, sources: Mapping[str, Source]) -> Edit:
    source = sources.get(edit.span.file)
    if source is None:
        return edit
    text, start, end = source.text, edit.span.start, edit.span.end
    if not edit.text:
        return Edit(_whole_lines(text, edit.span), "")
    if edit.text.startswith("\n") and start == end:
        start = end = _rest_of_line(source, start)
    first = text.find("\n")
    if first > 0 and text[first - 1] == "\r":
        return Edit(Span(edit.span.file, start, end), _BARE_LINE_END.sub("\r\n", edit.text))
    return Edit(Span(edit.span.file, start, end), edit.text)


def _rest_of_line(source: Source, at: int) -> int:
    """Give the end of a line where nothing but a comment follows, or the brace that opens a block; else the place."""
    line, _ = source.line_column(at)
    end = source.line_starts[line - 1] + len(source.line_text(line))
    rest = source.text[at:end].split("#")[0].rstrip()
    return end if not rest or rest.endswith("{") else at


def _whole_lines(text: str, span: Span) -> Span:
    """Widen a stretch to its lines, unless something else stands on them, a comment too."""
    start = text.rfind("\n", 0, span.start) + 1
    end = text.find("\n", span.end)
    end = len(text) if end < 0 else end + 1
    if text[start : span.start].strip() or span.start == span.end:
        return span
    return span if text[span.end : end].strip() else Span(span.file, start, end)


# ---- choosing and applying


def safe_fix(d: Diagnostic, files: Container[str]) -> Fix | None:
    """Give the first fix of a diagnostic where it is safe and changes none but these files."""
    fix = d.fixes[0] if d.fixes else None
    good = fix is not None and fix.safe and fix.edits and all(e.span.file in files for e in fix.edits)
    return fix if good else None


def chosen(diagnostics: Iterable[Diagnostic], files: Container[str]) -> list[tuple[Diagnostic, Fix]]:
    """Choose the safe fixes that change these files, without those that touch one chosen before, in the texts' order.

    The order of the diagnostics does not count.
    """
    found = [(d, fix) for d in diagnostics if (fix := safe_fix(d, files)) is not None]
    picked: list[tuple[Diagnostic, Fix]] = []
    for d, fix in sorted(found, key=_rank):
        others = [f for _, f in picked]
        if not any(_touch(fix, other) for other in others) or any(fix.edits == other.edits for other in others):
            picked.append((d, fix))
    return picked


def _rank(found: tuple[Diagnostic, Fix]) -> tuple[object, ...]:
    d, fix = found
    edits = sorted((e.span.file, e.span.start, e.span.end, e.text) for e in fix.edits)
    return edits, d.code, d.message, fix.title


def _touch(one: Fix, other: Fix) -> bool:
    return any(_meet(a.span, b.span) for a in one.edits for b in other.edits)


def _meet(a: Span, b: Span) -> bool:
    """Tell whether two stretches share a character, or one is a place at an end of the other."""
    if a.file != b.file:
        return False
    if a.start == a.end or b.start == b.end:
        return a.start <= b.end and b.start <= a.end
    return a.start < b.end and b.start < a.end


def applied(text: str, edits: Iterable[Edit]) -> str:
    """Carry out edits of one text that do not overlap; the same edit twice counts once."""
    parts, at = [], 0
    for edit in _in_order(edits):
        parts += [text[at : edit.span.start], edit.text]
        at = edit.span.end
    return "".join([*parts, text[at:]])


def _in_order(edits: Iterable[Edit]) -> list[Edit]:
    return sorted(set(edits), key=lambda e: (e.span.start, e.span.end, e.text))


def moved(offset: int, edits: Iterable[Edit]) -> int:
    """Tell where a place of a text is after edits; a place inside one moves to its start."""
    shift = 0
    for edit in _in_order(edits):
        if edit.span.end <= offset:
            shift += len(edit.text) - (edit.span.end - edit.span.start)
        elif edit.span.start <= offset:
            return edit.span.start + shift
    return offset + shift


def _moved_back(offset: int, edits: Iterable[Edit]) -> int:
    """Tell where a place after edits was before them; a place inside a new text was at its start."""
    shift = 0
    for edit in _in_order(edits):
        start = edit.span.start + shift
        if offset < start:
            break
        if offset < start + len(edit.text):
            return edit.span.start
        shift += len(edit.text) - (edit.span.end - edit.span.start)
    return offset - shift


# ---- mending


@dataclass(frozen=True, slots=True)
class Repair:
    """A fix that was applied: its place in the text as it was, the code of the fault, and what was done."""

    source: Source
    span: Span
    code: str
    title: str


@dataclass(slots=True)
class Mended:
    """What came of mending: the changed ``texts``, as they were ``before``, what was ``done``, what was ``left``.

    A place in ``done`` is one of the texts as they were before. A file is left where a fix in it would have brought
    another fault, or would not have mended its own.
    """

    texts: dict[str, Source] = field(default_factory=dict)
    before: dict[str, Source] = field(default_factory=dict)
    done: list[tuple[Diagnostic, Fix]] = field(default_factory=list)
    left: set[str] = field(default_factory=set)


def mend(read: Read, may_write: Callable[[Source], bool]) -> Mended:
    """Apply the safe fixes of a file and all it uses until none is left; nothing is written.

    After each round the texts are read again. A file for which that shows a fault that a fix brought in stays as it
    was before the round.
    """
    mended = Mended()
    rounds: dict[str, list[list[Edit]]] = {}
    found, sources = read({})
    for _ in range(MOST_ROUNDS):
        free = {name for name, source in sources.items() if name not in mended.left and may_write(source)}
        picked = chosen(found, free)
        if not picked:
            break
        edits = _by_file(picked)
        trial = mended.texts | {n: replace(sources[n], text=applied(sources[n].text, e)) for n, e in edits.items()}
        now, sources_now = read({s.path: s.text for s in trial.values()})
        spoilt = _spoilt(found, picked, edits, now, sources_now)
        if spoilt:
            mended.left |= spoilt
            continue
        mended.done += [(_as_it_was(d, rounds), fix) for d, fix in picked]
        for name, own in edits.items():
            rounds.setdefault(name, []).append(own)
            mended.before.setdefault(name, sources[name])
        mended.texts, found, sources = trial, now, sources_now
    return mended


def _by_file(picked: Iterable[tuple[Diagnostic, Fix]]) -> dict[str, list[Edit]]:
    edits: dict[str, list[Edit]] = {}
    for _, fix in picked:
        for edit in fix.edits:
            edits.setdefault(edit.span.file, []).append(edit)
    return {name: _in_order(own) for name, own in edits.items()}


def _as_it_was(d: Diagnostic, rounds: Mapping[str, list[list[Edit]]]) -> Diagnostic:
    """Give a diagnostic at its place in the text as it was at first."""
    start, end = d.span.start, d.span.end
    for edits in reversed(rounds.get(d.span.file, [])):
        start, end = _moved_back(start, edits), _moved_back(end, edits)
    return replace(d, span=Span(d.span.file, start, max(start, end)))


def _spoilt(
    before: Sequence[Diagnostic],
    picked: Sequence[tuple[Diagnostic, Fix]],
    edits: Mapping[str, list[Edit]],
    after: Sequence[Diagnostic],
    sources: Mapping[str, Source],
) -> set[str]:
    """Name the changed files in which a fix brought a fault in, or did not mend its own; all where it is not known."""
    mended = [_key(d, edits) for d, _ in picked]
    same = {(*_key(d, edits), d.message) for d, _ in picked}
    known = {_key(d, edits) for d in before}
    cut = {d.span.file for d in before if d.code == _CUT_SHORT}
    spoilt: set[str] = set()
    for fault in after:
        key = _key(fault, {})
        unmended = (*key, fault.message) in same
        uncovered = fault.span.file in cut or any(_uncovers(m, fault, sources) for m in mended)
        if unmended or not (key in known or uncovered):
            spoilt |= {fault.span.file} & edits.keys() or set(edits)
    return spoilt


def _key(d: Diagnostic, edits: Mapping[str, list[Edit]]) -> tuple[str, str, int]:
    return d.code, d.span.file, moved(d.span.start, edits.get(d.span.file, ()))


def _uncovers(mended: tuple[str, str, int], fault: Diagnostic, sources: Mapping[str, Source]) -> bool:
    """Tell whether a fault may have stood behind one that was mended: what is read later shows only then.

    Codes follow the order of reading: text, names, dimensions, the profile on its machines. One slip in the writing of
    a line hides those further on in it.
    """
    code, file, start = mended
    if fault.code > code or fault.code in _ASKED_LAST:
        return True
    if not (fault.code.startswith(_SYNTAX) and code.startswith(_SYNTAX) and fault.span.file == file):
        return False
    source = sources[file]
    lines = source.line_column(fault.span.start)[0] - source.line_column(start)[0]
    return fault.span.start >= start and lines <= 1
