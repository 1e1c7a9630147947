"""Where a new text goes: its name, its file, which is never one that is there, and what lies beside it."""

import os
import re
from dataclasses import dataclass, replace
from pathlib import Path

from ..meaning.loading import LIBRARY, text_of
from ..meaning.model import EntityDecl, Model
from ..meaning.near import LONGEST_NAME, brief
from ..syntax import tree
from ..syntax.reading import read
from ..text.diagnostic import Diagnostic, diagnose
from ..text.source import NOWHERE, Source


def check_name(kind: str, name: str, faults: list[Diagnostic]) -> None:
    """Report a name that the language does not take for a material, machine or profile."""
    file, found = read(Source("name", Path("name"), f"{kind} {name} {{\n}}\n"))
    heads = [(s.kind, s.name.text, s.base) for s in file.statements if isinstance(s, tree.Entity)]
    if found or heads != [(kind, name, None)] or any(c.isspace() for c in name) or name.endswith(".melt"):
        like = re.sub(r"\W+", "_", name.removesuffix(".melt"), flags=re.ASCII).strip("_")[:LONGEST_NAME] or "one"
        like = f"my_{like}" if like[0].isdigit() else like
        faults.append(diagnose("M801", NOWHERE, name=brief(name) or '""', like=like if like != name else f"my_{kind}"))
    elif len(name) > LONGEST_NAME:
        faults.append(diagnose("M243", NOWHERE, name=brief(name), length=len(name), limit=LONGEST_NAME))


def check_file(path: Path, faults: list[Diagnostic]) -> None:
    """Report a file that is there, or whose name is none of the language."""
    if path.suffix != ".melt" or not path.stem:
        faults.append(diagnose("M804", NOWHERE, path=path))
    elif os.path.lexists(path):
        faults.append(diagnose("M803", NOWHERE, path=path))


def check_unknown(model: Model, kind: str, name: str, faults: list[Diagnostic]) -> None:
    """Report a name that a material, machine or profile of the model has."""
    places = {
        "material": {n: e.span for n, e in model.materials.items()},
        "machine": {n: e.span for n, e in model.machines.items()},
        "profile": {n: p.span for n, p in model.profiles.items()},
    }
    if name in places[kind]:
        faults.append(diagnose("M802", NOWHERE, kind=kind, name=name, file=places[kind][name].file))


def write_new(path: Path, text: str, faults: list[Diagnostic]) -> bool:
    """Write a file that is not there yet, whole or not at all; tell whether that went well."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        handle = os.open(path, flags, 0o666)
    except FileExistsError:
        faults.append(diagnose("M803", NOWHERE, path=path))
        return False
    except (OSError, ValueError) as error:
        faults.append(_failed(path, error))
        return False
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
    except OSError as error:
        path.unlink(missing_ok=True)
        faults.append(_failed(path, error))
        return False
    return True


def _failed(path: Path, error: OSError | ValueError) -> Diagnostic:
    reason = (getattr(error, "strerror", "") or "it failed").lower()
    return replace(diagnose("M603", NOWHERE, path=path, reason=reason), help="choose another file with --out")


def use_line(entity: EntityDecl) -> str:
    """Write the line that brings in the file of a material or machine: one of the library, or one beside."""
    file = entity.span.file
    if file.startswith(LIBRARY):
        return f'use library "{file.removeprefix(LIBRARY).removesuffix(".melt")}"'
    return f'use "{file}"'


@dataclass(frozen=True, slots=True)
class Beside:
    """A file beside a new one, and the materials, machines and profiles that it defines, as (kind, name).

    One that is not ``sound`` as a text is used only where it is asked for by name.
    """

    path: Path
    defines: tuple[tuple[str, str], ...]
    sound: bool


def files_beside(folder: Path) -> list[Beside]:
    """Look at the .melt files of a folder, in the order of their names; those that cannot be read define nothing."""
    found = []
    for path in sorted(folder.glob("*.melt"), key=lambda p: p.name):
        file, faults = read(Source(path.name, path, text_of(path)))
        entities = [s for s in file.statements if isinstance(s, tree.Entity)]
        found.append(Beside(path, tuple((e.kind, e.name.text) for e in entities), not faults))
    return found
