"""Slips with signs: equals signs, commas, comparisons, tolerances and ranges, operators, units with spaces."""

import re
from collections.abc import Sequence

from ..text.diagnostic import Fix
from .cases import END, FORMULAS, NUMBERS, RELATIONS, Case, Rule, Slip, changed
from .grammar import keywords
from .tokens import Token
from .wording import shown

_OPERATORS = frozenset(["+", "-", "*", "/"])
_OPERANDS = frozenset(["NAME", "NUMBER", "MEASURE", "RPAR"])
_VALUES = frozenset(["entity_item", "profile_item"])


def _logic(case: Case) -> Slip | None:
    """Conditions that are joined or turned in a way that there is not."""
    wrong, previous = case.wrong, case.previous
    if case.start != "law_item":
        return None
    if wrong == "and" and str(case.tokens[0]) in ("require", "valid"):
        return Slip(case.at, "compare two things a line, and write a second line for what follows")
    for at, word in ((case.at, wrong), (case.at - 1, previous)):
        if word is not None and at and str(word) in ("or", "not") and {"and", "is", END} & case.words:
            return Slip(at, f"a condition has no {word}, only and: write a law for each case")
    return None


def _run(case: Case, signs: str) -> tuple[Token, Token, str] | None:
    """Give the touching signs around the fault: the first and the last token, and their text."""
    tokens, first, last = case.tokens, case.at, case.at
    if case.wrong is None or not set(case.wrong) <= set(signs):
        return None
    while case.touches(first) and set(tokens[first - 1]) <= set(signs):
        first -= 1
    while case.touches(last + 1) and set(tokens[last + 1]) <= set(signs):
        last += 1
    return tokens[first], tokens[last], "".join(tokens[first : last + 1])


_RELATION_OF = {"=<": "<=", "=>": ">=", "≤": "<=", "≥": ">=", "<=": "<=", ">=": ">=", "<": "<=", ">": ">="}
_BOUND_OF = {"profile_item": {"<=": "at most", ">=": "at least"}, "grade_item": {"<=": "up to", ">=": "from"}}


def _bound(case: Case) -> Slip | None:
    """A comparison in a profile or a grade, where bounds are written in words."""
    run = _run(case, "<>=")
    relation = _RELATION_OF.get(run[2]) if run else None
    if run is None or relation is None or case.at != 1:
        return None
    if case.start == "entity_item":
        return Slip(case.at, "wants belong in a profile; here write a value, or a range like 0 .. 3 mm")
    if case.start not in _BOUND_OF:
        return None
    words = _BOUND_OF[case.start][relation]
    edit = case.spot.replace(run[0], run[1], words)
    fixes = case.spot.fix(f"write {words} for {run[2]}", edit, safe="=" in run[2])
    return Slip(case.at, f"write bounds in words: {changed(case, edit)}", fixes)


def _equals(case: Case) -> Slip | None:
    """An equals sign or a colon too much, or one for the other."""
    run = _run(case, "=:")
    if run is None:
        return None
    first, last, text = run
    for sign in ("=", ":"):
        if text != sign and (sign in case.words or first is not case.wrong):
            edit = case.spot.replace(first, last, sign)
            fixes = case.spot.fix(f"write {sign} for {text}", edit, safe=True)
            if fixes:
                return Slip(case.at, f"write {sign} instead: {changed(case, edit)}", fixes)
    if not case.at:
        return None
    edit = case.spot.remove(first, last)
    named = {"=": "equals sign", ":": "colon"}.get(text, text)
    fixes = case.spot.fix(f"remove the {named}", edit, safe=True)
    if fixes and case.start in _VALUES and case.at == 1:
        return Slip(case.at, f"write the value right after the name: {changed(case, edit)}", fixes)
    return Slip(case.at, f"remove the {named}: {changed(case, edit)}", fixes) if fixes else None


def _relation(case: Case) -> Slip | None:
    """A comparison that is written another way, for being equal, or where none can be."""
    tokens, at, words = case.tokens, case.at, case.words
    run = _run(case, "<>=")
    if run is None:
        return None
    first, last, text = run
    relation = _RELATION_OF.get(text)
    if relation and text not in RELATIONS:
        fixes = case.spot.fix(f"write {relation} for {text}", case.spot.replace(first, last, relation), safe=True)
        if fixes:
            return Slip(at, f"write {relation} instead", fixes)
    if RELATIONS & words or (RELATIONS & set(text) and first is not case.wrong):
        return _equality(case, first, last)
    if str(case.wrong) in RELATIONS and "+" in words:
        if not _closed(tokens[:at]):
            return Slip(at, "a comparison cannot stand inside parentheses")
        if before := [(t, "it is compared here already") for t in tokens[:at] if str(t) in RELATIONS]:
            return Slip(at, "compare two things a line, and write a second line for the third", (), tuple(before))
        return Slip(at, "a comparison stands only after require, valid, when or where")
    return None


def _equality(case: Case, first: Token, last: Token) -> Slip:
    fixes: tuple[Fix, ...] = ()
    if "is" in case.words:
        fixes = case.spot.fix("write is", case.spot.replace(first, last, "is"))
        if fixes:
            return Slip(
                case.at, "for a quantity that is a word write 'is'; numbers are compared by <=, >=, < or >", fixes
            )
    return Slip(case.at, "compare by <=, >=, < or >; two lines hold something between two limits")


def _comma(case: Case) -> Slip | None:
    """A comma in a number, or one too much."""
    at, wrong, previous, following = case.at, case.wrong, case.previous, case.following
    if wrong is None or wrong.type != "COMMA" or previous is None:
        return None
    digits = re.match(r"[0-9]*", following or "")
    if previous.type == "NUMBER" and following is not None and case.touches(at + 1) and digits and digits[0]:
        return _decimal(case, previous, following, len(digits[0]))
    edit = case.spot.remove(wrong, wrong)
    # Between two names it is rather right, and another word is missing.
    named = previous.type == "NAME" and following is not None and following.type == "NAME"
    fixes = case.spot.fix("remove the comma", edit, safe=not named or str(following) in keywords())
    if following is None and "," not in case.words:
        return Slip(at, "remove the comma: the line ends here", fixes)
    return Slip(at, f"remove the comma: {changed(case, edit)}", fixes) if fixes else None


def _decimal(case: Case, previous: Token, following: Token, digits: int) -> Slip:
    point, plain = f"{previous}.{following}", f"{previous}{following}"
    as_point = case.spot.fix(f"write {point}", case.spot.replace(previous, following, point), safe=digits != 3)
    as_plain = case.spot.fix(f"write {plain}", case.spot.replace(previous, following, plain))
    if "." in following:
        return Slip(case.at, f"write large numbers without a comma: {plain}", as_plain)
    if digits == 3:
        return Slip(
            case.at, f"write decimals with a point: {point}, and large numbers without: {plain}", as_point + as_plain
        )
    return Slip(case.at, f"write decimals with a point: {point}", as_point)


def _grouped(case: Case) -> Slip | None:
    """A number in groups of digits."""
    wrong, previous = case.wrong, case.previous
    if wrong is None or previous is None or previous.type != "NUMBER":
        return None
    groups = re.match(r"_?[0-9]{3}(?![0-9.])", wrong)
    if groups is None or len(previous) > 3 or "." in previous:
        return None
    whole = f"{previous}{wrong.lstrip('_')}"
    fixes = case.spot.fix(f"write {whole}", case.spot.replace(previous, wrong, whole))
    return Slip(case.at, f"write large numbers without a space: {whole}", fixes) if fixes else None


def _tolerance(case: Case) -> Slip | None:
    """``+/-``, and tolerances in formulas."""
    tokens, at = case.tokens, case.at
    if case.start in FORMULAS and str(case.wrong) in ("±", "..") and "+" in case.words:
        return Slip(at, f"a formula has no {case.wrong}: give the range to a quantity, and name that quantity here")
    for i in (at - 2, at - 1, at):
        signs = tokens[i : i + 3]
        if i > 0 and list(map(str, signs)) == ["+", "/", "-"] and signs[0].end_pos == signs[1].start_pos:
            fixes = case.spot.fix("write ± for +/-", case.spot.replace(signs[0], signs[2], "±"), safe=True)
            return Slip(i, "write ±, or +- in its place", fixes)
    return None


def _range(case: Case) -> Slip | None:
    """A range that is written with a word or a dash."""
    wrong, previous, following = case.wrong, case.previous, case.following
    if wrong is None or previous is None or following is None or ".." not in case.words:
        return None
    if str(wrong) not in ("to", "until", "-") or previous.type not in NUMBERS or following.type not in NUMBERS:
        return None
    edit = case.spot.replace(wrong, wrong, "..")
    fixes = case.spot.fix(f"write .. for {wrong}", edit, safe=wrong != "-")
    return Slip(case.at, f"write a range with two points: {previous} .. {following}", fixes) if fixes else None


def _plus(case: Case) -> Slip | None:
    """A plus before a number or a name."""
    wrong, following = case.wrong, case.following
    if wrong != "+" or following is None or not case.touches(case.at + 1):
        return None
    fixes = case.spot.fix("remove the +", case.spot.remove(case.tokens[case.at], case.tokens[case.at]), safe=True)
    return Slip(case.at, "remove the +: what has no sign is positive", fixes) if fixes else None


def _comment(case: Case) -> Slip | None:
    """A comment that starts with two dashes."""
    tokens, at = case.tokens, case.at
    first = at - 1 if at and tokens[at - 1] == "-" and case.touches(at) else at
    if tokens[first : first + 1] != ["-"] or tokens[first + 1 : first + 2] != ["-"] or not case.touches(first + 1):
        return None
    edit = case.spot.replace(tokens[first], tokens[first + 1], "#")
    return Slip(first, "comments start with #", case.spot.fix("write # for --", edit) if first else ())


def _power(case: Case) -> Slip | None:
    """A power that is written with two signs."""
    wrong, previous = case.wrong, case.previous
    if wrong is None or previous is None or wrong != previous or wrong.type not in ("STAR", "CIRCUMFLEX"):
        return None
    edit = case.spot.replace(previous, wrong, "^")
    fixes = case.spot.fix(f"write ^ for {previous}{wrong}", edit, safe=case.touches(case.at))
    return Slip(case.at, "write ^ for a power", fixes)


def _times(case: Case) -> Slip | None:
    """A product whose sign is an x, or is left away."""
    wrong, previous, following = case.wrong, case.previous, case.following
    if wrong is None or previous is None or "*" not in case.words or previous.type not in _OPERANDS:
        return None
    if wrong == "x" and following is not None and case.start in FORMULAS:
        edit = case.spot.replace(wrong, wrong, "*")
        fixes = case.spot.fix("write * for x", edit)
        return Slip(case.at, f"write * for times: {previous} * {following}", fixes) if fixes else None
    times = re.fullmatch(r"([0-9.eE+-]+)[ \t]*x", previous)
    if times and wrong.type in NUMBERS | {"NAME"}:
        edit = case.spot.replace(previous, previous, f"{times[1]} *")
        fixes = case.spot.fix("write * for x", edit)
        return Slip(case.at, f"write * for times: {times[1]} * {wrong}", fixes) if fixes else None
    if wrong.type == "LPAR":
        edit = case.spot.insert(previous, "*")
        return Slip(case.at, f"write * between what is multiplied: {previous} * (", case.spot.fix("write *", edit))
    return None


def _unit(case: Case) -> Slip | None:
    """A unit with spaces inside."""
    wrong, previous, following = case.wrong, case.previous, case.following
    if (
        wrong is None
        or previous is None
        or previous.type not in NUMBERS
        or END not in case.accepted
        or "+" in case.words
    ):
        return None
    advice = "write the unit without spaces inside, like mm3/s"
    if wrong.type in ("SLASH", "STAR", "CIRCUMFLEX"):
        if following is None or following.type not in ("NAME", "NUMBER"):
            return Slip(case.at, advice)
        unit = f"{wrong}{following}"
        edit = case.spot.edit(previous.end_pos, following.end_pos, unit)
        return Slip(case.at, advice, case.spot.fix(f"write {previous}{unit}", edit, safe=True))
    if wrong.type == "NAME" and len(wrong) <= 3 and wrong not in keywords():
        return Slip(case.at, f"end the line here, or {advice}")
    return None


def _parenthesis(case: Case) -> Slip | None:
    """A parenthesis that closes nothing."""
    if case.wrong is None or case.wrong.type != "RPAR" or not _closed(case.tokens[: case.at]):
        return None
    fixes = case.spot.fix("remove the )", case.spot.remove(case.wrong, case.wrong))
    return Slip(case.at, "remove it, or add the ( that it should close", fixes)


def _closed(tokens: Sequence[Token]) -> bool:
    return sum(t.type == "LPAR" for t in tokens) <= sum(t.type == "RPAR" for t in tokens)


def _listed(case: Case) -> Slip | None:
    """Names that stand without commas, or with another word between them."""
    wrong, previous, following = case.wrong, case.previous, case.following
    if wrong is None or previous is None or "," not in case.words or previous.type != "NAME":
        return None
    if str(wrong) in ("and", "or", "then", ">") and following is not None and following.type == "NAME":
        edit = case.spot.edit(previous.end_pos, wrong.end_pos, ",")
        fixes = case.spot.fix(f"write a comma for {wrong}", edit)
    elif wrong.type == "NAME":
        rest = [t for t in case.tokens[case.at - 1 :] if t.type == "NAME"]
        one = [case.spot.insert(previous, ",")]
        fixes = case.spot.fix("write a comma between them", *one)
        if not fixes or not case.spot.outcome(one):
            fixes = case.spot.fix("write commas between them", *(case.spot.insert(t, ",") for t in rest[:-1]))
        following = wrong
    else:
        return None
    advice = f"write commas between names: {shown([f'{previous},', str(following)])}"
    if wrong is following and str(case.tokens[0]) == "machines":
        name = f"{previous}_{following}"
        joined = case.spot.fix(f"write {name}", case.spot.replace(previous, wrong, name))
        fixes, advice = fixes + joined, f"{advice}; a name has _ instead of spaces: {name}"
    return Slip(case.at, advice, fixes) if fixes else None


RULES: tuple[Rule, ...] = (
    _logic,
    _comment,
    _tolerance,
    _range,
    _plus,
    _bound,
    _relation,
    _equals,
    _comma,
    _grouped,
    _power,
    _times,
    _listed,
    _unit,
    _parenthesis,
)
