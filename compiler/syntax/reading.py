"""Reading a file into its tree: every statement and item is parsed on its own, every fault is reported."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from ..text.diagnostic import Diagnostic, diagnose, order
from ..text.source import Source, Span
from . import tree
from .grammar import BUILDER
from .lines import Block, Item, cut
from .parsing import parse
from .shapes import cut_in_two
from .spots import Spot
from .starts import ITEM_START, STATEMENTS

MOST_FAULTS = 100
"""Faults of one file that are reported."""


def read(source: Source) -> tuple[tree.File, list[Diagnostic]]:
    """Parse a file; what could not be understood is left out of the tree and reported, in the text's order.

    Never raises. No tree is deeper than a recursive walk can go: ``lines`` bounds every item.
    """
    BUILDER.file = source.name
    blocks, shape_faults = cut(source)
    statements: list[tree.Statement] = []
    faults: list[Diagnostic] = []
    broken: Item | None = None
    for i, block in enumerate(blocks):
        found: list[Diagnostic] = []
        statement = _statement(block, source, found)
        if statement is None and i + 1 < len(blocks) and not (block.items or blocks[i + 1].items):
            statement = _joined(block.head, blocks[i + 1].head, "statement", source, found)
        if statement is not None:
            statements.append(statement)
            broken = None if block.head.sound else block.head
        elif _rest_of(broken, block.head) and str(block.head.tokens[0]) not in STATEMENTS:
            continue
        else:
            broken = block.head
        faults += found
        if len(faults) > MOST_FAULTS:
            break
    faults += shape_faults
    if not blocks and not faults:
        faults.append(diagnose("M104", Span(source.name, 0, 0), path=source.name))
    return tree.File(source.name, tuple(statements)), _first(order(faults), source)


def _first(faults: Sequence[Diagnostic], source: Source) -> list[Diagnostic]:
    """Keep as many faults as anyone will read, and say where there are more."""
    shown = list(faults[:MOST_FAULTS])
    if len(faults) > MOST_FAULTS:
        shown.append(diagnose("M121", shown[-1].span, limit=MOST_FAULTS, path=source.name))
    return shown


def _statement(block: Block, source: Source, faults: list[Diagnostic]) -> tree.Statement | None:
    statement: tree.Statement | None = _parse(block.head, "statement", source, faults)
    kind = str(block.head.tokens[0]) if block.head.tokens else ""
    start = ITEM_START.get(kind)
    if start is None:
        return statement
    # What stands on the line of a faulty head, behind its brace, is rather a part of the head.
    broken = _behind(block, source) if statement is None else None
    items = tuple(_items(block.items, start, source, faults, broken))
    if isinstance(statement, tree.Grade):
        return replace(statement, bands=items)
    if isinstance(statement, tree.Entity):
        return tree.Entity(statement.kind, statement.name, statement.base, items, statement.span)
    if isinstance(statement, tree.Law):
        return replace(statement, items=items)
    return None


def _behind(block: Block, source: Source) -> Item | None:
    """Give the first item of a block if it stands on the line of the brace that opens it."""
    for item in block.items[:1]:
        if block.brace and item.tokens and "\n" not in source.text[block.brace.end_pos : item.tokens[0].start_pos]:
            return item
    return None


def _items(
    items: Sequence[Item], start: str, source: Source, faults: list[Diagnostic], unsaid: Item | None
) -> Iterator[Any]:
    """Parse the items of a block; faults in ``unsaid`` are not reported."""
    broken: Item | None = None
    for i, item in enumerate(items):
        if len(faults) > MOST_FAULTS:
            break
        found: list[Diagnostic] = []
        node = _parse(item, start, source, found)
        if node is None and i + 1 < len(items):
            node = _joined(item, items[i + 1], start, source, found)
        if node is not None:
            yield node
        elif _rest_of(broken, item) or item is unsaid:
            continue
        faults += found
        broken = item if node is None or not item.sound else None


def _joined(item: Item, rest: Item, start: str, source: Source, faults: list[Diagnostic]) -> Any:
    """Take a faulty item and the one after it as one that a line end cut in two, if that makes them sound.

    Replaces what was reported of the item, and leaves nothing to say about the rest.
    """
    if not (faults and item.sound and rest.sound and item.tokens and rest.tokens) or _own(item, rest, start):
        return None
    first, last = item.tokens[-1], rest.tokens[0]
    whole = Spot(source, item.tokens[0].start_pos, rest.tokens[-1].end_pos, start)
    between = next((b for b in (" ", "") if whole.outcome([whole.edit(first.end_pos, last.start_pos, b)])), None)
    # A rest that is sound by itself is hardly one.
    if between is None or not isinstance(parse(rest.tokens, start), int):
        return None
    faults[:] = [cut_in_two(source, first, rest.tokens, between)]
    tokens, rest.tokens, item.sound = [*item.tokens, *rest.tokens], [], False
    return parse(tokens, start) if between else None


def _own(item: Item, rest: Item, start: str) -> bool:
    """Tell whether an item looks like one of its own rather than like the rest of a faulty one."""
    first, second = rest.tokens[0], rest.tokens[1].type if len(rest.tokens) > 1 else ""
    if start == "statement":
        return item.tokens[-1].type == "LBRACE" or (first in STATEMENTS and second in ("NAME", "STRING"))
    return first.type == "NAME" and first.column == item.tokens[0].column


def _rest_of(broken: Item | None, item: Item) -> bool:
    """Tell whether an item is rather the rest of the faulty one before it, as it stands deeper than its start."""
    if broken is None or not broken.tokens or not item.tokens:
        return False
    return item.tokens[0].column > broken.tokens[0].column


def _parse(item: Item, start: str, source: Source, faults: list[Diagnostic]) -> Any:
    """Parse one head or item; a fault in it that the cutting already reported is not reported again."""
    tokens = item.tokens
    if not tokens or not item.bounded:
        return None
    found = parse(tokens, start)
    if not isinstance(found, int):
        return found
    if item.sound:
        from .faults import fault_of  # sound files never need it

        faults.append(fault_of(item, found, start, source))
    return None
