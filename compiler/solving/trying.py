"""Whether all holds with some lines changed, asked for many changes at once.

Networks that differ only in numbers share their structure, so that they are looked at together: an input takes its new
amount in the network at hand as long as the same laws apply, and the bound of a want is made an input for the purpose.
What is handed out in the end is asked again, lowered from the changed declarations like any text.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from ..meaning.model import Amount, Evidence, GivenValue, Model, ProfileDecl, WantDecl
from ..meaning.units import UNITLESS, parse_unit, to_base_text
from ..meaning.wanting import comparison
from ..network.applying import Decisions, values_of
from ..network.graph import InputVariable, Network, Node
from ..network.lowering import lower
from ..syntax import tree
from .answering import hold_all
from .definedness import undefined
from .levers import Draft
from .problem import Problem


@dataclass(frozen=True, slots=True)
class Case:
    """A profile refused on some machines for the same reason; ``held`` are others, which a change may harm."""

    model: Model
    profile: ProfileDecl
    refused: tuple[str, ...]
    held: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Pliant:
    """A network in which the bounds of wants are inputs; ``bounds`` gives the requirement and the input of each."""

    network: Network
    bounds: Mapping[tuple[str, str], tuple[int, int]]
    places: Mapping[str, int]


@dataclass(slots=True)
class Trial:
    """Asks whether drafts of a case hold on machines; what is not decided within the effort is taken as no."""

    case: Case
    effort: int
    _known: dict[tuple[str, tuple[bool, ...]], _Pliant | None] = field(default_factory=dict)
    _decisions: Decisions = field(init=False)

    def __post_init__(self) -> None:
        self._decisions = Decisions(self.case.model)

    @property
    def start(self) -> Draft:
        """The draft with nothing changed."""
        return Draft(self.case.profile)

    def hold(self, asked: Sequence[tuple[Draft, Sequence[str]]]) -> list[bool]:
        """Tell of drafts whether they hold on all of their machines."""
        return self._all(asked, self._quick)

    def prove(self, asked: Sequence[tuple[Draft, Sequence[str]]]) -> list[bool]:
        """Tell the same of drafts as they would be compiled: lowered anew, and defined for all input values."""
        return self._all(asked, self._anew)

    def _all(
        self,
        asked: Sequence[tuple[Draft, Sequence[str]]],
        networks_of: Callable[[Draft, str], tuple[Network, Sequence[int]] | None],
    ) -> list[bool]:
        found = [networks_of(draft, machine) for draft, machines in asked for machine in machines]
        sound = [f for f in found if f is not None]
        answers = iter(hold_all([n for n, _ in sound], self.effort, [active for _, active in sound]))
        holds = iter([f is not None and next(answers) is True for f in found])
        own = [[next(holds) for _ in machines] for _, machines in asked]
        return [all(one) for one in own]

    def _anew(self, draft: Draft, machine: str) -> tuple[Network, Sequence[int]] | None:
        network = lower(self.case.model, draft.profile, machine, [])
        if network is None or undefined(Problem(network), lambda _: ""):
            return None
        return _placed(network, draft), network.hard

    def _quick(self, draft: Draft, machine: str) -> tuple[Network, Sequence[int]] | None:
        model, profile = self.case.model, draft.profile
        values = values_of(model, profile, machine)
        # What a network is made of hangs on nothing else.
        key = machine, self._decisions.of(values)
        if key not in self._known:
            network = lower(model, replace(self.case.profile, values=profile.values), machine, [])
            self._known[key] = _pliant(model, network) if network else None
        pliant = self._known[key]
        return _filled(model, pliant, draft, values) if pliant else None


def _pliant(model: Model, network: Network) -> _Pliant:
    nodes, inputs, requirements = list(network.nodes), list(network.inputs), list(network.requirements)
    bounds = {}
    for want in network.profile.wants:
        for r, requirement in enumerate(requirements):
            bound = _bound(model, want)
            if requirement.origin != "want" or requirement.name != want.text or bound is None:
                continue
            value, at_most = bound
            at = len(nodes)
            nodes.append(Node("input", (), 0.0, want.text, requirement.dimension, want.span, ""))
            left, right = (requirement.left, at) if at_most else (at, requirement.right)
            nodes.append(Node("sub", (right, left), 0.0, "", nodes[requirement.slack].dimension, want.span, ""))
            requirements[r] = replace(requirement, left=left, right=right, slack=at + 1)
            bounds[want.name, want.bound] = r, len(inputs)
            inputs.append(InputVariable(_stand_in(want), at, value, value, value))
    pliant = replace(network, nodes=tuple(nodes), inputs=tuple(inputs), requirements=tuple(requirements))
    return _Pliant(pliant, bounds, {v.given.name: i for i, v in enumerate(network.inputs)})


def _stand_in(want: WantDecl) -> GivenValue:
    amount = want.amount or Amount(0.0, 0.0, 0.0, UNITLESS, "")
    return GivenValue(want.text, amount, "", Evidence("assumed", ""), "", want.span)


def _bound(model: Model, want: WantDecl) -> tuple[float, bool] | None:
    """Give the bound of a want in base units, and whether it is one from above."""
    wanted = comparison(model, want)
    if wanted is None or not isinstance(wanted.right, tree.Literal):
        return None
    number = wanted.right.number
    value = to_base_text(number.digits, parse_unit(number.unit)) if number.unit else float(number.digits)
    return value, wanted.relation == "<="


def _filled(
    model: Model, pliant: _Pliant, draft: Draft, values: Mapping[str, GivenValue]
) -> tuple[Network, Sequence[int]]:
    """Put the numbers of a draft into a network of its structure; give it with the requirements that count."""
    network = pliant.network
    inputs = list(network.inputs)
    for name, at in pliant.places.items():
        amount = values[name].amount
        assert amount is not None
        inputs[at] = replace(inputs[at], stated=amount.stated, low=amount.low, high=amount.high)
    kept = {(w.name, w.bound): w for w in draft.profile.wants}
    left_out = {r for key, (r, _) in pliant.bounds.items() if key not in kept}
    for key, (_, at) in pliant.bounds.items():
        bound = _bound(model, kept[key]) if key in kept else None
        if bound is not None:
            inputs[at] = replace(inputs[at], stated=bound[0], low=bound[0], high=bound[0])
    filled = _placed(replace(network, inputs=tuple(inputs)), draft)
    return filled, [r for r in network.hard if r not in left_out]


def _placed(network: Network, draft: Draft) -> Network:
    """Leave settings the places that a draft names."""
    places = {name: (first, last) for name, first, last in draft.places}
    settings = tuple(
        replace(s, first=places[s.decl.name][0], last=places[s.decl.name][1]) if s.decl.name in places else s
        for s in network.settings
    )
    return replace(network, settings=settings) if places else network
