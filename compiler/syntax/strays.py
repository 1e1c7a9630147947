"""Characters that no word begins with, and comments of other notations: what they are, and what to write instead."""

import re
import unicodedata
from typing import NamedTuple


class Stray(NamedTuple):
    """A stretch of a text that means nothing, up to ``end``.

    ``texts`` are what may be written for it, the likely one first, ``safe`` whether the first leaves no doubt. What is
    put in for a text in other quotes counts as a text, so that its words are not looked at.
    """

    end: int
    found: str
    advice: str
    texts: tuple[str, ...] = ()
    safe: bool = False

    @property
    def is_text(self) -> bool:
        """Whether it is a text in other quotes."""
        return bool(self.texts) and self.texts[0].startswith('"')


def stray(text: str, at: int, kind: str) -> Stray:
    """Say what a character at ``at`` is, which means nothing in a head or an item of a block of ``kind``."""
    rules = (_comment, _quotes, _point, _power, _degree, _semicolon)
    return next((found for rule in rules if (found := rule(text, at))), None) or _character(text, at, kind)


def opens_comment(text: str, at: int) -> bool:
    """Tell whether two signs that can never stand together open a comment."""
    return text.startswith(("//", "/*"), at)


def _comment(text: str, at: int) -> Stray | None:
    if not opens_comment(text, at):
        return None
    line = _line_end(text, at)
    sign = text[at : at + 2]
    close = text.find("*/", at, at + 20_000) if sign == "/*" else -1
    advice = "comments start with #, and end with the line"
    if close > line:
        return Stray(close + 2, f"'{sign}'", advice)
    rest = text[at + 2 : line] if close < 0 else text[at + 2 : close]
    if close >= 0 and text[close + 2 : line].strip():
        return Stray(close + 2, f"'{sign}'", advice)
    return Stray(line, f"'{sign}'", advice, (f"#{rest}".rstrip(),), True)


_DOUBLE, _SINGLE = "“”„‟«»", "'‘’‚‛`´′"


def _quotes(text: str, at: int) -> Stray | None:
    """A text in quotes of another kind, with the same kind or a plain quote at its end."""
    sign = text[at]
    if sign not in _DOUBLE + _SINGLE:
        return None
    double = sign in _DOUBLE
    rest = text[at + 1 : _line_end(text, at)]
    advice = 'write a plain quote: "' if double else 'write texts in double quotes: "'
    shown = '"\'"' if sign == "'" else f"'{sign}'"
    if text[at - 1 : at].isdigit() and re.match(r"[0-9]{3}(?![0-9])", rest):
        return Stray(at + 1, shown, "write large numbers without a sign between the digits", ("",))
    ends = [i for i, c in enumerate(rest) if c in (_DOUBLE + '"' if double else _SINGLE)]
    end = next((i for i in ends if not rest[i + 1 : i + 2].isalnum()), None)
    if text[at - 1 : at].isdigit() and not rest[:1].isalnum():
        advice = "write a unit like mm or s"
    if end is None or not rest[:end].strip() or text[at - 1 : at].isalnum() or '"' in rest[:end]:
        return Stray(at + 1, shown, advice)
    return Stray(at + end + 2, shown, advice, (f'"{rest[:end]}"',), True)


def _point(text: str, at: int) -> Stray | None:
    if text[at] != ".":
        return None
    before, after = text[at - 1 : at], text[at + 1 : at + 2]
    if before == ".":
        return Stray(at + 1, "a third point", "write .. for a range", ("",), True)
    if after.isdigit() and before.isdigit():
        return Stray(at + 1, "a second point in a number", "write a number with one point, and .. for a range")
    if after.isdigit():
        return Stray(at + 1, "a point before a digit", f"write a 0 before the point: 0.{after}", ("0.",), True)
    if before.isdigit():
        return Stray(at + 1, "a point without digits after it", "remove the point", ("",), True)
    ends = not text[at + 1 : _line_end(text, at)].partition("#")[0].strip()
    return Stray(at + 1, "'.'", "remove the point" if ends else "remove it, or put it in quotes", ("",), ends)


_RAISED = re.compile("⁻?[⁰¹²³⁴-⁹]+")
_POWERS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")


def _power(text: str, at: int) -> Stray | None:
    power = _RAISED.match(text, at)
    if power is None:
        return None
    number = power[0].translate(_POWERS)
    if number.startswith("-"):
        advice = f"write the power of a name like gap^{number}, and a unit with a stroke like 1/s"
        return Stray(power.end(), f"'{power[0]}'", advice, (f"^{number}",))
    advice = f"write the power of a unit like mm{number}, of a name like diameter^{number}"
    of_unit = re.search(r"[0-9][ \t]*(?:1/)?(?:[A-Za-zµμ°]+[0-9]*[*/])*[A-Za-zµμ°]+$", text[max(at - 40, 0) : at])
    texts = (number,) if of_unit else (f"^{number}",)
    return Stray(power.end(), f"'{power[0]}'", advice, texts, True)


_DEGREE = re.compile("℃|º[ \\t]*C\\b|º")


def _degree(text: str, at: int) -> Stray | None:
    found = _DEGREE.match(text, at)
    if found is None:
        return None
    sure = found[0] != "º"
    advice = "write degC" if found[0] == "℃" else "write degC for degrees Celsius"
    return Stray(found.end(), f"'{found[0]}'", advice, ("degC",), sure)


def _semicolon(text: str, at: int) -> Stray | None:
    if text[at] != ";":
        return None
    line = text[text.rfind("\n", 0, at) + 1 : at]
    rest = text[at + 1 : _line_end(text, at)].partition("#")[0]
    if rest.strip() in ("", "}"):
        return Stray(at + 1, "';'", "remove it: an item ends with its line", ("",), True)
    indent = line[: len(line) - len(line.lstrip())]
    begin = len(rest) - len(rest.lstrip())
    return Stray(at + 1 + begin, "';'", "write every item on a line of its own", (f"\n{indent}", ", "))


_IN_FORMULAS = "×·∙⋅÷∕π√"
_FORMULAS = ("law", "merit")
_BOUNDS = {"profile": ("at most", "at least"), "grade": ("up to", "from")}
_INSTEAD: dict[str, tuple[str, tuple[str, ...], bool]] = {
    **dict.fromkeys("øØ⌀", ("remove it: the name tells that it is a diameter", ("",), True)),
    "−": ("write a plain minus: -", ("-",), True),
    "‑": ("write - for minus, and _ in names", ("-", "_"), False),
    "‐": ("write - for minus, and _ in names", ("-", "_"), False),
    "…": ("write .. for a range", ("..",), True),
    "×": ("write *", ("*",), True),
    "·": ("write *", ("*",), True),
    "∙": ("write *", ("*",), True),
    "⋅": ("write *", ("*",), True),
    "÷": ("write /", ("/",), True),
    "∕": ("write /", ("/",), True),
    "π": ("write pi", ("pi",), True),
    "∓": ("write ±", ("±",), False),
    "√": ("write sqrt(x) for a root", (), False),
    "≠": ("compare by <=, >=, < or >", (), False),
    "!": ("a condition has no not; compare by <=, >=, < or >", (), False),
    "~": ("write a tolerance after the number, like: 3 ± 0.5 mm", (), False),
    "≈": ("write a tolerance after the number, like: 3 ± 0.5 mm", (), False),
    "[": ("write { } around blocks, ( ) in formulas, and nothing around lists and ranges", ("", "("), False),
    "]": ("write { } around blocks, ( ) in formulas, and nothing around lists and ranges", ("", ")"), False),
    "&": ("write 'and'", ("and",), False),
    "|": ("write a comma between words, and abs(x) for a value without its sign", (",",), False),
    "%": ("write % right after a number; comments start with #", ("#",), False),
    "\\": ("remove it; a long line goes on after an operator or a comma", ("",), False),
}


def _character(text: str, at: int, kind: str) -> Stray:
    sign = text[at]
    end = at + 1
    while end < len(text) and text[end] == sign and (sign in "&|" or _unseen(sign)):
        end += 1
    found = '"\'"' if sign == "'" else f"'{text[at:end]}'"
    if _unseen(sign):
        name = f"the character U+{ord(sign):04X}"
        if sign.isspace():
            return Stray(end, name, "write a plain space", (" ",), True)
        return Stray(end, name, "remove it", ("",), unicodedata.category(sign) == "Cf")
    if sign in "≤≥" and kind in ("material", "machine"):
        return Stray(end, found, "wants belong in a profile; here write a value, or a range like 0 .. 3 mm")
    if sign in "≤≥":
        words = _BOUNDS.get(kind, ("<=", ">="))["≤≥".index(sign)]
        return Stray(end, found, f"write {words}", (words,), True)
    if sign in "–—":
        return _dash(text, at, kind)
    if sign == "[" and re.match(r"[ \t]*-?[0-9]", text[end : end + 20]):
        return Stray(end, found, "write a range with two points and nothing around it: 0 .. 3 mm")
    if sign in _IN_FORMULAS and kind not in _FORMULAS:
        return Stray(end, found, "write one number with its unit: only laws and merits have formulas")
    if sign in _INSTEAD:
        return Stray(end, found, *_INSTEAD[sign])
    if sign.isalpha():
        return Stray(end, found, "write names and units with the letters a to z, digits and _")
    return Stray(end, found, "remove it, or put it in quotes", ("",))


def _dash(text: str, at: int, kind: str) -> Stray:
    """A long dash: a minus in formulas, else perhaps a minus, what joins a range, or only a dash between words."""
    found = f"'{text[at]}'"
    if kind in _FORMULAS:
        return Stray(at + 1, found, "write a plain minus: -", ("-",), True)
    advice = "write .. for a range, - for minus, and nothing between a name and its value"
    rest = text[at + 1 : _line_end(text, at)]
    spaces = len(rest) - len(rest.lstrip(" \t"))
    if not spaces:
        return Stray(at + 1, found, advice, ("..", "-"))
    if text[at + 1 + spaces : at + 2 + spaces].isdigit() and re.search(
        r"[0-9][^ \t\n]*[ \t]*[^ \t\n]*[ \t]*$", text[max(at - 20, 0) : at]
    ):
        return Stray(at + 1, found, advice, ("..",))
    return Stray(at + 1 + spaces, found, advice, ("",))


def _unseen(sign: str) -> bool:
    return not sign.isprintable() or sign.isspace()


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if text[end - 1 : end] == "\r" else end
