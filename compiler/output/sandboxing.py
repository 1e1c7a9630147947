"""Jinja2's sandbox as templates see it: fields before methods, and names that are not there as errors."""

import hashlib
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import BaseLoader, BytecodeCache, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.sandbox import ImmutableSandboxedEnvironment
from jinja2.utils import missing

from .. import __version__
from ..meaning.near import brief, near
from ..syntax.keeping import cache_folder
from ..telling.shared import Shared


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
    return Sandbox(FileSystemLoader(folder), autoescape=escapes, bytecode_cache=_kept_templates())


@cache
def _kept_templates() -> BytecodeCache | None:
    """Give the store of compiled templates in the user's cache folder, for this version of all that compiles them."""
    folder = cache_folder()
    if folder is None:
        return None
    stamp = Path(__file__).stat()
    parts = (__version__, jinja2.__version__, sys.version, str(stamp.st_size), str(stamp.st_mtime_ns))
    digest = hashlib.sha256("\0".join(parts).encode()).hexdigest()[:16]
    return FileSystemBytecodeCache(str(folder), f"template-{digest}-%s.bin")
