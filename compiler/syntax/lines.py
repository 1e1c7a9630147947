"""From text to lines: lexing, joining continued lines, and cutting a file into statements and items.

Cutting first means that every statement and item is parsed on its own: one mistake, one report.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..text.diagnostic import Diagnostic, Fix, Related, diagnose
from ..text.source import Source, Span
from . import braces, shapes, starts, strays
from .grammar import lex
from .parsing import parse
from .tokens import Token, token_at

DEEPEST = 64
"""Parentheses that may be open at once in one item."""
LONGEST = 128
"""Operators in one item. With ``DEEPEST`` it bounds the depth of a tree, so that later stages may recurse."""

_OPERATORS = frozenset(["+", "-", "*", "/", "^", ",", "±", "+-", "..", "<", ">", "<=", ">=", "=", ":"])
GOES_ON_AFTER = _OPERATORS | {"("}
"""Signs after which an item goes on on the next line."""
_LONGEST_HEAD = 12
"""Words of the second line of a head."""
_MOST_FAULTS = 100
"""Faults of the shape of a file; more than one more are not looked at, as nobody reads them."""
_COUNTED = frozenset(["PLUS", "MINUS", "STAR", "SLASH", "CIRCUMFLEX", "_PLUS_MINUS"])


@dataclass(slots=True)
class Item:
    """The tokens of a head or of an item.

    ``sound`` is false where its words were already found at fault, ``bounded`` where it is too deep to parse.
    ``opening`` mends a head whose block has no brace that opens it; ``late`` where a later line has it.
    """

    tokens: list[Token] = field(default_factory=list)
    sound: bool = True
    bounded: bool = True
    opening: tuple[Fix, ...] = ()
    late: bool = False


@dataclass(slots=True)
class Block:
    """A statement: its head, and its items where it has a block, opened by ``brace``."""

    head: Item
    items: list[Item] = field(default_factory=list)
    brace: Token | None = None


def span_of(token: Token, file: str) -> Span:
    """Give the place of a token."""
    return Span(file, token.start_pos, token.end_pos)


def cut(source: Source) -> tuple[list[Block], list[Diagnostic]]:
    """Cut a file into statements with their items; report what is wrong with its shape."""
    cutter = _Cutter(source)
    return cutter.blocks(), cutter.faults


class _Cutter:
    def __init__(self, source: Source) -> None:
        self.source = source
        self.tokens = lex(source.text)
        self.at = 0
        self.column = 1
        self.nested = False
        self.unclosed_until = 0
        self.faults: list[Diagnostic] = []

    def blocks(self) -> list[Block]:
        blocks = []
        while self.at < len(self.tokens):
            token = self.tokens[self.at]
            if token.type == "NEWLINE":
                self.at += 1
            elif token.type == "CLOSE":
                self._fault("M115", token, fixes=shapes.without_brace(self.source, token))
                self.at += 1
                if self.at < len(self.tokens) and self.tokens[self.at].type not in ("NEWLINE", "CLOSE"):
                    # What follows on the line of a fault may be sound, but nothing more is said of it.
                    blocks.append(self._statement())
                    blocks[-1].head.sound = False
            elif not self._orphans():
                blocks.append(self._statement())
        return blocks

    def _orphans(self) -> bool:
        """Pass over lines that stand in no block though a brace closes one behind them; tell whether it did."""
        if starts.statement(self.tokens, self.at) or self._statement_word(self.at):
            return False
        if self.at < self.unclosed_until:
            return False
        end, closed = braces.closes_early(self.tokens, self.at - 1, self._statement_word)
        if not closed:
            self.unclosed_until = end
            return False
        related = [Related(span_of(self.tokens[self.at], self.source.name), "what starts here stands in no block")]
        self._fault("M115", self.tokens[end], related)
        self.at = end + 1
        return True

    def _fault(
        self,
        code: str,
        token: Token,
        related: Iterable[Related] = (),
        fixes: Iterable[Fix] = (),
        help: str | None = None,
        **facts: Any,
    ) -> None:
        self._tell(diagnose, code, span_of(token, self.source.name), related=related, help=help, fixes=fixes, **facts)

    def _tell(self, make: Callable[..., Diagnostic], *arguments: Any, **facts: Any) -> None:
        """Keep a fault, as long as anyone will read it."""
        if len(self.faults) <= _MOST_FAULTS:
            self.faults.append(make(*arguments, **facts))

    def _mending(self) -> bool:
        return len(self.faults) <= _MOST_FAULTS

    def _statement(self) -> Block:
        self.column = self.tokens[self.at].column
        head = self._item("head")
        block = Block(head)
        if not head.tokens:
            return block
        kind = str(head.tokens[0])
        if head.tokens[-1].type == "LBRACE":
            block.brace = head.tokens[-1]
            self._items(block, kind, head.tokens[-1] if kind in starts.BLOCKS else None)
        elif kind in starts.BLOCKS and self._rest_of_head(head):
            block.brace = head.tokens[-1]
            self._items(block, kind, head.tokens[-1])
        elif kind in starts.BLOCKS:
            self._late_block(block, kind)
        return block

    def _late_block(self, block: Block, kind: str) -> None:
        """Take the items of a head that has no brace, or has it on a later line."""
        closed = False
        if self._block_follows():
            block.brace = self._brace()
            block.head.late = block.brace is not None
            closed = self._items(block, kind, None)
        end: Sequence[Fix] | None = ()
        if not closed:
            following = next(iter(self.tokens[self.at : self.at + 1]), None)
            end = shapes.block_end(self.source, following) if block.items or block.brace else None
        first = block.items[0].tokens[:1] if block.items else []
        safe = closed and (block.brace is not None or any(t.column > self.column for t in first))
        block.head.opening = shapes.block_start(self.source, block.head.tokens, block.brace, safe, end)

    def _rest_of_head(self, head: Item) -> bool:
        """Take the rest of a head that a line end cut in two, and report it."""
        at = self.at
        while at < len(self.tokens) and self.tokens[at].type == "NEWLINE":
            at += 1
        end = at
        while end < len(self.tokens) and end < at + _LONGEST_HEAD and self.tokens[end].type != "NEWLINE":
            end += 1
        line = self.tokens[at:end]
        if len(line) < 2 or line[-1].type != "LBRACE" or not head.sound or self._next_statement(at):
            return False
        if isinstance(parse([*head.tokens, *line], "statement"), int):
            return False
        self._tell(shapes.cut_in_two, self.source, head.tokens[-1], line)
        head.sound = False
        head.tokens += line
        self.at = at + len(line)
        return True

    def _block_follows(self) -> bool:
        """Tell whether a block follows a head without its brace."""
        self._skip_line_ends()
        if self.at == len(self.tokens):
            return False
        token = self.tokens[self.at]
        return token.type == "LBRACE" or token.column > self.column or str(token) not in starts.STATEMENTS

    def _brace(self) -> Token | None:
        """Pass over a brace that opens a block on a line after its head."""
        token = self.tokens[self.at]
        if token.type != "LBRACE":
            return None
        self.at += 1
        return token

    def _skip_line_ends(self) -> None:
        while self.at < len(self.tokens) and self.tokens[self.at].type == "NEWLINE":
            self.at += 1

    def _items(self, block: Block, kind: str, opened: Token | None) -> bool:
        """Collect items up to the closing brace, or to the statement that shows that it is missing; tell which."""
        self.nested = False
        while True:
            self._skip_line_ends()
            fresh = self.tokens[self.at - 1].type == "NEWLINE"
            if self.at == len(self.tokens) or (fresh and self._next_statement(self.at)):
                break
            if self.tokens[self.at].type == "CLOSE":
                early = self._early(self.at)
                self.at += 1
                if not early:
                    return True
                if self.tokens[self.at].type not in ("NEWLINE", "CLOSE"):
                    block.items.append(self._item(kind))
                    block.items[-1].sound = False
                continue
            block.items.append(self._item(kind))
        if opened is not None and not self.nested:
            sign = self._lone_sign(block.items[-1]) if block.items else None
            if sign is not None:
                return self._wrong_end(opened, sign, block)
            rest = self.tokens[self.at : self.at + 1]
            related = [Related(span_of(t, self.source.name), "the next statement starts here") for t in rest]
            self._fault("M114", opened, related, shapes.block_end(self.source, rest[0] if rest else None))
        return False

    def _wrong_end(self, opened: Token, sign: Token, block: Block) -> bool:
        """Report a block that ends with another sign than a brace."""
        related = [Related(span_of(sign, self.source.name), "perhaps this was meant to close it")]
        self._fault("M114", opened, related, shapes.brace_for(self.source, sign))
        block.items[-1].tokens.pop()
        return True

    def _lone_sign(self, item: Item) -> Token | None:
        """Give the sign that stands alone on the last line of an item."""
        last = item.tokens[-1] if item.sound and item.tokens else None
        if last is None or last.type in ("NAME", "NUMBER", "MEASURE", "STRING"):
            return None
        before = self.source.text[self.source.text.rfind("\n", 0, last.start_pos) + 1 : last.start_pos]
        return None if before.strip() else last

    def _early(self, at: int) -> bool:
        """Tell whether a closing brace stands too early, as the lines of its block go on, and report it then."""
        end, closed = braces.closes_early(self.tokens, at, self._statement_word)
        if not closed or (self.tokens[at].column <= self.column and not self._shares_line(at)):
            return False
        related = [Related(span_of(self.tokens[end], self.source.name), "the block ends here")]
        self._fault("M115", self.tokens[at], related, shapes.without_brace(self.source, self.tokens[at]))
        return True

    def _next_statement(self, at: int) -> bool:
        """Tell whether a line starts a statement and stands no deeper than the head of the open one."""
        return self.tokens[at].column <= self.column and starts.statement(self.tokens, at)

    def _statement_word(self, at: int) -> bool:
        """Tell whether a line starts with the word of a statement, which may be at fault itself."""
        return self.tokens[at].column <= self.column and str(self.tokens[at]) in starts.STATEMENTS

    def _shares_line(self, at: int) -> bool:
        """Tell whether something follows a token on its line."""
        return at + 1 < len(self.tokens) and self.tokens[at + 1].type != "NEWLINE"

    def _item(self, kind: str) -> Item:
        """Take the tokens of one head or item, its continued lines included."""
        item, limits, found = Item(), _Limits(), list[shapes.StrayAt]()
        while self.at < len(self.tokens):
            token = self.tokens[self.at]
            if token.type == "NEWLINE":
                if not self._goes_on(kind, item, bool(limits.open)):
                    break
                self._skip_line_ends()
                continue
            if token.type == "CLOSE":
                if not self._inside(token, item, kind):
                    break
                continue
            self.at += 1
            if token.type == "STRAY" or (
                token.type == "SLASH" and strays.opens_comment(self.source.text, token.start_pos)
            ):
                found.append(self._stray(token, item, kind))
            elif token.type == "UNCLOSED":
                self._unclosed(token, item, kind)
                if item.tokens[-1].type == "LBRACE" and kind == "head":
                    break
            else:
                item.tokens.append(token)
                self._limit(token, limits)
                if token.type == "LBRACE" and kind == "head" and braces.opens_head(self.tokens, self.at - 1):
                    break
                if token.type == "LBRACE" and kind != "head":
                    self._skip_nested()
        item.bounded = not limits.broken
        if found and item.bounded:
            self._report_strays(found, item, kind)
        elif limits.open and item.bounded:
            self._report_open(limits.open, item, kind)
        return item

    def _inside(self, token: Token, item: Item, kind: str) -> bool:
        """Report and pass over a closing brace in the middle of an item; tell whether it is one."""
        if not item.tokens or (kind != "head" and not self._early(self.at)):
            return False
        if kind == "head" and item.sound:
            self._fault("M115", token, fixes=shapes.without_brace(self.source, token))
        item.sound = False
        self.at += 1
        return True

    def _report_strays(self, found: list["shapes.StrayAt"], item: Item, kind: str) -> None:
        """Report the first stray of an item; one report an item is enough, and its fix mends all of them."""
        at, first = found[0]
        fixes = shapes.stray_fix(self.source, kind, item.tokens, found) if self._mending() else ()
        place = Span(self.source.name, at, at + (1 if len(first.found) < 4 or first.is_text else first.end - at))
        self._tell(diagnose, "M113", place, fixes=fixes, found=first.found, advice=first.advice)

    def _report_open(self, opened: list[Token], item: Item, kind: str) -> None:
        if item.sound:
            end = item.tokens[-1].end_pos
            related = [Related(Span(self.source.name, end, end + 1), "the line ends here")]
            fixes = shapes.closing_parenthesis(self.source, kind, item.tokens, opened) if self._mending() else ()
            self._fault("M117", opened[-1], related, fixes)
        item.sound = False

    def _limit(self, token: Token, limits: "_Limits") -> None:
        if token.type == "LPAR":
            limits.open.append(token)
            if len(limits.open) > DEEPEST and not limits.broken:
                limits.broken = True
                self._fault("M116", token, depth=f"more than {DEEPEST}", limit=DEEPEST)
        elif token.type == "RPAR" and limits.open:
            limits.open.pop()
        elif token.type in _COUNTED:
            limits.operators += 2 if token.type == "_PLUS_MINUS" else 1
            if limits.operators > LONGEST and not limits.broken:
                limits.broken = True
                self._fault("M120", token, limit=LONGEST)

    def _stray(self, token: Token, item: Item, kind: str) -> "shapes.StrayAt":
        """Pass over what can be in no statement; a text in other quotes stands for one."""
        text, at = self.source.text, token.start_pos
        block = str(item.tokens[0]) if kind == "head" and item.tokens else kind
        found = strays.stray(text, at, block)
        while self.at < len(self.tokens) and self.tokens[self.at].start_pos < found.end:
            self.at += 1
        if found.is_text:
            item.tokens.append(token_at("STRING", "STRING", found.texts[0], at, found.end, token.column))
        item.sound = False
        return at, found

    def _unclosed(self, token: Token, item: Item, kind: str) -> None:
        """Close a text at the end of its line; a brace there was surely meant as one."""
        end = braces.rest_of_text(self.tokens, self.at)
        if item.sound:
            self._report_unclosed(token, item, kind, None if end is None else self.tokens[end])
        item.sound = False
        item.tokens.append(token.turned("STRING", f'{token}"'))
        if end is not None:
            self.at = end + 1
            return
        brace = {"{": "LBRACE", "}": "CLOSE"}.get(str(token).rstrip()[-1:])
        if brace == "LBRACE":
            item.tokens.append(token.turned(brace, "{"))
        elif brace == "CLOSE":
            self.at -= 1
            self.tokens[self.at] = token.turned(brace, "}")

    def _report_unclosed(self, token: Token, item: Item, kind: str, end: Token | None) -> None:
        if end is not None:
            related = [Related(span_of(end, self.source.name), "perhaps this closes it")]
            self._fault("M112", token, related, shapes.text_in_two(self.source, token, end))
            return
        help = None if token[1:].strip() else 'write " where it starts, too'
        fixes = shapes.closing_quote(self.source, kind, item.tokens, token) if self._mending() else ()
        self._fault("M112", token, (), fixes, help)

    def _skip_nested(self) -> None:
        """Pass over a block inside a block: the brace that opens it is the one fault to report."""
        if not braces.opens_nested(self.tokens, self.at - 1, self._next_statement):
            return
        depth = 1
        while self.at < len(self.tokens) and depth:
            token = self.tokens[self.at]
            if token.type == "NEWLINE" and self._next_statement(min(self.at + 1, len(self.tokens) - 1)):
                break
            depth += {"LBRACE": 1, "CLOSE": -1}.get(token.type, 0)
            self.at += 1
        self.nested = self.nested or depth > 0

    def _goes_on(self, kind: str, item: Item, inside: bool) -> bool:
        """Tell whether the line end at ``self.at`` stands inside an item."""
        at = self.at
        while at < len(self.tokens) and self.tokens[at].type == "NEWLINE":
            at += 1
        if at == len(self.tokens) or not item.tokens:
            return False
        token, previous = self.tokens[at], item.tokens[-1]
        if token.type in ("CLOSE", "STRAY", "LBRACE") or self._next_statement(at):
            return False
        if token.type in ("STRING", "UNCLOSED"):
            return True
        if inside or str(previous) in GOES_ON_AFTER:
            # Neither an open parenthesis nor a missing value may swallow the items that follow.
            return not starts.item(kind, self.tokens, at, str(previous))
        if str(token) in _OPERATORS:
            return True
        return starts.goes_on(kind, self.tokens, at)


@dataclass(slots=True)
class _Limits:
    """What is counted in an item: open parentheses and operators; ``broken`` once there are too many."""

    open: list[Token] = field(default_factory=list)
    operators: int = 0
    broken: bool = False
