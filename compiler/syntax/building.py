"""Building the tree while parsing: one method a rule, each given all its tokens and nodes in order."""

import re
from dataclasses import replace
from sys import intern
from typing import Any

from lark import Transformer

from ..text.source import Span
from . import tree
from .tokens import Token

_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")
PASSED_ON = frozenset(["doc", "evidence_kind", "number", "range", "statement", "test"])
"""Rules for which their part stands where it is the only one."""

_KEPT = re.compile(r'\\(["\\])')


def _start(part: Any) -> int:
    """Give where a token, a node or a list of them starts; -1 for nothing."""
    if isinstance(part, Token):
        return part.start_pos
    start: int = part.start if isinstance(part, _Parts) else part.span.start
    return start


def _end(part: Any) -> int:
    """Give where a token, a node or a list of them ends; -1 for nothing."""
    if isinstance(part, Token):
        return part.end_pos
    end: int = part.end if isinstance(part, _Parts) else part.span.end
    return end


class _Parts(list[Any]):
    """The parts of a rule that has no node of its own, and where they stand."""

    def __init__(self, parts: list[Any]) -> None:
        super().__init__(parts)
        self.start = _start(parts[0]) if parts else -1
        self.end = _end(parts[-1]) if parts else -1

    def words(self) -> list[str]:
        """Give the keywords among the parts."""
        return [intern(str(p)) for p in self if isinstance(p, Token)]


def _only(parts: list[Any], kind: Any) -> list[Any]:
    return [p for p in parts if isinstance(p, kind)]


def _first(parts: list[Any], kind: Any) -> Any:
    return next((p for p in parts if isinstance(p, kind)), None)


def _part(parts: list[Any], rule: str) -> Any:
    return next((p for p in parts if isinstance(p, _Named) and p.rule == rule), None)


class _Named(_Parts):
    """The parts of a helper rule, by its name."""

    def __init__(self, rule: str, parts: list[Any]) -> None:
        super().__init__(parts)
        self.rule = rule


def _helper(rule: str) -> Any:
    def build(_self: "Builder", parts: list[Any]) -> _Named:
        return _Named(rule, parts)

    return build


class Builder(Transformer[Token, Any]):
    """Builds nodes; the reader sets ``file``, the name that their places carry.

    Words are interned, as most of them stand in many places.
    """

    file = ""

    def _span(self, parts: list[Any]) -> Span:
        first, last = parts[0], parts[-1]
        start: int = first.start_pos if isinstance(first, Token) else _start(first)
        end: int = last.end_pos if isinstance(last, Token) else _end(last)
        if start < 0:
            start = next(at for at in map(_start, parts) if at >= 0)
        if end < 0:
            end = next(at for at in map(_end, reversed(parts)) if at >= 0)
        return Span(self.file, start, end)

    # ---- words

    def NAME(self, token: Token) -> tree.Name:
        """Build a name."""
        return tree.Name(intern(str(token)), Span(self.file, token.start_pos, token.end_pos))

    def STRING(self, token: Token) -> tree.Text:
        """Build a text without its quotes."""
        said = token[1:-1]
        if "\\" in said:
            said = _KEPT.sub(r"\1", said)
        return tree.Text(intern(said), Span(self.file, token.start_pos, token.end_pos))

    def _number(self, token: Token) -> tree.Number:
        match = _NUMBER.match(token)
        assert match is not None
        unit = token[match.end() :].strip()
        return tree.Number(
            intern(match.group()), intern(unit.replace("μ", "µ")), Span(self.file, token.start_pos, token.end_pos)
        )

    NUMBER = MEASURE = _number

    def number(self, parts: list[Any]) -> tree.Number:
        """Build a number with its sign."""
        n: tree.Number = parts[-1]
        return tree.Number(f"-{n.digits}", n.unit, self._span(parts))

    # ---- helpers without nodes of their own

    entity_kind = _helper("entity_kind")
    base = _helper("base")
    owner = _helper("owner")
    within = _helper("within")
    sort_dimension = _helper("sort_dimension")
    sort_choice = _helper("sort_choice")
    given = _helper("given")
    rather = _helper("rather")
    bound = _helper("bound")
    soft = _helper("soft")
    giving = _helper("giving")
    status = _helper("status")
    otherwise = _helper("otherwise")
    where = _helper("where")
    relation = _helper("relation")
    arguments = _helper("arguments")

    because = _helper("because")

    def names(self, parts: list[Any]) -> _Named:
        """Build a list of names."""
        return _Named("names", _only(parts, tree.Name))

    # ---- values

    def exact(self, parts: list[Any]) -> tree.Exact:
        """Build ``20 N``."""
        return tree.Exact(parts[0], parts[0].span)

    def spread(self, parts: list[Any]) -> tree.Spread:
        """Build ``20 ± 2 N``."""
        return tree.Spread(parts[0], parts[-1], self._span(parts))

    def span(self, parts: list[Any]) -> tree.Range:
        """Build ``12 .. 14 mm``."""
        return tree.Range(parts[0], parts[-1], self._span(parts))

    def word(self, parts: list[Any]) -> tree.Word:
        """Build a word."""
        return tree.Word(parts[0].text, parts[0].span)

    def evidence(self, parts: list[Any]) -> tree.Evidence:
        """Build evidence."""
        return tree.Evidence(intern(str(parts[0])), parts[1], self._span(parts))

    # ---- expressions

    def literal(self, parts: list[Any]) -> tree.Literal:
        """Build a number in an expression."""
        return tree.Literal(parts[0], parts[0].span)

    def reference(self, parts: list[Any]) -> tree.Reference:
        """Build a name in an expression."""
        return tree.Reference(parts[0].text, parts[0].span)

    def grouped(self, parts: list[Any]) -> Any:
        """Pass on what is in parentheses; an operation takes them in, so that no place cuts a pair."""
        inner = parts[1]
        return replace(inner, span=self._span(parts)) if isinstance(inner, tree.Binary | tree.Negation) else inner

    def neg(self, parts: list[Any]) -> tree.Negation:
        """Build minus something."""
        return tree.Negation(parts[1], self._span(parts))

    def _binary(self, parts: list[Any]) -> tree.Binary:
        return tree.Binary(str(parts[1]), parts[0], parts[2], self._span(parts))

    add = sub = mul = div = pow = _binary

    def call(self, parts: list[Any]) -> tree.Call:
        """Build a call."""
        arguments = tuple(p for p in _part(parts, "arguments") if not isinstance(p, Token))
        return tree.Call(parts[0], arguments, self._span(parts))

    def integral(self, parts: list[Any]) -> tree.Integral:
        """Build a quadrature."""
        body, variable, start, stop, points = [p for p in parts if not isinstance(p, Token)]
        return tree.Integral(body, variable, start, stop, points, self._span(parts))

    def comparison(self, parts: list[Any]) -> tree.Comparison:
        """Build a comparison."""
        return tree.Comparison(parts[0], parts[1].words()[0], parts[2], self._span(parts))

    def on_scale(self, parts: list[Any]) -> tree.OnScale:
        """Build ``hardness on shore_a``."""
        return tree.OnScale(parts[0], parts[2], self._span(parts))

    def is_choice(self, parts: list[Any]) -> tree.IsWord:
        """Build ``liner is none``."""
        return tree.IsWord(parts[0], parts[2], self._span(parts))

    def condition(self, parts: list[Any]) -> tree.Condition:
        """Build a condition."""
        return tree.Condition(tuple(_only(parts, tree.Test)), self._span(parts))

    # ---- items

    def entity_item(self, parts: list[Any]) -> tree.Given:
        """Build a given value."""
        return tree.Given(parts[0], parts[1], parts[2] if len(parts) > 2 else None, self._span(parts))

    def item_material(self, parts: list[Any]) -> tree.UsesMaterial:
        """Build the material of a profile."""
        return tree.UsesMaterial(parts[1], self._span(parts))

    def item_machines(self, parts: list[Any]) -> tree.UsesMachines:
        """Build the machines of a profile."""
        return tree.UsesMachines(tuple(_part(parts, "names")), self._span(parts))

    def want(self, parts: list[Any]) -> tree.Want:
        """Build a want."""
        bound = parts[1].words()[1]
        return tree.Want(parts[0], bound, parts[2], _part(parts, "soft") is not None, self._span(parts))

    def prefer(self, parts: list[Any]) -> tree.Prefer:
        """Build a preference list."""
        giving = _part(parts, "giving")
        return tree.Prefer(tuple(_part(parts, "names")), giving and giving[1], self._span(parts))

    def pin(self, parts: list[Any]) -> tree.Pin:
        """Build a pin."""
        because = _part(parts, "because")
        return tree.Pin(parts[1], parts[3], because and because[1], self._span(parts))

    def _band(self, parts: list[Any]) -> tree.Band:
        edge = "_".join(p for p in parts if isinstance(p, Token))
        limit, doc = _first(parts, tree.Number), _first(parts, tree.Text)
        return tree.Band(parts[0], edge, limit, doc, self._span(parts))

    band_up_to = band_from = band_rest = _band

    def about(self, parts: list[Any]) -> tree.About:
        """Build the about of a law."""
        return tree.About(parts[1], self._span(parts))

    def source(self, parts: list[Any]) -> tree.SourceNote:
        """Build the source of a law."""
        return tree.SourceNote(parts[1].words()[0], parts[2], self._span(parts))

    def when(self, parts: list[Any]) -> tree.When:
        """Build where a law applies."""
        return tree.When(parts[1], self._span(parts))

    def let(self, parts: list[Any]) -> tree.Let:
        """Build a derived quantity."""
        return tree.Let(parts[1], parts[3], _first(parts[4:], tree.Text), self._span(parts))

    def remedy(self, parts: list[Any]) -> tree.Remedy:
        """Build a remedy."""
        return tree.Remedy(str(parts[1]), parts[2], _first(parts, tree.Text), self._span(parts))

    def require(self, parts: list[Any]) -> tree.Require:
        """Build a requirement."""
        otherwise = _part(parts, "otherwise")
        remedies = tuple(_only(parts, tree.Remedy))
        return tree.Require(parts[1], otherwise and otherwise[1], remedies, self._span(parts))

    def valid(self, parts: list[Any]) -> tree.Valid:
        """Build a range of validity."""
        otherwise = _part(parts, "otherwise")
        return tree.Valid(parts[1], otherwise and otherwise[1], self._span(parts))

    def _notice(self, parts: list[Any]) -> tree.Notice:
        where = _part(parts, "where")
        return tree.Notice(str(parts[0]), parts[1], where and where[1], self._span(parts))

    caution = prepare = _notice

    def checked(self, parts: list[Any]) -> tree.Checked:
        """Build a check of a law."""
        return tree.Checked(parts[1], parts[3], self._span(parts))

    def unchecked(self, parts: list[Any]) -> tree.Unchecked:
        """Build why a law is not checked."""
        return tree.Unchecked(parts[1], self._span(parts))

    # ---- statements

    def use_file(self, parts: list[Any]) -> tree.Use:
        """Build an import."""
        return tree.Use(parts[1], False, self._span(parts))

    def use_library(self, parts: list[Any]) -> tree.Use:
        """Build an import from the library."""
        return tree.Use(parts[2], True, self._span(parts))

    def entity(self, parts: list[Any]) -> tree.Entity:
        """Build the head of an entity."""
        base = _part(parts, "base")
        return tree.Entity(parts[0].words()[0], parts[1], base and base[1], (), self._span(parts[:-1]))

    def quantity(self, parts: list[Any]) -> tree.Quantity:
        """Build a declared quantity."""
        sort = parts[5]
        doc = _first(parts[6:], tree.Text)
        owner = parts[3].words()[0]
        if sort.rule == "sort_choice":
            words = tuple(_part(sort, "names"))
            return tree.Quantity(parts[1], owner, None, (), words, doc, self._span(parts))
        within = _part(sort, "within")
        ranges = tuple(p for p in within or () if not isinstance(p, Token))
        return tree.Quantity(parts[1], owner, sort[0], ranges, (), doc, self._span(parts))

    def setting(self, parts: list[Any]) -> tree.Setting:
        """Build a declared setting."""
        rather = _part(parts, "rather")
        return tree.Setting(
            parts[1],
            parts[3],
            parts[5],
            parts[7],
            _part(parts, "given") is not None,
            rather.words()[1] if rather else "",
            _first(parts[8:], tree.Text),
            self._span(parts),
        )

    def grade(self, parts: list[Any]) -> tree.Grade:
        """Build the head of a grade."""
        return tree.Grade(parts[1], parts[3], _first(parts, tree.Text), (), self._span(parts[:-1]))

    def merit(self, parts: list[Any]) -> tree.Merit:
        """Build a merit."""
        return tree.Merit(parts[1], parts[3], _first(parts[4:], tree.Text), self._span(parts))

    def law(self, parts: list[Any]) -> tree.Law:
        """Build the head of a law."""
        return tree.Law(parts[1], (), self._span(parts[:-1]))
