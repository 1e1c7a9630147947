"""What people write who are used to another notation, or who slipped: recognised, told, and mended where it is clear.

Words are here, signs in ``signs.py``, what was written apart in ``apart.py``, characters that no word begins with in
``strays.py``.
"""

from collections.abc import Iterator, Sequence

from ..text.diagnostic import Edit, Fix
from ..text.joining import listed
from . import apart, signs
from .cases import END, Case, Rule, Slip, changed
from .grammar import keywords
from .starts import BLOCKS, LAW_ITEMS
from .tokens import Token
from .tree import EVIDENCE
from .wording import shown


def slip(case: Case) -> Slip | None:
    """Recognise a slip."""
    return next(
        (found for rule in (*apart.EARLY, *_RULES, *apart.LATE, *signs.RULES, *_LATE) if (found := rule(case))), None
    )


# ---- words


def _elsewhere(case: Case) -> Slip | None:
    """Items that belong into another kind of block."""
    tokens, start = case.tokens, case.start
    first, second = str(tokens[0]), str(tokens[1]) if len(tokens) > 1 else ""
    if start == "entity_item" and (first in ("pin", "prefer", "machines") or second == "at"):
        return Slip(int(second == "at"), "pins, preferences and wants belong in a profile")
    if start in ("entity_item", "profile_item") and first in LAW_ITEMS | {"let"}:
        return Slip(0, "this is a line of a law; write it in one")
    return None


# What follows the keywords that may be taken for a value where the value is missing.
_FOLLOWERS = dict.fromkeys([*EVIDENCE, "because", "else"], "STRING")
_FOLLOWERS["if"] = "possible"


def _no_value(case: Case) -> Slip | None:
    """Keywords that were taken for the value that is missing before them."""
    tokens, at = case.tokens, case.at
    follower = _FOLLOWERS.get(str(tokens[at - 1])) if 1 < at < len(tokens) else None
    if follower is None or follower not in (tokens[at].type, str(tokens[at])):
        return None
    value = "a number or a name" if case.start == "law_item" else "a value like 1.75 mm"
    return Slip(at - 1, f"write {value} before it")


_SYNONYMS = {
    "use": ["import", "include"],
    "from": ["extends", "inherits", "like"],
    "of": ["for"],
    "by": ["of", "on"],
    "raise": ["increase", "higher", "more"],
    "lower": ["reduce", "decrease", "less"],
    "textbook": ["book"],
    "published": ["paper", "article"],
    "measured": ["measure"],
}
_OPENERS = {
    "profile_item": ["material", "machines", "prefer", "pin"],
    "law_item": sorted(LAW_ITEMS | {"let"}),
}
_JOINED = {"upto": "up to", "atmost": "at most", "atleast": "at least", "ifpossible": "if possible", "oneof": "one of"}


def _misspelt(case: Case) -> Slip | None:
    """A keyword that was nearly written."""
    from difflib import get_close_matches

    wrong = case.wrong
    possible = sorted(case.words & keywords().keys())
    if wrong is not None and wrong.type == "NAME":
        close = get_close_matches(str(wrong).casefold(), possible, n=2, cutoff=0.7)
        close = close or [k for k in possible if len(wrong) > 2 and k.startswith(wrong.casefold())]
        if close:
            return Slip(case.at, f"did you mean {listed(close)}?", tuple(_respelt(case, case.at, close)))
        told = next((k for k in possible if str(wrong) in _SYNONYMS.get(k, ())), None)
        if told:
            edit = case.spot.replace(wrong, wrong, told)
            return Slip(case.at, f"write {told} instead", case.spot.fix(f"write {told} for {wrong}", edit))
    if case.start in _OPENERS and case.at and str(case.tokens[0]) not in _OPENERS[case.start]:
        close = get_close_matches(str(case.tokens[0]).casefold(), _OPENERS[case.start], 1, 0.7)
        fixes = [fix for fix in _respelt(case, 0, close) if str(case.tokens[0]) != "machine"]
        if fixes:
            return Slip(case.at, f"did you mean {listed(close)}?", tuple(fixes))
    return None


def _respelt(case: Case, at: int, close: Sequence[str]) -> Iterator[Fix]:
    """Offer keywords for a word; one that differs by a letter is safe where no other and no name can be meant."""
    wrong = case.tokens[at]
    for word in close:
        sure = len(close) == 1 and at == case.at and differs_by_one(str(wrong).casefold(), word)
        yield from case.spot.fix(f"write {word} for {wrong}", case.spot.replace(wrong, wrong, word), safe=sure)


def differs_by_one(one: str, other: str) -> bool:
    """Tell whether two words differ by at most one letter: left out, too much, another, or two that changed places."""
    if len(one) > len(other):
        one, other = other, one
    if len(other) - len(one) > 1:
        return False
    start = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), len(one))
    if len(one) < len(other):
        return one[start:] == other[start + 1 :]
    swapped = one[start : start + 2] == other[start : start + 2][::-1]
    return one[start + 1 :] == other[start + 1 :] or (swapped and one[start + 2 :] == other[start + 2 :])


def _joined(case: Case) -> Slip | None:
    """Two keywords that were written as one word, or with a sign between them."""
    for at in (case.at, case.at - 1):
        written = _JOINED.get(str(case.tokens[at]).replace("_", "")) if 0 <= at < len(case.tokens) else None
        if written:
            token = case.tokens[at]
            fixes = case.spot.fix(f"write {written} for {token}", case.spot.replace(token, token, written), safe=True)
            if fixes:
                return Slip(at, f"write it as two words: {written}", fixes)
    first, last = case.previous, case.following
    if (
        case.wrong == "-"
        and first is not None
        and last is not None
        and case.touches(case.at)
        and case.touches(case.at + 1)
    ):
        written = f"{first} {last}"
        if first == "at" and last in ("most", "least"):
            fixes = case.spot.fix(f"write {written}", case.spot.replace(first, last, written), safe=True)
            return Slip(case.at, f"write it as two words: {written}", fixes)
    return None


def _dashed(case: Case) -> Slip | None:
    """A name with a dash in it."""
    at = case.at if case.wrong == "-" else case.at - 1
    if not 0 < at < len(case.tokens) - 1 or case.tokens[at] != "-":
        return None
    first, last = case.tokens[at - 1], case.tokens[at + 1]
    if not (first.type == last.type == "NAME" and case.touches(at) and case.touches(at + 1)):
        return None
    names = [f"{first}{sign}{last}" for sign in ("._" if case.start == "profile_item" else "_")]
    fixes = [case.spot.fix(f"write {name}", case.spot.replace(first, last, name)) for name in names]
    return Slip(at, f"a name has no dash in it, write {listed(names)}", tuple(f for some in fixes for f in some))


def _braces(case: Case) -> Slip | None:
    """A brace that opens a block where none can be."""
    wrong, previous = case.wrong, case.previous
    if previous is not None and previous.type == "LBRACE" and (wrong is None or wrong.type != "LBRACE"):
        edit = case.spot.remove(previous, previous)
        return Slip(case.at - 1, "remove it: a { stands at the end of its line", case.spot.fix("remove the {", edit))
    if wrong is None or wrong.type != "LBRACE":
        return None
    if "(" in case.words or "+" in case.words:
        return Slip(case.at, "a formula has parentheses, ( and ), and no braces")
    if case.start == "statement":
        needs_one = str(case.tokens[0]) in BLOCKS
        return None if needs_one else Slip(case.at, "only material, machine, profile, grade and law have a block")
    if case.following is None:
        return Slip(case.at, "a block cannot stand inside a block")
    return Slip(
        case.at, "remove it: no block can stand here", case.spot.fix("remove the {", case.spot.remove(wrong, wrong))
    )


# ---- texts and names


def _quoted(case: Case) -> Slip | None:
    """A text where a name, a word or a number belongs."""
    wrong = case.wrong
    if wrong is None or wrong.type != "STRING" or not wrong[1:-1].strip() or "STRING" in case.accepted:
        return None
    spot = case.spot
    texts = [t for t in case.tokens[case.at :] if t.type == "STRING"]
    for some in (texts, [wrong]):
        fixes = spot.fix(f"write {wrong[1:-1]} without quotes", *(spot.replace(t, t, t[1:-1].strip()) for t in some))
        if fixes:
            return Slip(case.at, f"names and values stand without quotes: {wrong[1:-1].strip()}", fixes)
    return None


def _unquoted(case: Case) -> Slip | None:
    """Words where a text belongs: as many of them as leave the rest sound."""
    wrong = case.wrong
    if wrong is None or "STRING" not in case.accepted or END in case.accepted or wrong.type not in ("NAME", "MEASURE"):
        return None
    if wrong in keywords():
        # Rather a word too much than one of the text.
        fixes = case.spot.fix(f"remove {wrong}", case.spot.remove(wrong, wrong))
        return Slip(case.at, f"remove {wrong}: the text in quotes follows right here", fixes) if fixes else None
    last = case.tokens[-1]
    for end in (last, wrong):
        text = case.source.text[wrong.start_pos : end.end_pos]
        if '"' in text or "\n" in text or "\\" in text:
            continue
        fixes = case.spot.fix(f'write "{text}" in quotes', case.spot.replace(wrong, end, f'"{text}"'))
        if fixes:
            return Slip(case.at, f'put it in quotes: "{text}"', fixes)
    return None


def _of(case: Case) -> Slip | None:
    """A small word between a name and its value."""
    wrong, previous = case.wrong, case.previous
    if case.at != 2 or wrong is None or str(previous) not in ("of", "is", "was", "equals", "are"):
        return None
    if case.start not in ("entity_item", "profile_item") or previous is None:
        return None
    edit = case.spot.remove(previous, previous)
    fixes = case.spot.fix(f"remove {previous}", edit)
    return Slip(1, f"write the value right after the name: {changed(case, edit)}", fixes) if fixes else None


def _repeated(case: Case) -> Slip | None:
    """The same word or sign twice."""
    wrong, previous = case.wrong, case.previous
    if wrong is None or previous is None or wrong != previous or wrong.type in ("NUMBER", "MEASURE", "RPAR"):
        return None
    if wrong.type == "NAME" and "+" in case.words:
        return None  # more likely an operator is missing
    sure = wrong.type != "NAME" or wrong in keywords()
    fixes = case.spot.fix(f"remove one {wrong}", case.spot.remove(wrong, wrong), safe=sure)
    return Slip(case.at, f"remove one of the two {wrong}", fixes, ((previous, "the first one"),)) if fixes else None


# ---- what is left: one word that is missing


def missing(case: Case) -> tuple[Fix, ...]:
    """Offer the one word or sign whose absence is all that is wrong; safe where nothing else can stand there."""
    wrong, previous = case.wrong, case.previous
    if previous is None:
        return ()
    if wrong is None:
        return case.spot.fix("remove the comma", case.spot.remove(previous, previous)) if previous == "," else ()
    possible = sorted(w for w in case.words if not w.isupper() and w != END)
    added = [(w, case.spot.insert(previous, w)) for w in possible if not w.startswith(previous)]
    found = [(f"write {w} after {_short(previous)}", e) for w, e in added if case.spot.outcome([e])]
    if not found and wrong.type == "NAME":
        put = [(w, case.spot.replace(wrong, wrong, w)) for w in possible]
        return _only([(f"write {w} for {wrong}", e) for w, e in put if case.spot.outcome([e])], case, False)
    return _only(found, case, len(case.words) == 1)


def _only(found: Sequence[tuple[str, Edit]], case: Case, safe: bool) -> tuple[Fix, ...]:
    return case.spot.fix(found[0][0], found[0][1], safe=safe) if len(found) == 1 else ()


def _short(token: Token) -> str:
    return token if len(token) <= 30 else token[:26] + "..."


def _let(case: Case) -> Slip | None:
    """A derived quantity, or a setting to fix, without its keyword."""
    first, second = case.tokens[0], case.tokens[1] if len(case.tokens) > 1 else None
    if case.at or case.start != "law_item" or first.type != "NAME" or second != "=":
        return None
    fixes = case.spot.fix(f"write let before {first}", case.spot.put_before(first, "let "))
    return Slip(0, f"write 'let' before it: let {shown(case.tokens)}", fixes)


_RULES: tuple[Rule, ...] = (_no_value, _elsewhere, _joined, _dashed, _misspelt, _braces)
_LATE: tuple[Rule, ...] = (_let, _of, _repeated, _quoted, _unquoted)
