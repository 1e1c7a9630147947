"""From profiles on machines to constraint networks; those to which the same laws apply in the same way share one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ..meaning.model import GivenValue, Model, ProfileDecl
from ..syntax.collecting import without_collecting
from ..text.diagnostic import Diagnostic
from .applying import Decisions, values_of
from .assembling import Assembly, setting_variable
from .graph import InputVariable, Network, SettingVariable

_Key = tuple[object, ...]


def lower(model: Model, profile: ProfileDecl, machine: str, faults: list[Diagnostic]) -> Network | None:
    """Lower ``profile`` on ``machine``; None where faults were added."""
    return _lowered(model, profile, machine, faults)[0]


@without_collecting()
def lower_all(model: Model, asked: Sequence[tuple[ProfileDecl, str]], faults: list[Diagnostic]) -> list[Network | None]:
    """Lower profiles on machines, each as ``lower`` would.

    Networks of the same structure share it: their nodes, requirements, merits, notices, validities, derived names and
    grades are the same objects. Only the values and lattices differ.
    """
    structures = _Structures(model, Decisions(model))
    return [structures.lower(profile, machine, faults) for profile, machine in asked]


def _lowered(model: Model, profile: ProfileDecl, machine: str, faults: list[Diagnostic]) -> tuple[Network | None, bool]:
    """Lower one; tells too whether nothing was amiss, even of what was reported before."""
    before = len(faults)
    assembly = Assembly(model, profile, machine, faults)
    network = assembly.network()
    assembly.gather_missing()
    return (None if any(f.is_error for f in faults[before:]) else network), not assembly.flawed


@dataclass(slots=True)
class _Structures:
    """Networks by what their structure hangs on, each the first of its kind.

    That is: the names given, which of the settings are pinned, how every test of a law's when and every word asked by
    a notice turns out, the wants and the preferences. The dimension of a value is that of its name. Numbers,
    tolerances, units and places are not part of the structure, nor are the profile's and the machine's names, which
    only reports hold: a network with anything to report is not shared.
    """

    model: Model
    decisions: Decisions
    firsts: dict[_Key, "_First"] = field(default_factory=dict)
    _profiles: dict[int, tuple[ProfileDecl, int]] = field(default_factory=dict)
    _aims: dict[_Key, int] = field(default_factory=dict)

    def lower(self, profile: ProfileDecl, machine: str, faults: list[Diagnostic]) -> Network | None:
        """Lower one, from the first of its structure where there is one."""
        values = values_of(self.model, profile, machine)
        key = (self._aim(profile), frozenset(values), self.decisions.of(values))
        first = self.firsts.get(key)
        if first is not None:
            return first.like(profile, machine, values)
        network, sound = _lowered(self.model, profile, machine, faults)
        if network is not None and sound:
            self.firsts[key] = _First(network)
        return network

    def _aim(self, profile: ProfileDecl) -> int:
        """Number what the structure takes from the profile beside its values."""
        known = self._profiles.get(id(profile))
        if known is None:
            key = (profile.wants, tuple(n.text for n in profile.prefer), frozenset(profile.pins))
            # The profile is kept too, so that no other comes by its identity.
            known = self._profiles[id(profile)] = (profile, self._aims.setdefault(key, len(self._aims)))
        return known[1]


@dataclass(slots=True)
class _First:
    """The first network of a structure, and what others of the structure may share beside it."""

    network: Network
    _inputs: dict[int, InputVariable] = field(default_factory=dict)
    _settings: dict[int, tuple[SettingVariable, ...]] = field(default_factory=dict)

    def like(self, profile: ProfileDecl, machine: str, values: Mapping[str, GivenValue]) -> Network:
        """Make the network of the same structure with other values, and settings pinned elsewhere."""
        first, known = self.network, self._inputs
        given = [(values[v.given.name], v.node) for v in first.inputs]
        return replace(
            first,
            profile=profile,
            material=profile.material,
            machine=machine,
            settings=self._settings.get(id(profile)) or self._lattices(profile),
            inputs=tuple([known.get(id(g)) or self._input(g, node) for g, node in given]),
            consulted={name: values[name] for name in first.consulted},
        )

    def _lattices(self, profile: ProfileDecl) -> tuple[SettingVariable, ...]:
        found = tuple(setting_variable(s.decl, s.node, profile) for s in self.network.settings)
        if found == self.network.settings:
            found = self.network.settings
        self._settings[id(profile)] = found
        return found

    def _input(self, given: GivenValue, node: int) -> InputVariable:
        """Make the variable of a value; one that several machines inherit is made once."""
        amount = given.amount
        assert amount is not None
        # The variable keeps the value, so that no other comes by its identity.
        self._inputs[id(given)] = found = InputVariable(given, node, amount.stated, amount.low, amount.high)
        return found
