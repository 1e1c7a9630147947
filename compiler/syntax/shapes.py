"""Fixes for faults of a file's shape: stray characters, texts, parentheses and blocks that are not closed."""

from collections.abc import Sequence

from ..text.diagnostic import Diagnostic, Edit, Fix, Related, diagnose
from ..text.source import Source, Span
from .spots import Spot
from .starts import ITEM_START
from .strays import Stray
from .tokens import Token
from .wording import shown, token_words

StrayAt = tuple[int, Stray]
"""Where a stray stretch starts, and what it is."""


def spot(source: Source, kind: str, tokens: Sequence[Token], strays: Sequence[StrayAt] = ()) -> Spot | None:
    """Give the place of a head or an item of a block of ``kind``; None where no rule says what it should be."""
    start = "statement" if kind == "head" else ITEM_START.get(kind)
    if start is None or not (tokens or strays):
        return None
    begins = [t.start_pos for t in tokens[:1]] + [at for at, _ in strays[:1]]
    ends = [t.end_pos for t in tokens[-1:]] + [s.end for _, s in strays[-1:]]
    return Spot(source, min(begins), max(ends), start)


def stray_fix(source: Source, kind: str, tokens: Sequence[Token], strays: Sequence[StrayAt]) -> tuple[Fix, ...]:
    """Write what was meant for all stray stretches of an item, if it is known for each."""
    place = spot(source, kind, tokens, strays)
    if place is None or not all(s.texts for _, s in strays):
        return ()
    for i in range(max(len(s.texts) for _, s in strays)):
        texts = [s.texts[min(i, len(s.texts) - 1)] for _, s in strays]
        edits = [place.put(at, s.end, text) for (at, s), text in zip(strays, texts, strict=True)]
        title = _title(strays[0][1], texts[0], len(strays) - 1)
        safe = i == 0 and all(s.safe for _, s in strays)
        if not tokens and safe:
            return (Fix(title, tuple(edits), safe),)
        fixes = place.fix(title, *edits, safe=safe)
        if fixes:
            return fixes
    return ()


def _title(first: Stray, text: str, more: int) -> str:
    shown = " ".join(text.split())
    if text.startswith("\n"):
        title = "start a new line"
    elif shown and not first.is_text and len(shown) < 20:
        title = f"write {shown} for {first.found}" if first.found.startswith("'") else f"write {shown}"
    else:
        title = (
            "write plain quotes" if first.is_text else "write a plain space" if text else f"remove {_the(first.found)}"
        )
    return title + (f", and mend {more} more in this line" if more else "")


def _the(found: str) -> str:
    return found.replace("a ", "the ", 1) if found.startswith("a ") else found


def closing_quote(source: Source, kind: str, tokens: Sequence[Token], text: Token) -> tuple[Fix, ...]:
    """Close a text at the end of its line, or open it where only its end has a quote.

    Neither is safe: nothing tells for sure where a text should have ended.
    """
    place = spot(source, kind, [*tokens, text])
    if place is None:
        return ()
    if not text[1:].strip():
        # The quote ends something; it starts at the first word that makes a text of all that follows.
        begins = [t for t in tokens if t.end_pos <= text.start_pos and t.type != "STRING"]
        tries = (place.fix('write the opening "', place.put_before(t, '"')) for t in begins)
        return next((fixes for fixes in tries if fixes), ())
    bare = text.rstrip(" \t\f\\").rstrip("”“„»«'’")
    hidden = bare.rstrip("{} \t") if bare[-1:] in ("{", "}") else bare
    end = text.start_pos + len(hidden)
    rest = text.start_pos + len(bare)
    edits = place.edit(end, end, '"') if hidden != bare else place.edit(rest, text.end_pos, '"')
    whole = Spot(source, place.begin, end, place.start) if hidden != bare and text[-1:] == "}" else place
    return whole.fix('write the closing "', edits)


def text_in_two(source: Source, text: Token, end: Token) -> tuple[Fix, ...]:
    """Join a text that a line end cut in two; ``end`` is the quote that closes it on the next line."""
    begin = text.start_pos + len(text.rstrip())
    rest = source.text[begin : end.start_pos]
    upto = begin + len(rest) - len(rest.lstrip())
    return (Fix("join the two lines", (_edit(source, begin, upto, " "),)),)


def closing_parenthesis(source: Source, kind: str, tokens: Sequence[Token], opened: Sequence[Token]) -> tuple[Fix, ...]:
    """Close what is open where the item is sound then; safe where only its end is such a place."""
    place = spot(source, kind, tokens)
    if place is None:
        return ()
    closers = ")" * len(opened)
    after = [t for t in tokens if t.start_pos >= opened[-1].end_pos]
    edits = [place.edit(t.end_pos, t.end_pos, closers) for t in after[-40:]]
    good = [e for e in edits if place.outcome([e])]
    sure = len(good) == 1 and good[0] == edits[-1]
    return place.fix(f"write {closers}", good[-1], safe=sure) if good else ()


def block_end(source: Source, following: Token | None) -> tuple[Fix, ...]:
    """Close a block before the statement that shows that it is open, or at the end of the file."""
    text = source.text
    if following is None:
        at = len(text)
        written = "}\n" if text.endswith("\n") else "\n}\n"
        return (Fix("write } at the end", (_edit(source, at, at, written),)),)
    at = text.rfind("\n", 0, following.start_pos) + 1
    # Empty lines and comments before the next statement belong to it.
    while (line := text.rfind("\n", 0, max(at - 1, 0)) + 1) < at and text[line:at].strip()[:1] in ("", "#"):
        at = line
    return (Fix("write } before the next statement", (_edit(source, at, at, "}\n"),)),)


def block_start(
    source: Source, head: Sequence[Token], brace: Token | None, safe: bool, end: Sequence[Fix] | None
) -> tuple[Fix, ...]:
    """Open a block at the end of its head; ``end`` closes it where it is open, None where it has no items at all."""
    at = head[-1].end_pos
    if brace is not None:
        if source.text[at : brace.start_pos].strip():
            return ()
        title, edits = "write { at the end of the line before", [_edit(source, at, brace.end_pos, " {")]
    elif end is not None:
        title, edits = "write {", [_edit(source, at, at, " {")]
    else:
        title, edits = "write { and }", [_edit(source, at, at, " {\n}")]
    for fix in end or ():
        title, edits = f"{title}, and }} at its end", [*edits, *fix.edits]
    return (Fix(title, tuple(edits), safe),)


def brace_for(source: Source, sign: Token) -> tuple[Fix, ...]:
    """Write a closing brace for another sign."""
    return (Fix(f"write }} for {sign}", (_edit(source, sign.start_pos, sign.end_pos, "}"),)),)


def cut_in_two(source: Source, last: Token, rest: Sequence[Token], between: str = " ") -> Diagnostic:
    """Report an item or a head that a line end cut in two; ``last`` is the last word before it."""
    file, begin, end = source.name, last.end_pos, rest[0].start_pos
    related = [Related(Span(file, end, rest[-1].end_pos), "it goes on here")]
    fixes = [Fix("join the two lines", (_edit(source, begin, end, between),))]
    whole = shown([f"{last}{between}{rest[0]}", *map(str, rest[1:])])
    advice = f"write what follows on the same line: {whole}"
    place = Span(file, begin, begin + 1)
    return diagnose("M111", place, related=related, fixes=fixes, after=token_words(last), advice=advice)


def without_brace(source: Source, brace: Token) -> tuple[Fix, ...]:
    """Remove a brace that closes nothing, with its line where it stands alone."""
    text = source.text
    begin = text.rfind("\n", 0, brace.start_pos) + 1
    end = text.find("\n", brace.end_pos) + 1 or len(text)
    alone = text[begin:end].strip() == "}"
    return (Fix("remove the }", (_edit(source, *((begin, end) if alone else (brace.start_pos, brace.end_pos)), ""),)),)


def _edit(source: Source, begin: int, end: int, text: str) -> Edit:
    return Edit(Span(source.name, begin, end), text)
