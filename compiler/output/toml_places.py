"""Reading TOML texts: their data, the places of their parts, and what a JSON Schema does not allow in them."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from decimal import Decimal
from importlib.resources import files
from typing import Any

from ..text.source import Source, Span

Keys = tuple[str | int, ...]
Data = dict[str, Any]


def read_toml(source: Source) -> tuple[Data, Span, str]:
    """Read a text, fractions as Decimal; gives its data, or the place and the sentence of what is wrong with it."""
    try:
        return tomllib.loads(source.text, parse_float=Decimal), whole(source), ""
    except tomllib.TOMLDecodeError as error:
        why = str(error)
        found = re.search(r"\(at line (\d+), column \d+\)$", why)
        span = line_span(source, int(found[1])) if found else whole(source)
        why = re.sub(r"\s*\(at .*\)$", "", why)
        return {}, span, f"it is no TOML: {why[:1].lower()}{why[1:]}"
    except RecursionError:
        return {}, whole(source), "it is nested too deep"


def whole(source: Source) -> Span:
    """Give the place of a text as a whole: its start."""
    return Span(source.name, 0, 0)


def line_span(source: Source, line: int) -> Span:
    """Give the place of a line, from 1, without the white space around it."""
    line = min(max(line, 1), len(source.line_starts))
    text = source.line_text(line)
    start = source.line_starts[line - 1] + len(text) - len(text.lstrip())
    return Span(source.name, start, start + len(text.strip()))


def place(source: Source, *keys: str | int) -> Span:
    """Give the line that says what ``keys`` lead to, or as many of them as have a line."""
    best, depth = whole(source), 0
    for line, path in _statements(source):
        shared = 0
        while shared < min(len(path), len(keys)) and path[shared] == keys[shared]:
            shared += 1
        if shared > depth:
            best, depth = line_span(source, line), shared
    return best


def _statements(source: Source) -> Iterator[tuple[int, Keys]]:
    """List the lines that are a table's head or say a key, with the keys that lead there."""
    table: Keys = ()
    counts: dict[Keys, int] = {}
    for number in range(1, len(source.line_starts) + 1):
        text = source.line_text(number).strip()
        if text.startswith("["):
            found = _parsed(text)
            if found is not None:
                table = _path(found)
                if text.startswith("[["):
                    counts[table] = counts.get(table, -1) + 1
                    table = (*table, counts[table])
                yield number, table
        else:
            key = re.match(r"""(?:[^=#"']|"[^"]*"|'[^']*')+=""", text)
            found = _parsed(f"{key[0]} 0") if key else None
            if found is not None:
                yield number, (*table, *_path(found))


def _parsed(text: str) -> Data | None:
    try:
        return tomllib.loads(text)
    except ValueError:
        return None


def _path(data: Any) -> Keys:
    keys: list[str | int] = []
    while isinstance(data, list | dict) and data:
        if isinstance(data, list):
            data = data[0]
        else:
            keys.append(next(iter(data)))
            data = data[keys[-1]]
    return tuple(keys)


# ---- schemas


def schema_faults(data: Data, name: str, source: Source) -> list[tuple[Span, str]]:
    """List where data differ from ``targets/schemas/<name>.json``, each with a sentence; in the order of the text."""
    # Loaded only for targets of one's own: reading the library's schemas takes a while.
    from jsonschema import Draft202012Validator

    text = files("meltwright.targets").joinpath("schemas", f"{name}.json").read_text(encoding="utf-8")
    found = []
    for error in Draft202012Validator(json.loads(text)).iter_errors(data):
        at: Keys = tuple(error.absolute_path)
        found.append((place(source, *at, *_culprit(error)), _sentence(error, at)))
    return sorted(found, key=lambda f: (f[0].start, f[1]))


def _culprit(error: Any) -> Keys:
    """Give the key that should not be there, if that is what is wrong."""
    return tuple(_unknown(error)[:1]) if error.validator == "additionalProperties" else ()


def _unknown(error: Any) -> list[str]:
    return [k for k in error.instance if k not in error.schema.get("properties", {})]


def _sentence(error: Any, at: Keys) -> str:
    where = ".".join(str(k + 1) if isinstance(k, int) else k for k in at)
    value = error.validator_value
    match error.validator:
        case "required":
            missing = [k for k in value if k not in error.instance]
            return f"{where or 'it'} lacks {' and '.join(missing)}"
        case "additionalProperties":
            known = ", ".join(error.schema.get("properties", {}))
            return f"{where or 'it'} has {', '.join(_unknown(error))}, which is none of {known}"
        case "enum":
            return f"{where} is {_said(error.instance)}, not {' or '.join(map(str, value))}"
        case "const":
            return f"{where} is {_said(error.instance)}, not {value}"
        case "type":
            kinds = [value] if isinstance(value, str) else value
            words = {"object": "a table", "array": "a list", "string": "a text", "boolean": "true or false"}
            named = [words.get(k, f"a {k}" if k != "integer" else "a whole number") for k in kinds]
            return f"{where or 'it'} is not {' or '.join(named)}"
        case "minLength" | "minItems":
            return f"{where} is empty"
        case "maxLength" | "maxItems":
            return f"{where} is longer than {value}"
        case "minimum" | "maximum":
            return f"{where} is {error.instance}, beyond {value}"
        case "uniqueItems":
            return f"{where} lists something twice"
        case "not":
            return f"{where} is {_said(error.instance)}, which cannot be"
        case "anyOf":
            inner = [e for e in error.context or () if isinstance(error.instance, dict) and e.schema_path[0] == 1]
            return _sentence(inner[0], tuple(inner[0].absolute_path)) if inner else f"{where} is no name"
    return f"{where} is {_said(error.instance)}, which is not of the form that it takes"


def _said(value: Any) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def finite(numbers: Mapping[str, Any]) -> bool:
    """Tell whether no number is infinite or none at all; a schema cannot say so."""
    return all(not isinstance(n, Decimal) or n.is_finite() for n in numbers.values())
