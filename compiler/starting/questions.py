"""One quantity at a time: its value, how sure that is, and how it is known."""

import re
from dataclasses import dataclass, replace
from pathlib import Path

from ..meaning.entities import shown_ranges
from ..meaning.model import Evidence, GivenValue, Model, QuantityDecl
from ..text.diagnostic import Diagnostic
from ..text.source import Source
from .flags import plain
from .guide import Entry
from .reading import Taken, Typed, read_value, unit_of
from .talking import Said, Talk, numbered, picked

ANSWER = "answer"
"""The name under which an answer stands in a diagnostic."""
_SIGN = re.compile(r"^\s*(±|\+-)\s*")
_EVIDENCE = re.compile(r'(measured|published|typical|assumed)\s+"([^"]*)"')
_EXACT = ("exact", "exactly", "none", "0")


@dataclass(frozen=True, slots=True)
class Question:
    """A quantity to be asked for: how it is measured, what is taken where it is not known, and whether it must be."""

    model: Model
    quantity: QuantityDecl
    entry: Entry
    typical: GivenValue | None
    needed: bool

    @property
    def unit(self) -> str:
        """The unit of the typical value, where it has one."""
        return unit_of(self.typical)

    @property
    def tolerance(self) -> str | None:
        """The tolerance that the guide's example has; empty where it has a range, None where it is exact."""
        _, sign, tolerance = self.entry.value.partition("±")
        if sign:
            return tolerance.strip()
        return "" if ".." in self.entry.value else None


def ask(question: Question, talk: Talk, count: str) -> GivenValue | Said:
    """Ask for a value until there is one, or until something else is said."""
    quantity, entry = question.quantity, question.entry
    talk.say()
    talk.say(f"{count}  {quantity.name}: {quantity.doc or entry.about}")
    talk.explain("Tool", entry.tool)
    talk.explain("Care", entry.care)
    talk.explain("If not known", _otherwise(question))
    if quantity.words:
        talk.write("".join(f"{line}\n" for line in numbered(quantity.words, {})))
    while True:
        answer = talk.ask(quantity.name)
        if answer is Said.MORE:
            _more(question, talk)
        elif answer in (Said.NOTHING, Said.UNKNOWN):
            return Said.UNKNOWN
        elif isinstance(answer, Said):
            return answer
        else:
            given = _whole(question, talk, picked(answer, quantity.words))
            if given is not None:
                return given


def _otherwise(question: Question) -> str:
    """Say what is taken where the value is not known."""
    typical = question.typical
    if typical is not None:
        return f"{typical.text} as {typical.entity} has it, {typical.evidence.kind}: {typical.evidence.text}"
    if question.needed:
        return "nothing can be derived until it is given"
    return "it follows from a law"


def _more(question: Question, talk: Talk) -> None:
    """Tell all that there is to know of a question."""
    quantity, entry = question.quantity, question.entry
    talk.explain("Drawing", entry.drawing)
    talk.explain("How", entry.how)
    if not quantity.words:
        ranges = shown_ranges(quantity)
        talk.explain("Believable", ranges)
    if entry.value:
        evidence = f' {entry.kind} "how"' if entry.kind else ""
        talk.explain("Write it like", f"{entry.value}{evidence}")
    talk.explain("Or", "Enter or don't know, back, skip, stop")


def _whole(question: Question, talk: Talk, answer: str) -> GivenValue | None:
    """Read a value, and ask for what it does not say; None where it has to be asked for again."""
    taken = _told(question, talk, answer)
    if taken is None:
        return None
    if taken.note:
        talk.note(taken.note)
    given: GivenValue | None = taken.given
    if taken.given.amount is not None and taken.given.amount.exact and not taken.given.evidence.stated:
        given = _sure(question, talk, taken.given)
    return _known(question, talk, given) if given is not None and not given.evidence.stated else given


def _told(question: Question, talk: Talk, answer: str, before: str = "") -> Taken | None:
    """Read an answer; where it is at fault, say so as of a file."""
    faults: list[Diagnostic] = []
    taken = read_value(Typed(answer, ANSWER), question.quantity, question.model, faults, before, question.unit)
    if faults:
        talk.report(faults, {**question.model.sources, ANSWER: Source(ANSWER, Path(ANSWER), answer)})
    return taken


def _sure(question: Question, talk: Talk, given: GivenValue) -> GivenValue | None:
    """Ask for the tolerance of an exact number where the guide gives one; None to ask for the value again."""
    usual = question.tolerance
    if usual is None:
        return given
    before = f"{given.text} ±"
    spread = read_value(Typed(usual, ANSWER), question.quantity, question.model, [], before) if usual else None
    likely = spread.given if spread is not None else None
    default = f"± {usual}, as such tools reach" if likely is not None else "exact"
    while True:
        answer = talk.ask(f"    how sure is that? a tolerance, or exact [Enter: {default}]")
        if answer is Said.NOTHING:
            return likely or given
        if answer is Said.BACK:
            return None
        if answer is Said.MORE:
            talk.explain(
                "Tolerance",
                "how far the true value may lie from yours, either way, in a unit or in %. Whatever is derived holds "
                "for all values within it: a wide one costs, one that is too narrow makes bad prints",
            )
        elif isinstance(answer, Said) or answer.casefold() in _EXACT:
            return given
        else:
            taken = _told(question, talk, _SIGN.sub("", answer), before)
            if taken is not None:
                return taken.given


def _known(question: Question, talk: Talk, given: GivenValue) -> GivenValue | None:
    """Ask how a value is known; None to ask for the value again."""
    kind = question.entry.kind or "assumed"
    asked = {"measured": "how did you measure it?", "published": "where is that said?"}.get(kind, "how is it known?")
    default = question.entry.tool_named
    while True:
        answer = talk.ask(f"    {asked} [Enter: {default or 'not said, so assumed'}]")
        if answer is Said.BACK:
            return None
        if answer is Said.MORE:
            more = 'a few words, like "calliper, three places". Or in full: published "source", assumed "why"'
            talk.explain("Evidence", more)
            continue
        if isinstance(answer, Said):
            # Nothing is claimed by who stops or does not know.
            return replace(given, evidence=Evidence(kind, default)) if answer is Said.NOTHING and default else given
        full = _EVIDENCE.fullmatch(answer)
        found = Evidence(full[1], plain(full[2])) if full else Evidence(kind, plain(answer))
        return replace(given, evidence=found) if found.text else given
