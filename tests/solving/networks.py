"""Small random networks, as Melt texts and as plain functions that are written down a second time here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
from hypothesis import strategies as st
from meltwright.meaning.checking import check_file
from meltwright.network.graph import Network
from meltwright.network.lowering import lower
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def network_of(path: Path, text: str) -> Network:
    """Write a text, and lower its profile ``p`` on its machine ``mach``."""
    path.write_text(text, encoding="utf-8")
    model, faults, _ = check_file(path)
    assert model is not None, faults
    network = lower(model, model.profiles["p"], "mach", [])
    assert network is not None
    return network


LIKE = 4e-9
"""Sides that differ by less than this share count as equal in comparisons with the solver, which grants 1e-9."""


@dataclass(frozen=True)
class Formula:
    """An expression in Melt and in Python."""

    melt: str
    python: str

    def of(self, values: Mapping[str, Floats]) -> Floats:
        names = {"min": np.minimum, "max": np.maximum, "sqrt": np.sqrt, "exp": np.exp, "abs": np.abs, **values}
        with np.errstate(all="ignore"):
            return np.asarray(eval(self.python, {"__builtins__": {}}, names), dtype=float)


@dataclass(frozen=True)
class Setting:
    name: str
    low: float
    step: float
    count: int
    rather: str

    @property
    def values(self) -> Floats:
        return self.low + self.step * np.arange(self.count)


@dataclass(frozen=True)
class Input:
    name: str
    low: float
    high: float

    @property
    def stated(self) -> float:
        return self.low + (self.high - self.low) / 2


@dataclass(frozen=True)
class Small:
    settings: tuple[Setting, ...]
    inputs: tuple[Input, ...]
    requires: tuple[tuple[Formula, Formula], ...]
    merits: tuple[Formula, ...]
    share: int = 2

    def lines(self) -> list[str]:
        """The statements of the text, each whole, in an order that can be changed."""
        found = [f'quantity {i.name} of machine : number in -1e9 .. 1e9 "input"' for i in self.inputs]
        found += [
            f'setting {s.name} : number in {s.low!r} .. {float(s.values[-1])!r} step {s.step!r}{s.rather} "setting"'
            for s in self.settings
        ]
        found += [f'merit m{k} = {m.melt} "merit"' for k, m in enumerate(self.merits)]
        found += [
            f'law l{k} {{\n  about "a"\n  source textbook "t"\n  require {left.melt} <= {right.melt}\n}}'
            for k, (left, right) in enumerate(self.requires)
        ]
        ranges = "\n".join(f"  {i.name} {i.low!r} .. {i.high!r}" for i in self.inputs)
        found.append("material stuff {\n}")
        found.append(f"machine mach {{\n{ranges}\n}}")
        prefer = f"  prefer {', '.join(f'm{k}' for k in range(len(self.merits)))} giving {self.share} %\n"
        found.append(f"profile p {{\n  material stuff\n  machines mach\n{prefer if self.merits else ''}}}")
        return found

    @property
    def text(self) -> str:
        return "\n".join(self.lines()) + "\n"

    # ---- brute force

    def points(self) -> list[tuple[int, ...]]:
        return list(product(*[range(s.count) for s in self.settings]))

    def samples(self, per_input: int = 9) -> dict[str, Floats]:
        """A grid of the input box with its corners and stated values."""
        axes = [np.append(np.linspace(i.low, i.high, per_input), i.stated) for i in self.inputs]
        grids = np.meshgrid(*axes, indexing="ij") if axes else []
        return {i.name: g.ravel() for i, g in zip(self.inputs, grids, strict=True)}

    def settings_at(self, point: tuple[int, ...]) -> dict[str, Floats]:
        return {s.name: np.array([s.values[k]]) for s, k in zip(self.settings, point, strict=True)}

    def stated(self) -> dict[str, Floats]:
        return {i.name: np.array([i.stated]) for i in self.inputs}

    def holds(
        self, point: tuple[int, ...], inputs: Mapping[str, Floats], within: float, cancelling: bool = False
    ) -> bool:
        """Whether all requirements hold at all samples, with sides taken as equal within a share of the larger.

        What is not a number does not hold; with ``cancelling`` it does, where the text divides: a factor that cancels
        counts as never zero, and a sample may hit its zero.
        """
        values = {**self.settings_at(point), **inputs}
        for left, right in self.requires:
            one, two = left.of(values), right.of(values)
            excused = cancelling and "/" in left.melt + right.melt
            if not (share(one, two, within) | (excused & np.isnan(two - one))).all():
                return False
        return True

    def merit(self, k: int, point: tuple[int, ...]) -> float:
        return float(np.ravel(self.merits[k].of({**self.settings_at(point), **self.stated()}))[0])


def share(left: Floats, right: Floats, within: float) -> NDArray[np.bool_]:
    """Where ``left <= right``; what is not finite does not hold."""
    with np.errstate(all="ignore"):
        slack = right - left + within * np.maximum(np.abs(left), np.abs(right))
    return np.isfinite(slack) & (slack >= 0)


# ---- strategies


def _binary(melt: str, python: str) -> Callable[[Formula, Formula], Formula]:
    def build(a: Formula, b: Formula) -> Formula:
        return Formula(melt.format(a.melt, b.melt), python.format(a.python, b.python))

    return build


def _unary(melt: str, python: str) -> Callable[[Formula], Formula]:
    def build(a: Formula) -> Formula:
        return Formula(melt.format(a.melt), python.format(a.python))

    return build


_BINARY = [
    ("({} + {})", "({} + {})"),
    ("({} - {})", "({} - {})"),
    ("({} * {})", "({} * {})"),
    ("({} / (1 + abs({})))", "({} / (1 + abs({})))"),
    ("({} / ({}))", "({} / ({}))"),
    ("min({}, {})", "min({}, {})"),
    ("max({}, {})", "max({}, {})"),
]
_UNARY = [
    ("({})^2", "({}) ** 2"),
    ("({})^3", "({}) ** 3"),
    ("sqrt(abs({}))", "sqrt(abs({}))"),
    ("sqrt({})", "sqrt({})"),
    ("exp(min(2, 0.3 * {}))", "exp(min(2, 0.3 * {}))"),
    ("(0 - {})", "(0 - {})"),
]


def formulas(names: list[str], depth: int = 3) -> st.SearchStrategy[Formula]:
    constants = st.integers(1, 9).map(lambda n: Formula(str(n), f"{n}.0"))
    leaves = st.one_of(*[st.just(Formula(n, n)) for n in names], constants)
    if depth == 0:
        return leaves
    inner = formulas(names, depth - 1)
    return st.one_of(
        leaves,
        *[st.builds(_binary(*b), inner, inner) for b in _BINARY],
        *[st.builds(_unary(*u), inner) for u in _UNARY],
    )


@st.composite
def smalls(draw: st.DrawFn, most_merits: int = 2) -> Small:
    settings = tuple(
        Setting(
            name,
            draw(st.integers(-2, 3)) + 0.25,
            draw(st.sampled_from([0.5, 1.0, 2.0])),
            draw(st.integers(4, 9)),
            draw(st.sampled_from(["", "", " rather low", " rather high"])),
        )
        for name in ["x", "y", "z"][: draw(st.integers(2, 3))]
    )
    inputs = []
    for name in ["u", "v", "w"][: draw(st.integers(1, 3))]:
        low = draw(st.integers(-3, 4)) + 0.125
        inputs.append(Input(name, low, low + draw(st.sampled_from([0.0, 0.25, 1.0, 3.0]))))
    names = [s.name for s in settings] + [i.name for i in inputs]
    one = formulas(names)
    requires = []
    for left, right in draw(st.lists(st.tuples(one, one), min_size=2, max_size=5)):
        room = draw(st.integers(0, 20))
        requires.append((left, Formula(f"{right.melt} + {room}", f"{right.python} + {room}.0")))
    merits = draw(st.lists(one, min_size=1, max_size=most_merits))
    return Small(settings, tuple(inputs), tuple(requires), tuple(merits), draw(st.sampled_from([0, 2, 20])))
