"""Fixes that need the lines around a fault: what is said twice, and what stands in the wrong block."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Edit, Fix
from ..text.fixing import laid, take_out
from ..text.source import Source, Span
from .loading import Loaded

Item = tree.EntityItem | tree.LawItem | tree.Band


def mended(faults: Iterable[Diagnostic], loaded: Loaded) -> list[Diagnostic]:
    """Give faults with fixes that their places ask for, and all fixes laid into the lines of the texts."""
    around = _Around(loaded.files, loaded.sources)
    return [laid(_with_fixes(f, around), loaded.sources) for f in faults]


def _with_fixes(fault: Diagnostic, around: "_Around") -> Diagnostic:
    make = _FIXES.get(fault.code)
    return fault if make is None or fault.fixes else replace(fault, fixes=tuple(make(fault, around)))


@dataclass(frozen=True, slots=True)
class _Around:
    """What may stand around a fault."""

    files: Mapping[str, tree.File]
    sources: Mapping[str, Source]

    def statement(self, span: Span) -> tree.Statement | None:
        """Find the statement at a place: the last that starts there or before."""
        file = self.files.get(span.file)
        found = [s for s in file.statements if s.span.start <= span.start] if file else []
        return found[-1] if found else None

    def item(self, span: Span) -> Item | None:
        """Find the item of a block at a place."""
        found = self.statement(span)
        return next((i for i in _items(found) if i.span.start <= span.start < i.span.end), None) if found else None

    def has_comment(self, span: Span) -> bool:
        """Tell whether there may be a comment in a stretch, which would go with it."""
        return "#" in self.sources[span.file].text[span.start : span.end]

    def whole(self, statement: tree.Statement) -> Span:
        """Give the stretch of a statement with its block."""
        text = self.sources[statement.span.file].text
        if not isinstance(statement, tree.Entity | tree.Law | tree.Grade):
            return statement.span
        at = max([statement.span.end, *(i.span.end for i in _items(statement))])
        while at < len(text) and text[at] != "}":
            at = text.find("\n", at) if text[at] == "#" else at + 1
            at = len(text) if at < 0 else at
        return Span(statement.span.file, statement.span.start, min(at + 1, len(text)))


def _items(statement: tree.Statement) -> Sequence[Item]:
    match statement:
        case tree.Entity() | tree.Law():
            return statement.items
        case tree.Grade():
            return statement.bands
    return ()


def _said_twice(fault: Diagnostic, around: _Around) -> list[Fix]:
    """Take out one of two items: without asking only where both say the same."""
    second = around.item(fault.span)
    first = around.item(fault.related[0].span) if fault.related else None
    if second is None or first is None:
        return []
    if first == second:
        safe = not around.has_comment(second.span)
        return [take_out(second.span, "remove the line, which says the same again", safe)]
    return [take_out(second.span, "remove this line"), take_out(first.span, "remove the first line")]


def _defined_twice(fault: Diagnostic, around: _Around) -> list[Fix]:
    """Take out a second definition that says the same as the first."""
    if around.item(fault.span) is not None:
        return _said_twice(fault, around)
    second = around.statement(fault.span)
    first = around.statement(fault.related[0].span) if fault.related else None
    if second is None or first != second or len(around.files[fault.span.file].statements) == 1:
        return []
    whole = around.whole(second)
    return [take_out(whole, "remove the definition, which says the same again", not around.has_comment(whole))]


def _listed_twice(fault: Diagnostic, around: _Around) -> list[Fix]:
    """Take a name and the comma before it out of a list."""
    match around.item(fault.span) or around.statement(fault.span):
        case tree.UsesMachines(names=names) | tree.Prefer(names=names) | tree.Quantity(words=names):
            pass
        case _:
            return []
    before = [n for n in names if n.span.end <= fault.span.start]
    if not before:
        return []
    whole = Span(fault.span.file, before[-1].span.end, fault.span.end)
    title = f"remove the second {before[0].text if len(before) == 1 else 'one'}"
    return [take_out(whole, title, safe=True)] if not around.has_comment(whole) else []


def _move(fault: Diagnostic, around: _Around) -> list[Fix]:
    """Move a value to the one block of its owner in the same file."""
    item, owner = around.item(fault.span), fault.help.removeprefix("write it in a ").removeprefix("write it in the ")
    homes = [
        s
        for s in around.files[fault.span.file].statements
        if isinstance(s, tree.Entity) and s.kind == owner and isinstance(item, tree.Given)
    ]
    if item is None or len(homes) != 1:
        return []
    home = homes[0]
    text = around.sources[fault.span.file].text[item.span.start : item.span.end]
    end = home.items[-1].span.end if home.items else home.span.end
    there = Edit(Span(fault.span.file, end, end), f"\n  {text}")
    return [Fix(f"move it to {owner} {home.name.text}", (Edit(item.span, ""), there))]


def _without_use(fault: Diagnostic, around: _Around) -> list[Fix]:
    use = around.statement(fault.span)
    return [take_out(use.span, "remove this use line")] if isinstance(use, tree.Use) else []


def _used_twice(fault: Diagnostic, around: _Around) -> list[Fix]:
    return [replace(fix, safe=True) for fix in _without_use(fault, around)]


def _without_item(fault: Diagnostic, around: _Around) -> list[Fix]:
    item = around.item(fault.span)
    return [take_out(item.span, "remove this line")] if item is not None else []


_FIXES: Mapping[str, Callable[[Diagnostic, _Around], list[Fix]]] = {
    "M201": _without_use,
    "M205": _used_twice,
    "M210": _defined_twice,
    "M211": _said_twice,
    "M220": _move,
    "M226": _said_twice,
    "M244": _listed_twice,
    "M245": _move,
    "M260": _without_item,
    "M411": _said_twice,
}
