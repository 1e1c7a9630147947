"""What it costs not to know, told: the dearest first, and what to measure first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

from ..telling.solution import EVERYWHERE
from ..telling.worth import ROBUST
from ..text.cells import wrapped
from .costs import Costs
from .guide import Entry

Data = dict[str, Any]

_WIDTH = 100


def told(costs: Costs, entries: Mapping[str, Entry]) -> str:
    """Tell what each unknown costs; ``entries`` say how each is measured, and put in order what costs the same."""
    if costs.worth is None:
        return "".join(f"{line}\n" for line in costs.why)
    worth = costs.worth
    lines = [f"what it costs not to know   ({costs.job})", ""]
    if not worth["merits"]:
        return "\n".join([*lines, "  the profile prefers nothing, so there is nothing to gain", ""])
    first = worth["merits"][0]
    lines.append(f"  as it is: {first['name']} {first['text']}")
    table = _Table(worth["holds"] == EVERYWHERE, list(entries))
    if not table.holds:
        lines.append("  that is at the stated values; for all values in the ranges nothing holds")
    ranked = sorted(worth["inputs"], key=table.rank)
    sure = [i for i in ranked if table.stated(i) > 0]
    maybe = [i for i in ranked if table.stated(i) <= 0 < table.best(i)]
    idle = [i["name"] for i in ranked if table.best(i) <= 0]
    heads = table.heads(first["name"])
    for head, inputs in zip(heads, (sure, maybe), strict=False):
        if inputs:
            lines += ["", f"  {head}", *table.rows(inputs)]
    if idle:
        lines += ["", *_wrapped(f"{heads[2]}: {', '.join(idle)}")]
    if costs.exact:
        names = ", ".join(costs.exact)
        lines += ["", *_wrapped(f"these are taken as exact, so what they cost cannot be told; check them: {names}")]
    dearest = (entries[i["name"]] for i in [*sure, *maybe] if i["name"] in entries)
    entry = next((e for e in dearest if e.measurable), None)
    if entry is not None:
        care = f" Care: {entry.care}" if entry.care else ""
        lines += ["", *_wrapped(f"measure first: {entry.name}. Tool: {entry.tool}. {entry.how}{care}")]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True)
class _Table:
    """What knowing inputs exactly gains: more of the first preference, or, where nothing holds, that all values do."""

    holds: bool
    order: Sequence[str]

    def heads(self, merit: str) -> tuple[str, str, str]:
        """Say what is gained for sure, what only if a value turns out well, and what nothing gains."""
        if self.holds:
            return (
                f"gain in {merit} if one alone were known exactly, and were as it is taken to be",
                f"gain in {merit} only if it were known exactly and turned out better than it is taken to be",
                "to know one of these exactly gains nothing",
            )
        return (
            "settings hold for all values if one alone were known exactly, and were as it is taken to be",
            "settings hold for all values only if it were known exactly and turned out better than it is taken to be",
            "to know one of these alone exactly is not enough",
        )

    def share(self, outcome: Data) -> float:
        """Give the gain as a share of what there is."""
        if not outcome["merits"]:
            return -inf
        if not self.holds:
            return 1.0 if outcome["outcome"] == ROBUST else 0.0
        m = outcome["merits"][0]
        here, there = float(m["here"] or 0.0), float(m["there"] or 0.0)
        size = abs(there - here) / (abs(here) or 1.0)
        return {"better": size, "worse": -size}.get(m["effect"], 0.0)

    def stated(self, i: Data) -> float:
        """Give the gain where the input is as it is taken to be."""
        return next(self.share(e) for e in i["exact"] if e["at"] == "stated")

    def best(self, i: Data) -> float:
        """Give the largest gain, wherever in its range the input turns out to lie."""
        return max(self.share(e) for e in i["exact"])

    def rank(self, i: Data) -> tuple[float, float, int]:
        """Order by what is gained for sure, then by what may be, then as the guide does."""
        place = self.order.index(i["name"]) if i["name"] in self.order else len(self.order)
        return -self.stated(i), -self.best(i), place

    def rows(self, inputs: Sequence[Data]) -> list[str]:
        """Write a row an input: what is gained where it is as stated, and where it turns out lower or higher."""
        names = max(len(i["name"]) for i in inputs)
        ranges = max(len(i["text"]) for i in inputs)
        rows = []
        for i in inputs:
            said = {e["at"]: self.change(e) for e in i["exact"]}
            ends = [f"{said[e['at']]} at {e['text']}" for e in i["exact"] if e["at"] != "stated"]
            rows.append(f"    {i['name']:<{names}}  {i['text']:<{ranges}}  {said['stated']}  ({', '.join(ends)})")
        return rows

    def change(self, outcome: Data) -> str:
        """Say in a word or two what an outcome gains."""
        if not outcome["merits"]:
            return str(outcome["outcome"])
        m = outcome["merits"][0]
        if not self.holds:
            return str(m["there_text"]) if outcome["outcome"] == ROBUST else "not enough"
        said = str(m["change"] or "+0 %")
        return said if outcome["outcome"] == ROBUST else f"{said} at the stated values only"


def _wrapped(text: str) -> list[str]:
    return wrapped(text, _WIDTH, "  ", "    ")
