"""The guard around templates of somebody's own: what they may use, and how much they may do.

On top of Jinja2's sandbox it counts every pass of a loop or macro, every call and every text that is put together, and
ends a template that goes beyond the limits: the same template on the same data always ends at the same place. It offers
a list of filters, tests and methods, and nothing else. A mistake in a template does no harm this way; it is not meant
to withstand somebody who tries to exhaust the memory.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from jinja2 import FunctionLoader, nodes, pass_context
from jinja2.exceptions import SecurityError
from jinja2.runtime import LoopContext, Undefined
from jinja2.visitor import NodeTransformer

from .json_text import JsonWriter
from .sandboxing import Sandbox
from .targets import Target

STEPS = 1_000_000
"""Passes, calls and items that one file may take."""
CHARACTERS = 5_000_000
"""Characters that may be put together for one file."""
WIDEST = 500
"""Columns to which a text may be filled up."""
MOST_BITS = 1_000
"""Bits of the largest whole number."""

_FILTERS = (
    "abs", "capitalize", "count", "d", "default", "dictsort", "e", "escape", "first", "float", "forceescape",
    "groupby", "int", "items", "last", "length", "list", "lower", "map", "max", "min", "reject", "rejectattr",
    "reverse", "round", "select", "selectattr", "sort", "title", "trim", "unique", "upper",
)  # fmt: skip
_TESTS = (
    "boolean", "defined", "divisibleby", "eq", "equalto", "even", "false", "float", "ge", "greaterthan", "gt", "in",
    "integer", "iterable", "le", "lessthan", "lower", "lt", "mapping", "ne", "none", "number", "odd", "sameas",
    "sequence", "string", "true", "undefined", "upper", "==", "!=", ">", ">=", "<", "<=",
)  # fmt: skip
_METHODS: dict[type, frozenset[str]] = {
    str: frozenset(("endswith", "isdigit", "lower", "lstrip", "rstrip", "split", "startswith", "strip", "upper")),
    dict: frozenset(("get", "items", "keys", "values")),
    list: frozenset(("count", "index")),
    tuple: frozenset(("count", "index")),
}


class TooManySteps(Exception):
    """Raised when a template takes more than ``STEPS``."""


class TooMuchText(Exception):
    """Raised when a template puts together more than ``CHARACTERS``."""


class Counter:
    """Counts what is done for one file."""

    def __init__(self) -> None:
        self.steps = self.characters = 0

    def begin(self) -> None:
        """Begin another file."""
        self.steps = self.characters = 0

    def step(self, count: int = 1) -> bool:
        """Count steps; always true, so that a condition may ask."""
        self.steps += max(count, 0)
        if self.steps > STEPS:
            raise TooManySteps
        return True

    def text(self, length: int) -> None:
        """Count characters, and the work of copying them."""
        self.characters += max(length, 0)
        if self.characters > CHARACTERS:
            raise TooMuchText
        self.step(length // 100)

    def weigh(self, value: Any) -> Any:
        """Count what it takes to go through a value once; gives the value, or what counts as it is gone through."""
        if isinstance(value, str):
            self.step(len(value) // 100)
        elif isinstance(value, list | tuple | dict | range | set):
            self.step(len(value))
        elif isinstance(value, Iterator) and not isinstance(value, LoopContext):
            return self._through(value)
        return value

    def weigh_all(self, value: Any) -> Any:
        """Count what it takes to go through a value and all that it holds."""
        todo = [value]
        while todo:
            at = todo.pop()
            self.weigh(at)
            if isinstance(at, dict):
                todo += at.values()
            elif isinstance(at, list | tuple | set):
                todo += at
        return value

    def _through(self, items: Iterator[Any]) -> Iterator[Any]:
        for item in items:
            self.step()
            yield item


class Guarded(Sandbox):
    """The sandbox for a target of somebody's own."""

    intercepted_binops = frozenset(("+", "*", "**", "%"))

    def __init__(self, target: Target, filters: Mapping[str, Callable[..., Any]]) -> None:
        super().__init__(FunctionLoader(_loader(target)), optimized=False, cache_size=-1)
        self.counter = counter = Counter()
        self.globals = {"range": self._range, "namespace": self.globals["namespace"], "dict": dict}
        self.tests = {name: self.tests[name] for name in _TESTS}
        self.filters = {name: self.filters[name] for name in _FILTERS} | dict(filters)
        writer = JsonWriter()
        self.filters |= {
            "as_json": lambda value: self._said(writer.text(counter.weigh_all(value))),
            "join": self._join,
            "left": lambda value, width: _text(value).ljust(_width(width)),
            "replace": self._replace,
            "right": lambda value, width: _text(value).rjust(_width(width)),
            "string": _text,
            "sum": _sum,
            "_all": counter.weigh_all,
            "_joined": lambda parts: self._join(parts, ""),
            "_literal": counter.text,
            "_step": counter.step,
            "_weighed": counter.weigh,
        }
        self.finalize = self._finalizing()

    def _finalizing(self) -> Callable[..., Any]:
        @pass_context
        def finalize(_: Any, value: Any) -> Any:
            if not isinstance(value, Undefined):
                self.counter.text(len(_text(value)))
            return value

        return finalize

    def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
        tree = super()._parse(source, name, filename)
        counted: nodes.Template = _Counting().visit(tree)
        counted.set_environment(self)
        return counted

    # ---- what may be done

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        """Allow methods that change nothing and make nothing large."""
        for kind, allowed in _METHODS.items():
            if isinstance(obj, kind):
                # What groupby gives is a list whose two places have names.
                return attr in allowed or attr in getattr(obj, "_fields", ())
        return super().is_safe_attribute(obj, attr, value)

    def call(self, context: Any, obj: Any, /, *args: Any, **kwargs: Any) -> Any:
        """Call what a template calls, counted."""
        self.counter.step()
        self.counter.weigh(getattr(obj, "__self__", None))
        return super().call(context, obj, *(self.counter.weigh(a) for a in args), **kwargs)

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        """Work out what could grow without bounds."""
        if operator == "%" and isinstance(left, str):
            raise SecurityError("it fills in a text with %; use ~, left(width) or right(width)")
        if isinstance(left, str | list | tuple) or isinstance(right, str | list | tuple):
            self._grow(operator, left, right)
        elif isinstance(left, int) and isinstance(right, int) and operator in ("*", "**"):
            bits = left.bit_length() * abs(right) if operator == "**" else left.bit_length() + right.bit_length()
            if bits > MOST_BITS:
                raise SecurityError(f"it works out a number of more than {MOST_BITS} bits")
        return super().call_binop(context, operator, left, right)

    def _grow(self, operator: str, left: Any, right: Any) -> None:
        sizes = [len(v) if isinstance(v, str | list | tuple) else v for v in (left, right)]
        if not all(isinstance(s, int) for s in sizes):
            return  # Python says what is wrong with it.
        size = sizes[0] + sizes[1] if operator == "+" else sizes[0] * sizes[1]
        self.counter.text(size) if isinstance(left, str) or isinstance(right, str) else self.counter.step(max(size, 0))

    def _range(self, *args: int) -> range:
        found = range(*args)
        # The length of a range beyond the largest index cannot be asked for.
        if found and abs((found[-1] - found[0]) // found.step) > STEPS:
            raise TooManySteps
        self.counter.step(len(found))
        return found

    def _said(self, text: str) -> str:
        self.counter.text(len(text))
        return text

    def _join(self, items: Any, between: str = "", attribute: str | None = None) -> str:
        if attribute is not None:
            items = [self.getattr(i, attribute) for i in items]
        parts = [_text(i) for i in items]
        self.counter.text(sum(map(len, parts)) + len(between) * len(parts))
        return str(between).join(parts)

    def _replace(self, value: Any, old: str, new: str) -> str:
        text = _text(value)
        self.counter.text(len(text) + text.count(old) * len(new))
        return text.replace(old, new)


def _loader(target: Target) -> Callable[[str], tuple[str, str, Callable[[], bool]] | None]:
    def load(name: str) -> tuple[str, str, Callable[[], bool]] | None:
        source = target.texts.get(name)
        return (source.text, source.name, lambda: True) if source else None

    return load


def _text(value: Any) -> str:
    if isinstance(value, Undefined):
        return str(value)  # raises what is to be said of it
    if value is None or isinstance(value, str | int | float):
        return str(value)
    raise TypeError(f"a {_kind(value)} is no text: write its parts, or use as_json")


def _kind(value: Any) -> str:
    if isinstance(value, dict):
        return "table"
    return "list" if isinstance(value, list | tuple) else type(value).__name__


def _width(width: Any) -> int:
    if not isinstance(width, int) or width > WIDEST:
        raise SecurityError(f"it fills up a text to more than {WIDEST} columns")
    return width


def _sum(items: Any, start: float = 0) -> float:
    for item in items:
        if not isinstance(item, int | float):
            raise TypeError("sum adds numbers only")
        start += item
    return start


class _Counting(NodeTransformer):
    """Puts the counting into a template: at every pass, every text in it, and all that goes through data."""

    def visit_Output(self, node: nodes.Output) -> Any:
        self.generic_visit(node)
        length = sum(len(n.data) for n in node.nodes if isinstance(n, nodes.TemplateData))
        return [_statement("_literal", length, node), node] if length else node

    def _body(self, node: Any) -> Any:
        self.generic_visit(node)
        node.body.insert(0, _statement("_step", 1, node))
        return node

    visit_Macro = visit_CallBlock = visit_AssignBlock = visit_FilterBlock = visit_Block = _body

    def visit_For(self, node: nodes.For) -> Any:
        self._body(node)
        if node.test is not None:
            counted = _filter(nodes.Const(1, lineno=node.lineno), "_step")
            node.test = nodes.And(counted, node.test, lineno=node.lineno)
        return node

    def visit_Concat(self, node: nodes.Concat) -> Any:
        self.generic_visit(node)
        return _filter(nodes.List(node.nodes, lineno=node.lineno), "_joined")

    def visit_Filter(self, node: nodes.Filter) -> Any:
        self.generic_visit(node)
        if node.node is not None:
            node.node = _filter(node.node, "_all" if node.name in ("groupby", "sort", "unique") else "_weighed")
        return node

    def visit_Compare(self, node: nodes.Compare) -> Any:
        self.generic_visit(node)
        node.expr = _filter(node.expr, "_all")
        for operand in node.ops:
            operand.expr = _filter(operand.expr, "_weighed" if operand.op in ("in", "notin") else "_all")
        return node


def _filter(node: nodes.Expr, name: str) -> nodes.Filter:
    return nodes.Filter(node, name, [], [], None, None, lineno=node.lineno)


def _statement(name: str, count: int, node: nodes.Node) -> nodes.ExprStmt:
    return nodes.ExprStmt(_filter(nodes.Const(count, lineno=node.lineno), name), lineno=node.lineno)
