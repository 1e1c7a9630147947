"""Words for tokens and for what may stand at a place, in the terms of the language reference."""

from collections.abc import Sequence

from .grammar import keywords, parser
from .starts import BLOCKS, LAW_ITEMS
from .tokens import Token
from .tree import EVIDENCE

_RELATIONS = frozenset(["<=", ">=", "<", ">"])
# What follows the keywords that may be taken for a value where the value is missing.
_FOLLOWERS = dict.fromkeys([*EVIDENCE, "because", "else"], "STRING")
_FOLLOWERS["if"] = "possible"
_END = "$END"


def token_words(token: Token) -> str:
    """Say what a token is, as it was written."""
    text = str(token)
    if token.type == "STRING":
        return "the text " + (text if len(text) <= 30 else text[:26] + '..."')
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"


def head_words(tokens: Sequence[Token]) -> str:
    """Say what a head declares."""
    return " ".join(str(t) for t in tokens[:2])


def slip(tokens: Sequence[Token], at: int, start: str, accepted: set[str]) -> str:
    """Say what to do about the token at ``at``, where ``accepted`` may stand, if it is a slip that is known."""
    words = _texts(accepted)
    return _misspelt(tokens, at, start, words) or _slip(tokens, at, start, words)


def earlier(tokens: Sequence[Token], at: int, start: str) -> tuple[int, str]:
    """Recognise faults that lie before the token at ``at``: which token shows it, and what to do (or nothing).

    These are items that belong into another kind of block, and keywords that were taken for a missing value.
    """
    follower = _FOLLOWERS.get(str(tokens[at - 1])) if 0 < at < len(tokens) else None
    if at > 1 and follower is not None and follower in (tokens[at].type, str(tokens[at])):
        value = "a number or a name" if start == "law_item" else "a value like 1.75 mm"
        return at - 1, f"write {value} before it"
    first, second = str(tokens[0]), str(tokens[1]) if len(tokens) > 1 else ""
    if start == "entity_item" and (first in ("pin", "prefer", "machines") or second == "at"):
        return int(second == "at"), "pins, preferences and wants belong in a profile"
    if start in ("entity_item", "profile_item") and first in LAW_ITEMS | {"let"}:
        return 0, "this is a line of a law; write it in one"
    return 0, ""


def _texts(accepted: set[str]) -> set[str]:
    """Give terminals by the text they stand for, or by their name where they stand for many."""
    patterns = {t.name: str(t.pattern.value) for t in parser().terminals if t.pattern.type == "str"}
    return {"±" if t == "_PLUS_MINUS" else patterns.get(t, t) for t in accepted}


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1] if words else ""


def _misspelt(tokens: Sequence[Token], at: int, start: str, words: set[str]) -> str:
    """Recognise a keyword that was nearly written."""
    from difflib import get_close_matches

    possible = sorted(words & keywords().keys())
    wrong = tokens[at]
    if wrong.type == "NAME":
        close = get_close_matches(str(wrong).casefold(), possible, n=2, cutoff=0.7)
        if close:
            return f"did you mean {_listed(close)}?"
    if start == "profile_item" and at:
        close = get_close_matches(str(tokens[0]).casefold(), ["material", "machines", "prefer", "pin"], 1, 0.7)
        if close and close[0] != str(tokens[0]):
            return f"did you mean {close[0]}?"
    return ""


def _slip(tokens: Sequence[Token], at: int, start: str, words: set[str]) -> str:
    """Recognise what people write who are used to another notation."""
    wrong, previous = tokens[at], tokens[at - 1] if at else None
    following = tokens[at + 1] if at + 1 < len(tokens) else None
    if wrong.type == "LBRACE":
        if start != "statement":
            return "a block cannot stand inside a block"
        needs_one = str(tokens[0]) in BLOCKS
        return "" if needs_one else "only material, machine, profile, grade and law have a block"
    if wrong.type == "RPAR" and _closed(tokens[:at]):
        return "remove it, or add the ( that it should close"
    if previous is None:
        return ""
    if wrong.type in ("EQUAL", "COLON") and start in ("entity_item", "profile_item") and at == 1:
        return f"write the value right after the name: {_shown([previous, *tokens[at + 1 :]])}"
    if wrong.type == "COMMA" and previous.type == "NUMBER" and _touches(wrong, following):
        return f"write decimals with a point: {previous}.{following}"
    if str(wrong) in _RELATIONS and not _RELATIONS & words and "+" in words:
        return _beyond_comparison(tokens[:at])
    if wrong.type == "STAR" and previous.type == "STAR":
        return "write ^ for a power"
    if "+" not in words and previous.type in ("NUMBER", "MEASURE") and _END in words:
        return _unit_with_spaces(wrong)
    return ""


def _shown(tokens: Sequence[Token]) -> str:
    """Show the first words of a line."""
    return " ".join(str(t) for t in tokens[:4])


def _beyond_comparison(before: Sequence[Token]) -> str:
    if any(str(t) in _RELATIONS for t in before):
        return "compare two things a line, and write a second line for the third"
    return "a comparison stands only after require, valid, when or where"


def _unit_with_spaces(wrong: Token) -> str:
    advice = "write the unit without spaces inside, like mm3/s"
    if wrong.type in ("SLASH", "STAR", "CIRCUMFLEX"):
        return advice
    return f"end the line here, or {advice}" if wrong.type == "NAME" and len(wrong) <= 3 else ""


def _touches(wrong: Token, following: Token | None) -> bool:
    """Tell whether a number follows without a space."""
    if following is None or following.type not in ("NUMBER", "MEASURE"):
        return False
    return wrong.end_pos == following.start_pos


def _closed(tokens: Sequence[Token]) -> bool:
    return sum(t.type == "LPAR" for t in tokens) <= sum(t.type == "RPAR" for t in tokens)
