"""Starting a profile: what it names, what it must give, and as comments all that may be wanted."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from ..meaning.asking import asked_values
from ..meaning.checking import check_library
from ..meaning.loading import LIBRARY
from ..meaning.model import EntityDecl, GradeDecl, Model, PinDecl, ProfileDecl
from ..meaning.near import brief, near
from ..syntax.formatting import format_text
from ..text.diagnostic import Diagnostic, diagnose
from ..text.joining import listed
from ..text.source import NOWHERE, Source
from .beginning import TRADE
from .guide import guide
from .placing import Beside, check_file, check_name, check_unknown, files_beside, use_line
from .sheet import comment
from .talking import Said, Talk, numbered, picked


@dataclass(frozen=True, slots=True)
class Request:
    """A profile of a name in a file, and what it names as far as that is said; ``sets`` are settings with values."""

    name: str
    path: Path
    material: str = ""
    machines: tuple[str, ...] = ()
    sets: Sequence[str] = ()


@dataclass(slots=True)
class Start:
    """What a profile is made in: the library with the files beside it that are used, faults, sources."""

    request: Request
    model: Model | None
    beside: Sequence[Beside]
    pins: dict[str, PinDecl] = field(default_factory=dict)
    faults: list[Diagnostic] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)

    @property
    def failed(self) -> bool:
        """Whether there is any error."""
        return self.model is None or any(f.is_error for f in self.faults)

    @property
    def left_out(self) -> list[Path]:
        """Files beside the profile that have faults, so that nothing of them was taken unasked."""
        named = {("material", self.request.material), *(("machine", name) for name in self.request.machines)}
        return [b.path for b in self.beside if b.defines and not b.sound and not named & set(b.defines)]

    def own(self, kind: str, sound: bool = False) -> dict[str, Path]:
        """Give the names that files beside the profile define, or those of them that are ``sound``, and where."""
        found: dict[str, Path] = {}
        for file in self.beside:
            if sound and not file.sound:
                continue
            for of, name in file.defines:
                if of == kind:
                    found.setdefault(name, file.path)
        return found


def prepare(request: Request) -> Start:
    """Read the library and the files beside the profile that it uses; report what is not there."""
    faults: list[Diagnostic] = []
    check_name("profile", request.name, faults)
    check_file(request.path, faults)
    start = Start(request, None, files_beside(request.path.parent), faults=faults)
    start.request = request = _with_own(start)
    used = {start.own("material").get(request.material), *(start.own("machine").get(m) for m in request.machines)}
    start.model, found, start.sources = check_library(sorted(p for p in used if p is not None))
    faults += found
    if start.model is not None:
        check_unknown(start.model, "profile", request.name, faults)
        _check_names(start, start.model)
        _take_sets(start, start.model)
    return start


def _take_sets(start: Start, model: Model) -> None:
    """Read the settings that were given with the command; a machine or material says its own values itself."""
    asked, source = asked_values(start.request.sets, model, start.faults)
    start.sources[source.name] = source
    for one in asked:
        choice = one.choices[0]
        if one.varied:
            advice = "give it one value"
            start.faults.append(diagnose("M806", one.span, wanted="one value", advice=advice))
        elif isinstance(choice, PinDecl):
            start.pins[one.name] = choice
        else:
            owner = model.quantities[one.name].owner
            start.faults.append(diagnose("M220", one.span, name=one.name, owner=owner, kind="profile"))


def _with_own(start: Start) -> Request:
    """Take what lies beside the profile where nothing is said: a material if there is just one, and all machines."""
    request, materials, machines = start.request, start.own("material", True), start.own("machine", True)
    if not request.material and len(materials) == 1:
        request = replace(request, material=next(iter(materials)))
    return request if request.machines else replace(request, machines=tuple(machines))


def _check_names(start: Start, model: Model) -> None:
    request = start.request
    asked = [("material", request.material, model.materials)] if request.material else []
    asked += [("machine", name, model.machines) for name in request.machines]
    for kind, name, known in asked:
        if name not in known:
            names = [*known, *start.own(kind)]
            advice = near(name, names, f"the library has {listed(guide(kind).kinds, 'and')}")
            start.faults.append(diagnose("M212", NOWHERE, kind=kind, name=brief(name) or '""', near=advice))
    for name in sorted({n for n in request.machines if request.machines.count(n) > 1}):
        start.faults.append(diagnose("M244", NOWHERE, name=name))


# ---- asking


def converse(start: Start, request: Request, talk: Talk) -> Request:
    """Ask for the material and the machines that are not said; ``stop`` asks no more.

    What is not answered is what lies beside the profile, if anything, else left to be filled in.
    """
    assert start.model is not None
    talk.say(f"The profile {request.name}. Answer by number or name; stop writes the file.")
    for kind, said in (("material", bool(request.material)), ("machine", bool(request.machines))):
        if said:
            continue
        names = _choose(start, start.model, kind, talk)
        if names is None:
            break
        if kind == "material":
            request = replace(request, material=names[0] if names else "")
        else:
            request = replace(request, machines=names)
    return request


def _choose(start: Start, model: Model, kind: str, talk: Talk) -> tuple[str, ...] | None:
    """Let somebody choose among what lies beside the profile and what the library has; None for ``stop``."""
    library = model.materials if kind == "material" else model.machines
    meanings = {**guide(kind).kinds, **{n: f"your own, in {p.name}" for n, p in start.own(kind).items()}}
    names = [*start.own(kind), *(n for n in guide(kind).kinds if n in library and n not in start.own(kind))]
    talk.say()
    several = "" if kind == "material" else "; several are joined by commas"
    talk.say(f"Which {kind}{several}?")
    talk.write("".join(f"{line}\n" for line in numbered(names, meanings)))
    likely = [start.request.material] if kind == "material" else list(start.request.machines)
    default = ", ".join(n for n in likely if n) or "to be filled in"
    while True:
        answer = talk.ask(f"{kind} [Enter: {default}]")
        if answer is Said.STOP:
            return None
        if answer is Said.MORE or answer is Said.BACK:
            talk.note(f"a {kind} of your own is started with: meltwright new {kind} NAME")
            continue
        if isinstance(answer, Said):
            return ()
        parts = [part.strip() for part in answer.split(",")] if kind == "machine" else [answer]
        chosen = tuple(dict.fromkeys(picked(part, names) for part in parts))
        wrong = [c for c in chosen if c not in names and c not in library]
        if not wrong:
            return chosen
        advice = near(wrong[0], names, f"type a number from 1 to {len(names)}, or a name of the list")
        talk.report([diagnose("M212", NOWHERE, kind=kind, name=brief(wrong[0]) or '""', near=advice)], {})


# ---- the text


def text_of(start: Start) -> str:
    """Write the file of the profile."""
    model, request = start.model, start.request
    assert model is not None
    lines = [
        *_head(request),
        "",
        *_uses(model, request),
        "",
        f"profile {request.name} {{",
        *_body(start, model),
        "}",
        "",
    ]
    file = f"{request.name}.melt"
    text, found = format_text(Source(file, Path(file), "\n".join(lines)))
    start.faults += found
    return text


def _head(request: Request) -> Iterator[str]:
    machines = listed(request.machines, "and")
    where = f" of {request.material or 'a material'} on {machines or 'machines'}"
    yield from comment(f"The profile {request.name}: what is wanted{where}.")
    yield "#"
    yield from comment(
        "Take away the # before a line of the profile to make it count. The settings that follow are derived, not "
        "tested: try them with care. Nozzles and beds burn, and hot plastics give off fumes. What the makers of "
        "machine and filament say comes first."
    )


def _uses(model: Model, request: Request) -> Iterator[str]:
    named: list[EntityDecl] = [model.materials[request.material]] if request.material else []
    named += [model.machines[m] for m in request.machines]
    yield from sorted({use_line(e) for e in named}) or [TRADE]


def _body(start: Start, model: Model) -> Iterator[str]:
    request = start.request
    job = _job(model)
    yield f"material {request.material}" if request.material else "# material NAME: one; it is needed."
    yield f"machines {', '.join(request.machines)}" if request.machines else "# machines NAME, NAME: one or more."
    yield ""
    yield from _given(start, model, job)
    yield ""
    yield from comment(
        "What is wanted must hold, like a limit of physics, unless its line ends in: if possible. "
        "Settings, merits and derived quantities can be bounded as well, with at least or at most."
    )
    for grade in model.grades.values():
        yield ""
        yield from _want(grade, job)
    yield ""
    yield from comment(
        "What is preferred: the first is pushed as far as it goes, the next as far as it goes without giving back more "
        "than 2 %, or what giving 5 % says."
    )
    for merit in model.merits.values():
        yield from comment(f"{merit.name}: {merit.doc}", "  ", "    ")
    preferred = [n.text for n in job.prefer] if job else []
    yield f"prefer {', '.join(preferred)}" if preferred else f"# prefer {', '.join(model.merits)}"
    yield ""
    free = next((s for s in model.settings.values() if not s.given), None)
    if free is not None:
        value = f"{free.text(free.last // 4)} {free.unit.symbol}".rstrip()
        yield from comment(
            "A pin fixes a setting, and must say why. One that breaks a limit is a conflict, not an override, like: "
            f'pin {free.name} = {value} because "why"'
        )


def _job(model: Model) -> ProfileDecl | None:
    """Find the library's first job: what it gives, wants and prefers is a place to start."""
    own = [p for p in model.profiles.values() if p.span.file.startswith(LIBRARY)]
    return min(own, key=lambda p: (p.span.file, p.span.start), default=None)


def _given(start: Start, model: Model, job: ProfileDecl | None) -> Iterator[str]:
    """Write what a profile has to give: the author's value, that of the library's job, or a place to fill in."""
    for setting in model.settings.values():
        pin = start.pins.get(setting.name) or (job.pins.get(setting.name) if setting.given and job else None)
        if not setting.given and pin is None:
            continue
        shown = f"{setting.text(0)} .. {setting.text(setting.last)} {setting.unit.symbol}".rstrip()
        yield from comment(f"{setting.doc} {shown}, in steps.")
        if pin is None:
            yield from comment(f"{setting.name} VALUE: it is needed.")
        elif setting.given:
            yield f"{setting.name} {pin.amount.text}"
        else:
            yield f'pin {setting.name} = {pin.amount.text} because "set when the profile was started"'
    for quantity in model.quantities.values():
        if quantity.owner == "profile":
            yield from comment(f"{quantity.name} VALUE: {quantity.doc}")


def _want(grade: GradeDecl, job: ProfileDecl | None) -> Iterator[str]:
    """Write a grade's words with their meaning, and a want as a comment."""
    yield from comment(f"{grade.name}: {grade.doc}")
    for band in grade.bands:
        yield from comment(f"{band.name}: {band.doc}" if band.doc else band.name, "  ", "    ")
    bound = "least" if grade.more_is_better else "most"
    wanted = [w.word for w in job.wants if w.name == grade.name and w.word] if job else []
    word = wanted[0] if wanted else grade.bands[min(1, len(grade.bands) - 1)].name
    yield f"# {grade.name} at {bound} {word}"
