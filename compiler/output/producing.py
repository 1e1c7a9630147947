"""From solutions to the texts of all output files."""

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from ..syntax.collecting import without_collecting
from ..telling.brief import brief
from ..telling.bundle import Teller
from ..telling.solution import Solution
from ..text.diagnostic import Diagnostic
from .picturing import asked_for, pictures
from .rendering import Renderer
from .targets import Target, neutral_targets

Data = dict[str, Any]


class Producer:
    """Makes the files of machines as they are solved, and in the end those of their profiles.

    Without ``targets`` the neutral ones are used. ``briefs`` keeps, by profile and machine, what the files of a
    profile tell of each machine.
    """

    def __init__(self, faults: list[Diagnostic], targets: Sequence[Target] | None = None) -> None:
        chosen = neutral_targets(faults) if targets is None else targets
        self._renderer = Renderer(chosen, faults)
        self._draws = asked_for(chosen)
        self._teller = Teller()
        self.materials: dict[str, str] = {}
        self.briefs: dict[str, dict[str, Data]] = {}

    @without_collecting()
    def machine_files(self, solutions: Sequence[Solution]) -> dict[tuple[str, str], dict[str, str]]:
        """Render the files of some machines; gives by profile and machine the texts by path below the output folder."""
        texts: dict[tuple[str, str], dict[str, str]] = {}
        for name, part in groupby(solutions, lambda s: s.network.profile.name):
            solved = list(part)
            told = self._teller.bundles(solved)
            self.materials[name] = told[0]["material"]
            drawn = pictures(solved, told) if self._draws else ()
            for machine, files in self._renderer.machine_files(self._profile(name), told, drawn).items():
                texts[name, machine] = files
            kept = self.briefs.setdefault(name, {})
            for bundle in told:
                kept[bundle["machine"]] = brief(bundle, len(kept))
        return texts

    def profile_files(self, order: Mapping[str, int] | None = None) -> dict[str, str]:
        """Render the files of the profiles whose machines were made, the machines in the order given."""
        texts: dict[str, str] = {}
        for name, kept in self.briefs.items():
            machines = sorted(kept, key=lambda m: order[m]) if order else list(kept)
            texts |= self._renderer.profile_files(self._profile(name), [kept[m] for m in machines])
        return texts

    def _profile(self, name: str) -> Data:
        return {"name": name, "material": self.materials[name]}


def produce(
    solutions: Sequence[Solution], faults: list[Diagnostic], targets: Sequence[Target] | None = None
) -> dict[str, str]:
    """Render every profile through every target; gives texts by path below the output folder."""
    producer = Producer(faults, targets)
    texts = {path: text for files in producer.machine_files(solutions).values() for path, text in files.items()}
    return texts | producer.profile_files()
