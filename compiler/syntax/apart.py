"""Slips of what belongs together and was written apart: names with spaces, hardness scales, items on one line."""

import re

from ..text.diagnostic import Fix
from .cases import NUMBERS, Case, Rule, Slip
from .grammar import keywords
from .starts import OWNERS
from .tokens import Token

_VALUES = frozenset(["entity_item", "profile_item"])
# Words that are said before a value and are no part of a name.
_ABOUT = frozenset(["about", "approx", "approximately", "around", "ca", "circa", "roughly", "nearly"])
_SAID = _ABOUT | {"want", "wants", "of", "is", "was", "are", "equals", "to", "exactly", "only"}
_SAID |= {"max", "min", "over", "under", "shore"}


def _spaced(case: Case) -> Slip | None:
    """A name that was written with spaces in it."""
    found = _head(case) if case.start == "statement" else _reference(case) or _quantity(case)
    if found is None:
        return None
    names, shown, words = found
    at = case.tokens.index(words[1])
    fixes = tuple(f for name in names for f in _join(case, words, name))
    if case.start == "statement" and len(words) == 2 and "from" not in map(str, case.tokens):
        fixes += case.spot.fix(f"write from after {words[0]}", case.spot.insert(words[0], "from"))
    advice = f"write a name with _ instead of spaces: {shown}"
    if len(names) > 1:
        advice = f"write a name without spaces: {' or '.join(names)}"
    sign = _sign(case, words)
    advice += f", and no {sign} after it" if sign is not None else ""
    return Slip(at, advice, fixes) if fixes else None


_Words = tuple[list[str], str, list[Token]]
"""What the name may be, how that is shown, and its words."""


def _head(case: Case) -> _Words | None:
    """The name of a block, or of what it inherits from."""
    tokens, at, wrong = case.tokens, case.at, case.wrong
    if str(tokens[0]) not in OWNERS or wrong is None or at < 2:
        return None
    if str(tokens[at - 1]) == "from" or str(wrong) == "from":
        return None
    first = at - 1
    if first != 1 and str(tokens[first - 1]) != "from":
        return None
    words = _names(case, first)
    if len(words) < 2:
        return None
    joined = "_".join(words)
    more = "" if "from" in map(str, tokens) else "; what it inherits from follows the word from"
    return [joined], joined + more, words


def _reference(case: Case) -> _Words | None:
    """The material of a profile, or its only machine."""
    tokens, at = case.tokens, case.at
    if case.start != "profile_item" or at != 2 or str(tokens[0]) not in ("material", "machine"):
        return None
    words = _names(case, 1)
    if len(words) < 2 or len(words) + 1 < len(tokens):
        return None
    return ["_".join(words)], "_".join(words), words


def _quantity(case: Case) -> _Words | None:
    """What is given a value, wanted or pinned."""
    tokens = case.tokens
    if case.start not in _VALUES or not 0 < case.at <= 3:
        return None
    pinned = case.start == "profile_item" and str(tokens[0]) == "pin"
    words = _names(case, int(pinned))
    end = len(words) + pinned
    if len(words) < 2 or end >= len(tokens) or case.at > end or str(words[0]) in OWNERS | {"machines", "prefer"}:
        return None
    after = tokens[end]
    signed = str(after) in ("=", ":", "-") and end + 1 < len(tokens)
    bounded = case.start == "profile_item" and str(after) == "at"
    if not (after.type in NUMBERS or signed or bounded) or any(w.casefold() in _SAID for w in words):
        return None
    grouped = case.start == "profile_item" and not any("." in w for w in words)
    names = [f"{words[0]}.{'_'.join(words[1:])}"] if grouped else []
    names.append("_".join(words))
    return names, names[0], words


def _names(case: Case, first: int) -> list[Token]:
    """List the words from a place that may be parts of one name."""
    words: list[Token] = []
    for token in case.tokens[first:]:
        if words and (case.start == "statement" or first == 1) and re.fullmatch("[0-9]+[A-Za-z_0-9]*", token):
            words.append(token)
            continue
        if token.type != "NAME" or (str(token) in keywords() and str(token) not in OWNERS):
            break
        words.append(token)
    return words


def _join(case: Case, words: list[Token], name: str) -> tuple[Fix, ...]:
    """Join the words, and drop the sign that stands between the name and its value where there may be none."""
    edit, sign = case.spot.replace(words[0], words[-1], name), _sign(case, words)
    if sign is not None:
        return case.spot.fix(f"write {name}, and remove the {sign}", edit, case.spot.remove(sign, sign))
    return case.spot.fix(f"write {name}", edit)


def _sign(case: Case, words: list[Token]) -> Token | None:
    """Give the sign that stands between a name and its value, where there may be none."""
    after = case.tokens[case.tokens.index(words[-1]) + 1 :]
    if case.start not in _VALUES or str(case.tokens[0]) == "pin" or not after:
        return None
    return after[0] if str(after[0]) in ("=", ":") else None


def _about(case: Case) -> Slip | None:
    """A word for a tolerance."""
    word, wrong = case.previous, case.wrong
    if case.start not in _VALUES or case.at != 2 or word is None or wrong is None or wrong.type not in NUMBERS:
        return None
    if str(word) not in _ABOUT:
        return None
    fixes = case.spot.fix(f"remove {word}", case.spot.remove(word, word))
    return Slip(1, f"write the number alone, and how far it may be off after ±: {case.tokens[0]} {wrong} ± 5 %", fixes)


_APART = re.compile(r"\bshore(?:[ad]?)\b", re.IGNORECASE)
_SCALE = re.compile(
    r"\bshore[\s_-]*([ad])?[\s:]*([0-9.]+(?:\s*(?:±|\+-|\.\.)\s*[0-9.]+)?)\s*(?:([ad])\b)?|"
    r"(?<=[0-9])[ \t]*\bshore[\s_-]*([ad])\b|(?<=[0-9])[ \t]*\b([ad])[ \t-]*shore\b",
    re.IGNORECASE,
)


def _scale(case: Case) -> Slip | None:
    """A hardness scale with a space in it, or before the number."""
    if case.start not in _VALUES or not any(_APART.search(t) for t in case.tokens[1 : case.at + 2]):
        return None
    spot = case.spot
    begin = case.tokens[0].end_pos
    end = min((t.start_pos for t in case.tokens if t.type == "STRING"), default=spot.end)
    found = _SCALE.search(case.source.text, begin, end)
    if found is None:
        return Slip(case.at, "the scales are shore_a and shore_d, written after the number like 85 shore_a")
    before, number, behind, after, turned = found.groups()
    letter = before or behind or after or turned
    if letter is None:
        return Slip(case.at, "the scales are shore_a and shore_d, written after the number like 85 shore_a")
    unit = f"shore_{letter.casefold()}"
    written = f"{number} {unit}" if number else f" {unit}"
    edit = spot.edit(found.start(), found.end(), written)
    fixes = spot.fix(f"write {written.strip()}", edit, safe=True)
    return Slip(case.at, f"write the scale as one word after the number: {unit}", fixes) if fixes else None


def _percent(case: Case) -> Slip | None:
    """A unit behind ``%``, which is one already."""
    wrong, previous = case.wrong, case.previous
    if case.start not in _VALUES or wrong is None or wrong.type != "NAME" or str(wrong) in keywords():
        return None
    if previous is None or previous.type != "MEASURE" or not previous.endswith("%"):
        return None
    fixes = case.spot.fix(f"remove {wrong}", case.spot.remove(wrong, wrong))
    return Slip(case.at, f"remove {wrong}: % is the unit already", fixes) if fixes else None


def _together(case: Case) -> Slip | None:
    """Two items on one line, with a comma or a word between them."""
    wrong, following = case.wrong, case.following
    if case.start not in _VALUES or wrong is None or following is None or case.at < 2:
        return None
    if str(wrong) not in (",", "and") or following.type != "NAME" or str(following) in keywords():
        return None
    text = case.source.text
    line = text[text.rfind("\n", 0, case.spot.begin) + 1 : case.spot.begin]
    if line.strip():
        return None
    edit = case.spot.edit(case.tokens[case.at - 1].end_pos, following.start_pos, f"\n{line}")
    fixes = case.spot.fix("start a new line", edit)
    return Slip(case.at, "write every item on a line of its own", fixes) if fixes else None


def _head_colon(case: Case) -> Slip | None:
    """A colon in a head: before what is inherited from, or in the place of the brace."""
    tokens, wrong, following = case.tokens, case.wrong, case.following
    if case.start != "statement" or str(tokens[0]) not in OWNERS or str(wrong) != ":" or wrong is None:
        return None
    if following is None or "\n" in case.source.text[wrong.end_pos : following.start_pos]:
        return Slip(case.at, "write { for the colon, and } on a line of its own at the end of the block")
    if case.at == 2 and following.type == "NAME" and "from" in case.words:
        fixes = case.spot.fix("write from for the colon", case.spot.replace(wrong, wrong, "from"))
        return Slip(case.at, f"write from instead: {tokens[0]} {tokens[1]} from {following}", fixes) if fixes else None
    return None


EARLY: tuple[Rule, ...] = (_scale, _head_colon, _about, _percent, _together)
"""Rules that are asked first, as they know more than those of single words and signs."""
LATE: tuple[Rule, ...] = (_spaced,)
"""Rules that are asked where no slip of a word is found."""
