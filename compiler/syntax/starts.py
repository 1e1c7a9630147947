"""What a line starts: a statement, an item of a block, or the rest of the line before it.

Keywords are names too, so the word alone does not decide; the token or two after it do.
"""

from collections.abc import Sequence

from .tokens import Token
from .tree import EVIDENCE

STATEMENTS = frozenset(["use", "material", "machine", "profile", "quantity", "setting", "grade", "merit", "law"])
BLOCKS = frozenset(["material", "machine", "profile", "grade", "law"])
OWNERS = frozenset(["material", "machine", "profile"])

ITEM_START = {
    "material": "entity_item",
    "machine": "entity_item",
    "profile": "profile_item",
    "grade": "grade_item",
    "law": "law_item",
}
"""Which rule the items of a block follow, by the first word of its head."""

LAW_ITEMS = frozenset(["about", "source", "when", "require", "valid", "caution", "prepare", "checked", "unchecked"])
_BAND_EDGES = frozenset(["up", "above", "from", "below"])
_EVIDENCE = frozenset(EVIDENCE)
_NUMBERS = frozenset(["NUMBER", "MEASURE"])
# After a name in an expression these go on with the expression or the item.
_AFTER_NAME = frozenset(["for", "from", "to", "in", "points", "and", "on", "is", "else", "remedy", "where"])
# In a value these are followed by a number, never by a name.
_BEFORE_NUMBER = frozenset(["±", "+-", "..", "-"])
_GOES_ON = {
    "head": frozenset(["step", "given", "rather"]),
    "law": frozenset(["and", "by", "else", "remedy", "where"]),
    "material": _EVIDENCE,
    "machine": _EVIDENCE,
    "profile": _EVIDENCE | {"because"},
}
_FAR = 12


def _at(tokens: Sequence[Token], at: int) -> tuple[str, str]:
    """Give type and text of a token; a line end where there is none."""
    return (tokens[at].type, str(tokens[at])) if at < len(tokens) else ("NEWLINE", "")


def statement(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether a line starts a statement, as its shape shows or at least its word and a brace."""
    word = str(tokens[at])
    if word not in STATEMENTS:
        return False
    (kind1, text1), (kind2, text2) = _at(tokens, at + 1), _at(tokens, at + 2)
    if word == "use":
        return kind1 == "STRING" or text1 == "library"
    if kind1 != "NAME":
        return False
    if word in OWNERS:
        shaped = kind2 == "LBRACE" or text2 == "from"
    else:
        shaped = text2 == {"quantity": "of", "setting": ":", "grade": "by", "merit": "=", "law": "{"}[word]
    return shaped or _opens(tokens, at)


def _opens(tokens: Sequence[Token], at: int) -> bool:
    """Tell whether the line has a brace, looking only so far that long lines cost nothing."""
    for token in tokens[at : at + _FAR]:
        if token.type in ("NEWLINE", "LBRACE"):
            return token.type == "LBRACE"
    return False


def item(kind: str, tokens: Sequence[Token], at: int, previous: str) -> bool:
    """Tell whether a line looks like a new item although the one before it, up to ``previous``, is not finished."""
    kind0, text0 = _at(tokens, at)
    kind1, text1 = _at(tokens, at + 1)
    if kind == "head":
        return statement(tokens, at)
    if kind0 != "NAME":
        return False
    if kind == "law":
        if text0 == "let":
            return kind1 == "NAME" and (_at(tokens, at + 2)[1] == "=" or text1 not in _AFTER_NAME)
        follows = kind1 in _NUMBERS or kind1 == "STRING" or (kind1 == "NAME" and text1 not in _AFTER_NAME)
        return text0 in LAW_ITEMS and follows
    if kind == "grade":
        return text1 in _BAND_EDGES
    if previous in _BEFORE_NUMBER:
        return True
    return kind1 in _NUMBERS or kind1 == "MINUS" or (kind1 == "NAME" and text1 != "giving")


def goes_on(kind: str, tokens: Sequence[Token], at: int) -> bool:
    """Tell whether a finished line goes on with the next one because of that one's first word."""
    word = str(tokens[at])
    if word not in _GOES_ON.get(kind, ()):
        return False
    if kind in ("head", "law"):
        return True
    # In a block of values these words may also be names of quantities with a value.
    (kind1, text1), (kind2, text2) = _at(tokens, at + 1), _at(tokens, at + 2)
    if kind1 in _NUMBERS or kind1 == "MINUS":
        return False
    return not (kind1 == "NAME" and (text1 == "at" or kind2 != "NAME" or text2 in _EVIDENCE))
