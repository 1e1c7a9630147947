"""A main file with all that it uses, checked by what ``meltwright check`` checks with, and kept from edit to edit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ..meaning.checking import look_at
from ..meaning.loading import Loaded, load, reread
from ..meaning.memory import LastingMemory
from ..meaning.model import Model
from ..syntax import tree
from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .texts import Texts


@dataclass(slots=True)
class Program:
    """What is known of a main file. ``model`` holds what is sound of it, whatever else is at fault."""

    main: Path
    loaded: Loaded
    model: Model
    found: tuple[Diagnostic, ...]
    memory: LastingMemory
    names: dict[Path, str] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether the text has no error."""
        return not any(d.is_error for d in self.found)

    @property
    def sources(self) -> Mapping[str, Source]:
        """All texts, by display name."""
        return self.loaded.sources

    def file(self, path: Path) -> tree.File | None:
        """Give the tree of one of the files."""
        name = self.names.get(path)
        return None if name is None else self.loaded.files.get(name)

    def source(self, path: Path) -> Source | None:
        """Give the text of one of the files."""
        name = self.names.get(path)
        return None if name is None else self.loaded.sources.get(name)

    def copy(self) -> "Program":
        """Give a program to try edits in."""
        return Program(self.main, self.loaded, self.model, self.found, self.memory, dict(self.names))

    @property
    def profiles(self) -> list[str]:
        """The names of the main file's own profiles."""
        return [n for n, p in self.model.profiles.items() if p.span.file == self.loaded.main]


def first_look(main: Path, texts: Texts, memory: LastingMemory) -> Program:
    """Read and check a main file."""
    loaded = load(main, disk=texts)
    model, found = look_at(loaded, memory)
    return Program(main, loaded, model, found, memory, _names(loaded))


def look_again(program: Program, changed: Iterable[Path], texts: Texts) -> None:
    """Check a program after edits of some of its files."""
    names = [program.names[path] for path in changed if path in program.names]
    loaded = reread(program.loaded, names, texts) or load(program.main, disk=texts)
    program.model, program.found = look_at(loaded, program.memory)
    program.loaded, program.names = loaded, _names(loaded)


def _names(loaded: Loaded) -> dict[Path, str]:
    return {source.path: name for name, source in loaded.sources.items()}
