"""Whether a condition on inputs is true: for all their values, for none, or for some."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from ..meaning.dimensions import names_in
from ..meaning.model import GivenValue, LawDecl, Model, ProfileDecl
from ..meaning.units import UNITS, parse_unit, to_base_text
from ..syntax import tree


def values_of(model: Model, profile: ProfileDecl, machine: str) -> dict[str, GivenValue]:
    """Gather what is given for a profile on a machine, by name; the profile's own values win over all others."""
    return {
        **model.materials[profile.material].values,
        **model.machines[machine].values,
        **profile.values,
    }


def applies(test: tree.Test, values: Mapping[str, GivenValue]) -> bool | None:
    """Decide a test; None where it is true for some values of the inputs only."""
    match test:
        case tree.OnScale():
            given = values.get(test.quantity.text)
            scale = UNITS[test.scale.text].scale
            return given is not None and given.amount is not None and given.amount.unit.scale == scale
        case tree.IsWord():
            given = values.get(test.quantity.text)
            return given is not None and given.word == test.word.text
        case tree.Comparison():
            left, right = _bounds(test.left, values), _bounds(test.right, values)
            if left is None or right is None:
                return None
            return _compare(left, test.relation, right)


def _compare(left: tuple[float, float], relation: str, right: tuple[float, float]) -> bool | None:
    if relation in (">", ">="):
        left, right, relation = right, left, relation.replace(">", "<")
    strict = relation == "<"
    if left[1] < right[0] or (left[1] == right[0] and not strict):
        return True
    if left[0] > right[1] or (left[0] == right[1] and strict):
        return False
    return None


@lru_cache(maxsize=1024)
def _number(digits: str, unit: str) -> float:
    return to_base_text(digits, parse_unit(unit)) if unit else float(digits)


def _bounds(e: tree.Expression, values: Mapping[str, GivenValue]) -> tuple[float, float] | None:
    """Give the range of a number or a named input; a when is checked to have nothing else (M242)."""
    match e:
        case tree.Literal():
            value = _number(e.number.digits, e.number.unit)
            return value, value
        case tree.Negation():
            inner = _bounds(e.operand, values)
            return (-inner[1], -inner[0]) if inner else None
        case tree.Reference():
            given = values.get(e.name)
            amount = given.amount if given else None
            return (amount.low, amount.high) if amount else None
    return None


class Decisions:
    """How the tests of all laws turn out for given values; each test is asked once of the same values."""

    def __init__(self, model: Model) -> None:
        self._laws = [
            (_questions(law.when.tests if law.when else ()), _questions(_of_words(law))) for law in model.laws.values()
        ]
        self._known: dict[tuple[int, ...], tuple[list[GivenValue | None], bool]] = {}

    def of(self, values: Mapping[str, GivenValue]) -> tuple[bool, ...]:
        """List what may be true: tests of each law's when up to a false one, then what its notices ask of words."""
        found: list[bool] = []
        for whens, notices in self._laws:
            for test, names in whens:
                found.append(self._may_be(test, names, values))
                if not found[-1]:
                    break
            else:
                found += [self._may_be(test, names, values) for test, names in notices]
        return tuple(found)

    def laws(self, values: Mapping[str, GivenValue]) -> tuple[bool, ...]:
        """Tell for every law of the model whether it may apply."""
        return tuple([all(self._may_be(t, n, values) for t, n in whens) for whens, _ in self._laws])

    def _may_be(self, test: tree.Test, names: Sequence[str], values: Mapping[str, GivenValue]) -> bool:
        given = [values.get(n) for n in names]
        key = (id(test), *map(id, given))
        known = self._known.get(key)
        if known is None:
            # The values are kept too, so that no others come by their identity.
            known = self._known[key] = (given, applies(test, values) is not False)
        return known[1]


def _of_words(law: LawDecl) -> Iterator[tree.Test]:
    """List what a law's notices ask that is decided before any value is chosen."""
    tests = (t for notice in law.notices if notice.where for t in notice.where.tests)
    return (t for t in tests if not isinstance(t, tree.Comparison))


def _questions(tests: Iterable[tree.Test]) -> list[tuple[tree.Test, tuple[str, ...]]]:
    return [(t, tuple(_asked(t))) for t in tests]


def _asked(test: tree.Test) -> list[str]:
    if isinstance(test, tree.Comparison):
        return [r.name for r in names_in(test.left) + names_in(test.right)]
    return [test.quantity.text]
