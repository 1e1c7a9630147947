"""Counts of work that are the same on every computer: passes of the tape, and rows that went through it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import wraps
from typing import Any

import numpy as np
from meltwright.solving.tape import Tape

_NO_PASS = ("partial", "relying", "between")
"""Methods that tell about the tape and evaluate nothing."""


@dataclass(slots=True)
class Counted:
    """Passes and rows by the name of the tape's method."""

    passes: dict[str, int] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)

    def add(self, name: str, rows: int) -> None:
        self.passes[name] = self.passes.get(name, 0) + 1
        self.rows[name] = self.rows.get(name, 0) + rows


@contextmanager
def counted() -> Iterator[Counted]:
    """Count every pass of every tape for as long as the context lasts; a pass within another is part of that."""
    found, depth = Counted(), [0]
    kept = {n: f for n, f in vars(Tape).items() if callable(f) and not n.startswith("_") and n not in _NO_PASS}

    def counting(name: str, method: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(method)
        def count(*arguments: Any, **named: Any) -> Any:
            depth[0] += 1
            try:
                result = method(*arguments, **named)
            finally:
                depth[0] -= 1
            if not depth[0]:
                found.add(name, _rows(arguments[1:]))
            return result

        return count

    try:
        for name, method in kept.items():
            setattr(Tape, name, counting(name, method))
        yield found
    finally:
        for name, method in kept.items():
            setattr(Tape, name, method)


def _rows(arguments: tuple[Any, ...]) -> int:
    """Give the most rows that any array among the arguments has."""
    most = 1
    for argument in arguments:
        if isinstance(argument, np.ndarray):
            most = max(most, argument.size if argument.ndim < 2 else argument[0].size)
        elif isinstance(argument, list | tuple):
            shapes = [a.shape for a in argument if isinstance(a, np.ndarray)]
            shapes += [a.lo.shape for a in argument if hasattr(a, "lo")]
            most = max([most, *(int(np.prod(s)) for s in shapes)])
    return most
