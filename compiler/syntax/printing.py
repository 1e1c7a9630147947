"""The canonical text of a tree: reading it again gives an equal tree. Comments are not part of a tree."""

from collections.abc import Iterable
from pathlib import Path

from ..text.source import Source
from . import tree

_SUM, _PRODUCT, _NEGATION, _POWER, _ATOM = range(5)
_LEVELS = {"+": _SUM, "-": _SUM, "*": _PRODUCT, "/": _PRODUCT, "^": _POWER}


def print_file(file: tree.File) -> str:
    """Write a file in the layout of the formatter: statements of one kind together, others apart by an empty line.

    Texts hold no line ends, as no text that was read does.
    """
    # Only this needs the parser, which takes time to load.
    from .formatting import laid_out

    parts: list[str] = []
    for previous, statement in zip((None, *file.statements), file.statements, strict=False):
        if previous is not None and type(previous) is not type(statement):
            parts.append("\n")
        parts.append(print_statement(statement) + "\n")
    return laid_out(Source(file.name, Path(file.name), "".join(parts)))


def print_statement(statement: tree.Statement) -> str:
    """Write a statement, an item a line."""
    match statement:
        case tree.Use(path, library):
            return f"use {'library ' if library else ''}{_text(path)}"
        case tree.Entity(kind, name, base, items):
            return _block(f"{kind} {name.text}" + (f" from {base.text}" if base else ""), map(_entity_item, items))
        case tree.Quantity():
            return _quantity(statement) + _after(statement.doc)
        case tree.Setting():
            return _setting(statement) + _after(statement.doc)
        case tree.Grade(name, quantity, doc, bands):
            return _block(f"grade {name.text} by {quantity.text}" + _after(doc), map(_band, bands))
        case tree.Merit(name, expression, doc):
            return f"merit {name.text} = {print_expression(expression)}" + _after(doc)
        case tree.Law(name, items):
            return _block(f"law {name.text}", map(_law_item, items))


def print_part(item: tree.EntityItem | tree.LawItem) -> str:
    """Write one item of a block in one line: a value with its evidence, a want, a let, a require and its rest."""
    if isinstance(item, tree.Given | tree.UsesMaterial | tree.UsesMachines | tree.Want | tree.Prefer | tree.Pin):
        return _entity_item(item)
    return _law_item(item)


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


# ---- declarations and items, each in one line


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


def _entity_item(item: tree.EntityItem) -> str:
    match item:
        case tree.Given(name, value, evidence):
            given = f"{name.text} {print_value(value)}"
            return f"{given} {evidence.kind} {_text(evidence.text)}" if evidence else given
        case tree.UsesMaterial(name):
            return f"material {name.text}"
        case tree.UsesMachines(names):
            return f"machines {_names(names)}"
        case tree.Want(name, bound, value, soft):
            return f"{name.text} at {bound} {print_value(value)}" + (" if possible" if soft else "")
        case tree.Prefer(names, giving):
            return f"prefer {_names(names)}" + (f" giving {print_number(giving)}" if giving else "")
        case tree.Pin(name, value, reason):
            return f"pin {name.text} = {print_value(value)}" + (f" because {_text(reason)}" if reason else "")


def _band(band: tree.Band) -> str:
    limit = f" {print_number(band.limit)}" if band.limit else ""
    return f"{band.name.text} {band.edge.replace('_', ' ')}{limit}" + _after(band.doc)


def _law_item(item: tree.LawItem) -> str:
    match item:
        case tree.About(text):
            return f"about {_text(text)}"
        case tree.SourceNote(status, text):
            return f"source {status} {_text(text)}"
        case tree.When(condition):
            return f"when {print_condition(condition)}"
        case tree.Let(name, expression, doc):
            return f"let {name.text} = {print_expression(expression)}" + _after(doc)
        case tree.Require(comparison, otherwise, remedies):
            return f"require {print_comparison(comparison)}" + _else(otherwise) + "".join(map(_remedy, remedies))
        case tree.Valid(comparison, otherwise):
            return f"valid {print_comparison(comparison)}" + _else(otherwise)
        case tree.Notice(kind, text, where):
            return f"{kind} {_text(text)}" + (f" where {print_condition(where)}" if where else "")
        case tree.Checked(text, by):
            return f"checked {_text(text)} by {_text(by)}"
        case tree.Unchecked(text):
            return f"unchecked {_text(text)}"


def _remedy(remedy: tree.Remedy) -> str:
    return f" remedy {remedy.direction} {remedy.name.text}" + _after(remedy.text)


def _else(otherwise: tree.Text | None) -> str:
    return f" else {_text(otherwise)}" if otherwise else ""


def _text(text: tree.Text) -> str:
    escaped = text.text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _names(names: Iterable[tree.Name]) -> str:
    return ", ".join(n.text for n in names)


def _after(doc: tree.Text | None) -> str:
    return f" {_text(doc)}" if doc else ""


def _block(head: str, items: Iterable[str]) -> str:
    return "\n".join([head + " {", *items, "}"])
