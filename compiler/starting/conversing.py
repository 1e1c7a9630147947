"""A whole conversation: what a new material or machine starts from, then what is known of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from ..meaning.model import EntityDecl, GivenValue
from ..meaning.near import near
from .beginning import NOTHING, Start, based_on, drafted, missing, prepare
from .flags import Answers
from .guide import Entry
from .questions import Question, ask
from .sheet import Draft
from .talking import COMMANDS, Said, Talk, numbered, picked


@dataclass(slots=True)
class _State:
    """What was answered: values, what is not known, and the order of the questions."""

    values: dict[str, GivenValue]
    unknown: set[str]
    asked: list[list[str]] = field(default_factory=list)

    def forget(self) -> bool:
        """Take the last answer back; tells whether there was one."""
        if not self.asked:
            return False
        for name in self.asked.pop():
            self.values.pop(name, None)
            self.unknown.discard(name)
        return True


def converse(start: Start, base: EntityDecl | None, known: Answers, talk: Talk) -> tuple[Start, Draft] | None:
    """Ask what it starts from, unless that is said, then for all that can be known.

    Gives what came of it, or None where it was stopped before anything was known.
    """
    kind = start.request.kind
    talk.say(f"The {kind} {start.request.name}. {COMMANDS}")
    talk.say()
    if start.guide.cautions:
        talk.say("Before you measure:")
        for caution in start.guide.cautions:
            talk.say(caution, "  - ", "    ")
    state = _State(dict(known.values), set(known.unknown))
    fixed = start.request.base is not None
    if not fixed:
        chosen = _kind(start, talk)
        if chosen is None:
            return None
        start, base = chosen
    while True:
        answered = _quantities(start, base, state, talk)
        if answered is not Said.BACK:
            break
        if fixed:
            talk.note("this is the first question")
            continue
        chosen = _kind(start, talk)
        if chosen is None:
            return None
        start, base = chosen
    return start, _draft(start, base, state)


def _draft(start: Start, base: EntityDecl | None, state: _State) -> Draft:
    return drafted(start, base, Answers(state.values, tuple(state.unknown), ()))


# ---- what it starts from


def _kind(start: Start, talk: Talk) -> tuple[Start, EntityDecl | None] | None:
    """Ask what kind it is; gives the surroundings with it, or None where that was stopped."""
    kind = start.request.kind
    meanings = dict(start.guide.kinds)
    meanings |= {name: f"your own, in {path.name}" for name, path in start.beside}
    meanings |= {NOTHING: "none of these: every value has to be given"}
    names = [*start.entities(), *(n for n, _ in start.beside if n not in start.entities()), NOTHING]
    talk.say()
    talk.say(f"What kind of {kind} is it most like? What you do not know is then taken from that kind.")
    talk.write("".join(f"{line}\n" for line in numbered(names, meanings)))
    while True:
        answer = talk.ask(f"kind of {kind}, by number or name")
        if answer is Said.STOP:
            return None
        if answer is Said.BACK:
            talk.note("this is the first question")
        elif isinstance(answer, Said):
            talk.note(
                f"Take the nearest: its values have ranges, and say how they are known. {NOTHING} is for a {kind} "
                "that is like none of them."
            )
        else:
            name = picked(answer, names)
            found = _found(start, name, names, talk)
            if found is not None:
                return found


def _found(start: Start, name: str, names: Sequence[str], talk: Talk) -> tuple[Start, EntityDecl | None] | None:
    """Find what was named, in its own file if it has one; where there is none, say so."""
    if name in {n for n, _ in start.beside}:
        again = prepare(replace(start.request, base=name))
        start = replace(again, request=start.request)
    base = based_on(start, name) if not start.failed else None
    if start.failed:
        advice = near(name, names, f"type a number from 1 to {len(names)}, or a name of the list")
        talk.report([replace(f, help=advice) if f.code == "M212" else f for f in start.faults], start.sources)
        start.faults[:] = [f for f in start.faults if not f.is_error]
        return None
    return start, base


# ---- what is known of it


def _quantities(start: Start, base: EntityDecl | None, state: _State, talk: Talk) -> Said | None:
    """Ask for one quantity after the other; gives ``BACK`` where somebody wants back before the first."""
    shown = ""
    while True:
        questions = _questions(start, base, state)
        left = [q for q in questions if q.quantity.name not in state.values.keys() | state.unknown]
        if not left:
            return None
        question = left[0]
        if question.entry.group != shown:
            shown = question.entry.group
            talk.say()
            talk.say(f"---- {shown[0].lower()}{shown[1:]}")
        name = question.quantity.name
        answer = ask(question, talk, f"{len(questions) - len(left) + 1} of {len(questions)}")
        if answer is Said.STOP:
            return Said.STOP
        if answer is Said.BACK:
            if not state.forget():
                return Said.BACK
            shown = ""
            continue
        if answer is Said.SKIP:
            part = [q.quantity.name for q in left if q.entry.group == shown]
            state.asked.append(part)
            state.unknown |= set(part)
            continue
        state.asked.append([name])
        if isinstance(answer, GivenValue):
            state.values[name] = answer
        else:
            state.unknown.add(name)


def _questions(start: Start, base: EntityDecl | None, state: _State) -> list[Question]:
    """List all questions that there are as far as is known: some are needed only for some answers."""
    draft = _draft(start, base, state)
    model, inherited = draft.model, draft.inherited
    needed = missing(draft)
    return [
        Question(model, model.quantities[e.name], e, inherited.get(e.name), e.name in needed)
        for e in _entries(start, needed)
        if e.name in inherited or e.name in needed or e.name in state.values or e.name in model.lets
    ]


def _entries(start: Start, needed: list[str]) -> Iterator[Entry]:
    yield from (e for e in start.guide.entries.values() if e.measurable or e.name in needed)
    yield from (Entry(n, "besides", "", "", "", "", "", "", "") for n in needed if n not in start.guide.entries)
