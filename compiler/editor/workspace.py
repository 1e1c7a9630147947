"""All that the editor has open and all that its folders hold, checked: the one state of the language server."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from ..meaning.loading import project_root
from ..meaning.memory import LastingMemory
from ..syntax import tree
from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .mains import Head, head_of, mains, melt_files
from .occurrences import Occurrence, occurrences
from .positions import UTF16, Lines, Range
from .programs import Program, first_look, look_again
from .reports import Report, report
from .shifting import shifted
from .texts import Texts
from .verdicts import Verdict


class Workspace:
    """Takes edits, and knows after ``settle`` what is to be said of every file."""

    def __init__(self, folders: Sequence[Path] = (), encoding: str = UTF16) -> None:
        self.folders = [f.resolve() for f in folders]
        self.encoding = encoding
        self.texts = Texts()
        self.memory = LastingMemory()
        self.versions: dict[Path, int | None] = {}
        self.programs: dict[Path, Program] = {}
        self.verdicts: dict[Path, Verdict] = {}
        self._found: dict[Path, tuple[Mapping[str, Source], tuple[Diagnostic, ...]]] = {}
        self._heads: dict[Path, Head] = {}
        self._lines: dict[Path, Lines] = {}
        self._occurrences: dict[str, tuple[tree.File, list[Occurrence]]] = {}
        self._changed: set[Path] = set()
        self._checked: set[Path] = set()
        self._searched = False

    # ---- what the editor tells

    def put(self, path: Path, text: str, version: int | None = None) -> None:
        """Take the text of a file that was opened or edited."""
        path = path.resolve()
        self.versions[path] = version
        if self.texts.put(path, text):
            self._changed.add(path)

    def close(self, path: Path) -> None:
        """Take note that a file is no longer open: what is on the disk counts again."""
        path = path.resolve()
        self.versions.pop(path, None)
        if self.texts.put(path, None):
            self._changed.add(path)

    def look_again(self) -> None:
        """Take note that files on the disk came, went or changed."""
        self.texts.look_again()
        self._searched = False

    # ---- what is known

    def settle(self) -> list[Path]:
        """Bring everything up to date with the edits; gives the main files that were checked anew."""
        checked = self._settle()
        self._checked |= set(checked)
        for main in checked:
            self._follow(main)
        return checked

    def take(self, main: Path, verdict: Verdict) -> None:
        """Take what the solver says of a main file."""
        self.verdicts[main] = verdict
        self._found[main] = (verdict.sources, verdict.found)
        self._follow(main)

    def _follow(self, main: Path) -> None:
        """Move what the solver found to where it stands now: step by step, so that several edits lose nothing."""
        program = self.programs.get(main)
        if program is not None and main in self._found:
            before, found = self._found[main]
            moved = tuple(at for d in found if (at := shifted(d, before, program.sources)) is not None)
            self._found[main] = (program.sources, moved)

    def take_checked(self) -> set[Path]:
        """Give the main files that were checked anew since this was last asked."""
        checked, self._checked = self._checked, set()
        return checked

    def _settle(self) -> list[Path]:
        if not self._searched:
            return self._search()
        if not self._changed:
            return []
        changed, self._changed = self._changed, set()
        if self._moved(changed):
            return self._choose(changed)
        checked = []
        for main, program in self.programs.items():
            if main in changed or not changed.isdisjoint(program.names):
                look_again(program, changed, self.texts)
                checked.append(main)
        return checked

    def _search(self) -> list[Path]:
        """Look for files anew; everything is checked again."""
        self._searched = True
        changed, self._changed = self._changed, set()
        roots = self.folders or sorted({project_root(p) for p in self.texts.open if p.exists()})
        known = [*melt_files(roots), *self.texts.open]
        self._heads = {p: head_of(p, self.texts) for p in known}
        return self._choose({*known, *changed}, everything=True)

    def _moved(self, changed: Iterable[Path]) -> bool:
        """Tell whether edits may change which files are checked together."""
        for path in changed:
            gone = path not in self.texts.open and not path.exists()
            head = None if gone else head_of(path, self.texts)
            if head != self._heads.get(path):
                return True
        return False

    def _choose(self, changed: set[Path], everything: bool = False) -> list[Path]:
        for path in changed:
            if path in self.texts.open or path.exists():
                self._heads[path] = head_of(path, self.texts)
            else:
                self._heads.pop(path, None)
        chosen = mains(self._heads)
        before = self.programs
        self.programs, checked = {}, []
        for main in chosen:
            program = before.get(main)
            if program is None:
                program = first_look(main, self.texts, self.memory)
            elif everything or not changed.isdisjoint(program.names) or not program.sound:
                look_again(program, changed | program.names.keys(), self.texts)
            else:
                self.programs[main] = program
                continue
            self.programs[main] = program
            checked.append(main)
        self.verdicts = {m: v for m, v in self.verdicts.items() if m in self.programs}
        self._found = {m: f for m, f in self._found.items() if m in self.programs}
        return checked

    def program(self, path: Path) -> Program | None:
        """Give the program that a file is looked at in: its own, else the first sound one that uses it."""
        path = path.resolve()
        if path in self.programs:
            return self.programs[path]
        using = [p for p in self.programs.values() if path in p.names]
        return next((p for p in using if p.sound), using[0] if using else None)

    def reports(self) -> dict[Path, tuple[Report, ...]]:
        """Gather what is to be said of every file, each thing once, in the order of the text."""
        found: dict[Path, dict[Report, None]] = {}
        for main, program in self.programs.items():
            said = [report(d, program.sources, main, self.placed) for d in program.found]
            _, solved = self._found.get(main, (None, ()))
            said += [report(d, program.sources, main, self.placed) for d in solved]
            for r in said:
                found.setdefault(r.path, {})[r] = None
        return {p: tuple(sorted(of, key=lambda r: (r.range, r.code, r.message))) for p, of in found.items()}

    def own(self, path: Path) -> bool:
        """Tell whether a file is one of the project, and not of the library that comes with the program."""
        return path in self._heads

    def files(self) -> list[Path]:
        """List the files of the project."""
        return list(self._heads)

    def copy(self) -> "Workspace":
        """Give another workspace in the same state, to try edits in."""
        other = Workspace(self.folders, self.encoding)
        other.texts, other.memory = self.texts.copy(), self.memory
        other._heads = dict(self._heads)
        other._searched = self._searched
        other._changed = set(self._changed)
        other.programs = {main: program.copy() for main, program in self.programs.items()}
        return other

    def occurrences(self, file: tree.File) -> list[Occurrence]:
        """Give the names of a file; they are looked for once in each tree."""
        kept = self._occurrences.get(file.name)
        if kept is None or kept[0] is not file:
            kept = self._occurrences[file.name] = (file, occurrences(file))
        return kept[1]

    def lines(self, path: Path) -> Lines | None:
        """Give the text of a file by its lines."""
        text = self.texts.text(path)
        return None if text is None else self._of(path, text)

    def placed(self, source: Source, start: int, end: int) -> Range:
        """Give the stretch between two offsets of a text."""
        return self._of(source.path, source.text).range(start, end)

    def _of(self, path: Path, text: str) -> Lines:
        lines = self._lines.get(path)
        if lines is None or lines.text != text or lines.encoding != self.encoding:
            lines = self._lines[path] = Lines(text, self.encoding)
        return lines
