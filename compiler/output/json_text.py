"""JSON text with a stable layout: what ``json.dumps(data, indent=2, ensure_ascii=False)`` writes, faster.

Data that bundles share is written once and its text used again.
"""

from json.encoder import encode_basestring
from math import isfinite
from typing import Any

from ..telling.shared import Shared, SharedList

MOST_KEPT = 10_000
"""Texts that are kept: a fleet must not fill the memory with them."""

Kept = dict[tuple[int, int], tuple[object, str]]

LONG, MOST_TEXTS = 40, 5_000
"""Characters from which on the forms of texts are kept, and how many."""

MOST_KEPT = 20_000
"""Shared data whose texts are kept; a full store is begun anew."""


class JsonWriter:
    """Writes plain data as JSON; keeps the texts of shared data."""

    def __init__(self) -> None:
        self._kept: Kept = {}
        self._texts: dict[str, str] = {}
        self._keys: dict[tuple[tuple[str, ...], int], list[str]] = {}

    def text(self, data: Any) -> str:
        """Write data; TypeError or ValueError for what JSON has no form for."""
        parts: list[str] = []
        self._write(data, 0, parts)
        return "".join(parts)

    def _write(self, data: Any, depth: int, parts: list[str]) -> None:
        kind = type(data)
        if kind is str:
            parts.append(encode_basestring(data))
        elif kind is dict:
            self._object(data, depth, parts)
        elif kind is list or kind is tuple:
            self._array(data, depth, parts)
        elif kind is Shared or kind is SharedList:
            parts.append(self._shared(data, depth))
        else:
            parts.append(_scalar(data))

    def _shared(self, data: Shared | SharedList, depth: int) -> str:
        key = (id(data), depth)
        kept = self._kept.get(key)
        if kept is None:
            parts: list[str] = []
            (self._object if isinstance(data, dict) else self._array)(data, depth, parts)
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            # The data is kept as well, so that no other can come by the same identity.
            kept = self._kept[key] = (data, "".join(parts))
        return kept[1]

    def _object(self, data: Any, depth: int, parts: list[str]) -> None:
        if not data:
            parts.append("{}")
            return
        heads = self._heads(tuple(data), depth)
        append, texts = parts.append, self._texts
        for head, value in zip(heads, data.values(), strict=False):
            append(head)
            if type(value) is str:
                # Long texts are mostly those of the library, told of every machine.
                text = texts.get(value) if len(value) > LONG else encode_basestring(value)
                if text is None:
                    text = encode_basestring(value)
                    if len(texts) < MOST_TEXTS:
                        texts[value] = text
                append(text)
            elif type(value) is float and isfinite(value):
                append(repr(value))
            else:
                self._write(value, depth + 1, parts)
        append(heads[-1])

    def _heads(self, keys: tuple[str, ...], depth: int) -> list[str]:
        """Give what stands before each value of an object, and after the last."""
        heads = self._keys.get((keys, depth))
        if heads is None:
            inner = "\n" + "  " * (depth + 1)
            heads = [f"{'{' if i == 0 else ','}{inner}{encode_basestring(k)}: " for i, k in enumerate(keys)]
            heads.append("\n" + "  " * depth + "}")
            self._keys[keys, depth] = heads
        return heads

    def _array(self, data: Any, depth: int, parts: list[str]) -> None:
        if not data:
            parts.append("[]")
            return
        inner = "\n" + "  " * (depth + 1)
        head = "[" + inner
        for value in data:
            parts.append(head)
            self._write(value, depth + 1, parts)
            head = "," + inner
        parts.append("\n" + "  " * depth + "]")


def _scalar(data: Any) -> str:
    """Write a number, a truth value or nothing."""
    if data is None:
        return "null"
    if isinstance(data, bool):
        return "true" if data else "false"
    if isinstance(data, int):
        return int.__repr__(data)
    if isinstance(data, float):
        if not isfinite(data):
            raise ValueError(f"{data} has no form in JSON")
        return float.__repr__(data)
    raise TypeError(f"a {type(data).__name__} has no form in JSON")
