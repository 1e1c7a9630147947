"""A small reader of highlighting grammars: gives the scopes of every character of a text, line by line.

As editors do: of the rules that may apply, that which matches first wins, at one place the first in the list; the end
of an open rule goes before them. The engine that searches is given, so that two can be compared.
"""

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

GRAMMAR = Path(__file__).parents[2] / "grammar" / "melt.tmLanguage.json"

Rule = dict[str, Any]
Scopes = tuple[str, ...]


class Match(Protocol):
    """What an engine finds."""

    def span(self, group: int = 0, /) -> tuple[int, int]: ...


Search = Callable[[str, str, int], Match | None]
"""Searches a pattern in a line from a place on."""


def with_re(pattern: str, line: str, at: int) -> Match | None:
    """Search with Python's own engine."""
    return re.compile(pattern).search(line, at)


def grammar() -> Rule:
    found: Rule = json.loads(GRAMMAR.read_text(encoding="utf-8"))
    return found


@dataclass
class _Open:
    patterns: Sequence[Rule]
    scopes: Scopes
    rule: Rule | None = None


class Colours:
    """Colours texts by a grammar."""

    def __init__(self, rules: Rule, search: Search = with_re) -> None:
        self.repository: dict[str, Rule] = rules["repository"]
        self.root = _Open(self._expanded(rules["patterns"]), (rules["scopeName"],))
        self.search = search

    def scopes(self, text: str) -> list[Scopes]:
        """Give the scopes of every character, the outermost first."""
        stack, found = [self.root], list[Scopes]()
        for line in re.findall(r"[^\n]*\n|[^\n]+", text):
            found += self._line(line, stack)
        return found

    def _expanded(self, patterns: Sequence[Rule]) -> list[Rule]:
        """Put in place of every inclusion what it includes."""
        rules: list[Rule] = []
        for rule in patterns:
            if "include" in rule:
                rules += self._expanded([self.repository[rule["include"].removeprefix("#")]])
            elif "match" in rule or "begin" in rule:
                rules.append(rule)
            else:
                rules += self._expanded(rule["patterns"])
        return rules

    def _line(self, line: str, stack: list[_Open]) -> list[Scopes]:
        scopes = [stack[-1].scopes] * len(line)
        at = 0
        while at <= len(line):
            here = stack[-1]
            best: tuple[int, Rule, Match] | None = None
            closing = [{"end": here.rule["end"]}] if here.rule else []
            for rule in [*closing, *here.patterns]:
                match = self.search(rule.get("match") or rule.get("begin") or rule["end"], line, at)
                if match is not None and (best is None or match.span()[0] < best[0]):
                    best = (match.span()[0], rule, match)
            if best is None:
                break
            at = self._apply(best[1], best[2], here, stack, scopes)
        return scopes

    def _apply(self, rule: Rule, match: Match, here: _Open, stack: list[_Open], scopes: list[Scopes]) -> int:
        start, end = match.span()
        captures, inside = rule.get("captures", {}), here.scopes
        if "end" in rule and "begin" not in rule:
            assert here.rule is not None
            stack.pop()
            captures = here.rule.get("endCaptures", {})
        elif "begin" in rule:
            inside = (*here.scopes, rule["name"]) if "name" in rule else here.scopes
            assert end > start, rule
            stack.append(_Open(self._expanded(rule.get("patterns", [])), inside, rule))
            captures = rule.get("beginCaptures", {})
        else:
            assert end > start, rule
            inside = (*here.scopes, rule["name"]) if "name" in rule else here.scopes
        scopes[start:end] = [inside] * (end - start)
        for number, capture in sorted(captures.items(), key=lambda c: int(c[0])):
            first, last = match.span(int(number))
            if first >= 0:
                scopes[first:last] = [(*s, capture["name"]) for s in scopes[first:last]]
        scopes[end:] = [stack[-1].scopes] * (len(scopes) - end)
        return end
