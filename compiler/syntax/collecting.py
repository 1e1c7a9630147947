"""Making many things that stay: the search for unreachable circles is left out meanwhile, as there are none to find."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def without_collecting() -> Iterator[None]:
    """Switch the cycle collector off for a while.

    Trees, declarations and what is told of a fleet refer to one another without circles, and each of its rounds would
    look at all of them.
    """
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
