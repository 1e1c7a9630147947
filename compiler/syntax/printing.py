"""The canonical text of a tree: reading it again gives an equal tree. Comments are not part of a tree."""

from collections.abc import Iterable, Sequence

from . import tree

_SUM, _PRODUCT, _NEGATION, _POWER, _ATOM = range(5)
_LEVELS = {"+": _SUM, "-": _SUM, "*": _PRODUCT, "/": _PRODUCT, "^": _POWER}
_INDENT = "  "


def print_file(file: tree.File) -> str:
    """Write a file: statements apart by an empty line, declarations of one kind together.

    Texts hold no line ends, as no text that was read does.
    """
    parts: list[str] = []
    previous: tree.Statement | None = None
    for statement in file.statements:
        if previous is not None and not _together(previous, statement):
            parts.append("\n")
        parts.append(print_statement(statement) + "\n")
        previous = statement
    return "".join(parts)


def _together(one: tree.Statement, other: tree.Statement) -> bool:
    return type(one) is type(other) and not isinstance(one, tree.Entity | tree.Grade | tree.Law)


def print_statement(statement: tree.Statement) -> str:
    """Write a statement, with its block, without a line end after it."""
    match statement:
        case tree.Use(path, library):
            return f"use {'library ' if library else ''}{_text(path)}"
        case tree.Entity(kind, name, base, items):
            head = f"{kind} {name.text}" + (f" from {base.text}" if base else "")
            return _block(head, _aligned([_entity_item(i) for i in items]))
        case tree.Quantity():
            return _with_doc_below(_quantity(statement), statement.doc)
        case tree.Setting():
            return _with_doc_below(_setting(statement), statement.doc)
        case tree.Grade(name, quantity, doc, bands):
            head = f"grade {name.text} by {quantity.text}" + _after(doc, " ")
            return _block(head, _aligned([_band(b) for b in bands]))
        case tree.Merit(name, expression, doc):
            return f"merit {name.text} = {print_expression(expression)}" + _after(doc)
        case tree.Law(name, items):
            return _block(f"law {name.text}", [line for i in items for line in _law_item(i)])


def print_part(item: tree.EntityItem | tree.LawItem) -> str:
    """Write one item of a block in one line: a value with its evidence, a want, a let, a require and its rest."""
    if isinstance(item, tree.Given | tree.UsesMaterial | tree.UsesMachines | tree.Want | tree.Prefer | tree.Pin):
        return " ".join(_entity_item(item))
    if isinstance(item, tree.Require):
        return " ".join([f"require {print_comparison(item.comparison)}", *map(" ".join, _require_rows(item))])
    return " ".join(_law_item(item))


def print_value(value: tree.Value) -> str:
    """Write a value: ``20 N ± 10 %``."""
    match value:
        case tree.Exact(number):
            return print_number(number)
        case tree.Spread(number, tolerance):
            return f"{print_number(number)} ± {print_number(tolerance)}"
        case tree.Range(low, high):
            return f"{print_number(low)} .. {print_number(high)}"
        case tree.Word(text):
            return text


def print_number(number: tree.Number) -> str:
    """Write a number with its unit, the digits as they were written."""
    return f"{number.digits} {number.unit}" if number.unit else number.digits


def print_expression(expression: tree.Expression) -> str:
    """Write an expression with as few parentheses as keep its meaning: ``pi^2 * a / (0.699 * b)^2``."""
    return _expression(expression, _SUM)


def print_comparison(comparison: tree.Comparison) -> str:
    """Write a comparison."""
    left, right = print_expression(comparison.left), print_expression(comparison.right)
    return f"{left} {comparison.relation} {right}"


def print_condition(condition: tree.Condition) -> str:
    """Write a condition: ``gap > 0 mm and liner is none``."""
    return " and ".join(_test(t) for t in condition.tests)


# ---- expressions


def _expression(expression: tree.Expression, least: int) -> str:
    """Write an expression for a place that takes levels from ``least`` up without parentheses."""
    level, text = _leveled(expression)
    return text if level >= least else f"({text})"


def _leveled(expression: tree.Expression) -> tuple[int, str]:
    match expression:
        case tree.Literal(number):
            # Without parentheses a power after a unit would be a power of the unit.
            level = _NEGATION if number.digits.startswith("-") else _POWER if number.unit else _ATOM
            return level, print_number(number)
        case tree.Reference(name):
            return _ATOM, name
        case tree.Negation(operand):
            return _NEGATION, "-" + _expression(operand, _NEGATION)
        case tree.Binary("^", left, right):
            return _POWER, f"{_expression(left, _ATOM)}^{_exponent(right)}"
        case tree.Binary(operator, left, right):
            level = _LEVELS[operator]
            return level, f"{_expression(left, level)} {operator} {_expression(right, level + 1)}"
        case tree.Call(function, arguments):
            return _ATOM, f"{function.text}({', '.join(map(print_expression, arguments))})"
        case tree.Integral(body, variable, start, stop, points):
            bounds = f"from {print_expression(start)} to {print_expression(stop)}"
            count = f"in {print_number(points)} points"
            return _ATOM, f"integral({print_expression(body)} for {variable.text} {bounds} {count})"


def _exponent(exponent: tree.Expression) -> str:
    """Write what follows ``^``: an atom, or minus an atom. A unit needs no parentheses there."""
    match exponent:
        case tree.Literal(number) if not number.digits.startswith("-"):
            return print_number(number)
        case tree.Negation(tree.Literal() | tree.Reference() | tree.Call() | tree.Integral() as operand):
            return "-" + _exponent(operand)
    return _expression(exponent, _ATOM)


def _test(test: tree.Test) -> str:
    match test:
        case tree.Comparison():
            return print_comparison(test)
        case tree.OnScale(quantity, scale):
            return f"{quantity.text} on {scale.text}"
        case tree.IsWord(quantity, word):
            return f"{quantity.text} is {word.text}"


# ---- declarations and items: rows of cells that a block aligns


def _quantity(node: tree.Quantity) -> str:
    head = f"quantity {node.name.text} of {node.owner} : "
    if node.dimension is None:
        return head + "one of " + _names(node.words)
    ranges = ", ".join(print_value(r) for r in node.ranges)
    return head + node.dimension.text + (f" in {ranges}" if ranges else "")


def _setting(node: tree.Setting) -> str:
    head = f"setting {node.name.text} : {node.dimension.text} in {print_value(node.range)}"
    given = " given" if node.given else ""
    rather = f" rather {node.rather}" if node.rather else ""
    return f"{head} step {print_number(node.step)}{given}{rather}"


def _entity_item(item: tree.EntityItem) -> tuple[str, ...]:
    match item:
        case tree.Given(name, value, evidence):
            given = (name.text, print_value(value))
            return (*given, f"{evidence.kind} {_text(evidence.text)}") if evidence else given
        case tree.UsesMaterial(name):
            return ("material", name.text)
        case tree.UsesMachines(names):
            return ("machines", _names(names))
        case tree.Want(name, bound, value, soft):
            return (name.text, f"at {bound} {print_value(value)}" + (" if possible" if soft else ""))
        case tree.Prefer(names, giving):
            return ("prefer", _names(names) + (f" giving {print_number(giving)}" if giving else ""))
        case tree.Pin(name, value, reason):
            pinned = ("pin", f"{name.text} = {print_value(value)}")
            return (*pinned, f"because {_text(reason)}") if reason else pinned


def _band(band: tree.Band) -> tuple[str, ...]:
    limit = f" {print_number(band.limit)}" if band.limit else ""
    cells = (band.name.text, band.edge.replace("_", " ") + limit)
    return (*cells, _text(band.doc)) if band.doc else cells


def _law_item(item: tree.LawItem) -> list[str]:
    match item:
        case tree.About(text):
            return [f"about {_text(text)}"]
        case tree.SourceNote(status, text):
            return [f"source {status} {_text(text)}"]
        case tree.When(condition):
            return [f"when {print_condition(condition)}"]
        case tree.Let(name, expression, doc):
            return [f"let {name.text} = {print_expression(expression)}" + _after(doc)]
        case tree.Require(comparison):
            rows = _aligned(_require_rows(item))
            return [f"require {print_comparison(comparison)}", *(_INDENT + row for row in rows)]
        case tree.Valid(comparison, otherwise):
            return [f"valid {print_comparison(comparison)}" + (f" else {_text(otherwise)}" if otherwise else "")]
        case tree.Notice(kind, text, where):
            return [f"{kind} {_text(text)}" + (f" where {print_condition(where)}" if where else "")]


def _require_rows(require: tree.Require) -> list[tuple[str, ...]]:
    rest = [("else", _text(require.otherwise))] if require.otherwise else []
    return [*rest, *map(_remedy, require.remedies)]


def _remedy(remedy: tree.Remedy) -> tuple[str, ...]:
    cells = ("remedy", f"{remedy.direction} {remedy.name.text}")
    return (*cells, _text(remedy.text)) if remedy.text else cells


# ---- layout


def _text(text: tree.Text) -> str:
    escaped = text.text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _names(names: Iterable[tree.Name]) -> str:
    return ", ".join(n.text for n in names)


def _after(doc: tree.Text | None, space: str = "  ") -> str:
    return space + _text(doc) if doc else ""


def _with_doc_below(head: str, doc: tree.Text | None) -> str:
    return f"{head}\n{_INDENT}{_text(doc)}" if doc else head


def _block(head: str, lines: Sequence[str]) -> str:
    return "\n".join([head + " {", *(_INDENT + line for line in lines), "}"])


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Set rows of cells in columns two spaces apart; a cell without one after it sets no width."""
    widths: dict[int, int] = {}
    for row in rows:
        for i, cell in enumerate(row[:-1]):
            widths[i] = max(widths.get(i, 0), len(cell))
    return ["  ".join([*(c.ljust(widths[i]) for i, c in enumerate(row[:-1])), row[-1]]) for row in rows]
