"""Plain data that many bundles hold in common, marked so that what is made of it is made once."""

from typing import Any


class Shared(dict[str, Any]):
    """Fields that are the same object in many bundles. Nobody changes it once it is told."""


class SharedList(list[Any]):
    """A list that is the same object in many bundles. Nobody changes it once it is told."""
