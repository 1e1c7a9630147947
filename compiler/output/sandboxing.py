"""Jinja2's sandbox as templates see it: fields before methods, and names that are not there as errors."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import BaseLoader, BytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from jinja2.sandbox import ImmutableSandboxedEnvironment
from jinja2.utils import missing

from ..meaning.near import brief, near
from ..telling.shared import Shared
from ..text import store


class Missing(StrictUndefined):
    """A name that is not there; using it in any way is an error that says what there is."""

    __slots__ = ()

    @property
    def known(self) -> list[str]:
        """The names that are there in its place."""
        owner = self._undefined_obj
        return sorted(str(k) for k in owner) if isinstance(owner, dict) else []

    @property
    def _undefined_message(self) -> str:
        if self._undefined_hint:
            return self._undefined_hint
        name = brief(str(self._undefined_name))
        if self._undefined_obj is missing:
            return f"there is no {name}"
        kinds = {"dict": "table", "Shared": "table", "SharedList": "list", "str": "text", "int": "number"}
        kind = type(self._undefined_obj).__name__
        said = f"a {kinds.get(kind, kind)} has no {name}"
        known = self.known
        return f"{said}; {near(name, known, 'it has ' + brief(', '.join(known)))}" if known else said


class Sandbox(ImmutableSandboxedEnvironment):
    """The sandbox, in which ``data.name`` is first of all the field of that name."""

    def __init__(self, loader: BaseLoader, **options: Any) -> None:
        super().__init__(
            loader=loader,
            auto_reload=False,
            undefined=Missing,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            **options,
        )

    def getattr(self, obj: Any, attribute: str) -> Any:
        """Give a field of data, or an attribute that a template may see."""
        kind = type(obj)
        if (kind is Shared or kind is dict) and attribute in obj:
            return obj[attribute]
        return super().getattr(obj, attribute)


def sandbox(folder: Path, escapes: bool | Callable[[str | None], bool]) -> Sandbox:
    """Make the sandbox for the templates of a folder; ``escapes`` what would be markup, or tells by name where to."""
    return Sandbox(FileSystemLoader(folder), autoescape=escapes, bytecode_cache=_KeptTemplates(escapes))


class _KeptTemplates(BytecodeCache):
    """Compiled templates in the store; a bucket's key tells the template by its path, its checksum the text."""

    def __init__(self, escapes: bool | Callable[[str | None], bool]) -> None:
        self._escapes = str(escapes) if isinstance(escapes, bool) else "by name"

    def load_bytecode(self, bucket: Bucket) -> None:
        """Give the code where it was kept."""
        kept = store.recall(self._key(bucket))
        if kept is not None:
            bucket.bytecode_from_string(kept)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the code."""
        store.keep(self._key(bucket), bucket.bytecode_to_string())

    def _key(self, bucket: Bucket) -> str:
        return store.key("template", jinja2.__version__, self._escapes, bucket.key, bucket.checksum)
