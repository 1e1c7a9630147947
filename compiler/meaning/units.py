"""Dimensions and units: what may follow a number, and its exact size in coherent base units.

Base units are metre, kilogram, second, kelvin and mole; temperature points count in kelvin. A temperature
point and a hardness reading are kinds of their own, so that no arithmetic takes them for plain values.

To add a unit: a line in ``_SIMPLE`` and its counterpart in ``tests/published/test_units_against_pint.py``. To
add a dimension: a line in ``DIMENSIONS`` and its counterpart there. Where several names share a dimension,
the first one describes it.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import lru_cache
from typing import Literal

Kind = Literal["plain", "point", "hardness"]
"""``point``: a temperature on a scale with its own zero; ``hardness``: a reading on a hardness scale."""

# ---- dimensions ---------------------------------------------------------------------------------

_BASE = ("m", "kg", "s", "K", "mol")
_AS_WRITTEN = (1, 0, 2, 3, 4)  # People put the mass first: kg/m/s2.


@dataclass(frozen=True, slots=True, repr=False)
class Dimension:
    """Exponents of metre, kilogram, second, kelvin, mole (whole ones kept as ``int``), and the kind."""

    powers: tuple[Fraction | int, ...]
    kind: Kind = "plain"

    def __post_init__(self) -> None:
        if len(self.powers) != len(_BASE):
            raise ValueError(f"a dimension has {len(_BASE)} exponents, not {len(self.powers)}")
        lean = tuple(p.numerator if p.denominator == 1 else p for p in self.powers)
        object.__setattr__(self, "powers", lean)

    def __repr__(self) -> str:
        return f"<{self.kind} {_in_base_units(self)}>"

    @property
    def is_number(self) -> bool:
        """Whether this is a plain number."""
        return self.kind == "plain" and not any(self.powers)

    def times(self, other: "Dimension") -> "Dimension":
        """Give the dimension of a product; ValueError where one side is a point or a reading."""
        _need_plain(self, other)
        return Dimension(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def over(self, other: "Dimension") -> "Dimension":
        """Give the dimension of a quotient; ValueError where one side is a point or a reading."""
        _need_plain(self, other)
        return Dimension(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def to_power(self, exponent: Fraction | int) -> "Dimension":
        """Give the dimension of a power; ValueError for a point or a reading."""
        _need_plain(self)
        return Dimension(tuple(p * exponent for p in self.powers))


def _need_plain(*dimensions: Dimension) -> None:
    for dimension in dimensions:
        if dimension.kind != "plain":
            raise ValueError(f"a {describe(dimension)} cannot be multiplied or raised to a power")


def _d(m: int = 0, kg: int = 0, s: int = 0, k: int = 0, mol: int = 0, kind: Kind = "plain") -> Dimension:
    return Dimension((m, kg, s, k, mol), kind)


NUMBER = _d()
TEMPERATURE_POINT = _d(k=1, kind="point")
TEMPERATURE_DIFFERENCE = _d(k=1)
HARDNESS = _d(kind="hardness")

DIMENSIONS: Mapping[str, Dimension] = {
    "number": NUMBER,
    "share": NUMBER,
    "angle": NUMBER,
    # space and time
    "length": _d(1),
    "area": _d(2),
    "volume": _d(3),
    "second_moment": _d(4),
    "curvature": _d(-1),
    "time": _d(s=1),
    "rate": _d(s=-1),
    "shear_rate": _d(s=-1),
    "speed": _d(1, s=-1),
    "acceleration": _d(1, s=-2),
    "flow": _d(3, s=-1),
    # mass
    "mass": _d(kg=1),
    "melt_flow_rate": _d(kg=1, s=-1),
    "mass_flow": _d(kg=1, s=-1),
    "density": _d(-3, 1),
    "linear_density": _d(-1, 1),
    "specific_volume": _d(3, -1),
    # mechanics
    "force": _d(1, 1, -2),
    "pressure": _d(-1, 1, -2),
    "stress": _d(-1, 1, -2),
    "energy": _d(2, 1, -2),
    "torque": _d(2, 1, -2),
    "power": _d(2, 1, -3),
    "stiffness": _d(0, 1, -2),
    "surface_tension": _d(0, 1, -2),
    "bending_stiffness": _d(3, 1, -2),
    "compressibility": _d(1, -1, 2),
    "pressure_gradient": _d(-2, 1, -2),
    # melt
    "viscosity": _d(-1, 1, -1),
    "flow_resistance": _d(-4, 1, -1),
    # heat
    "temperature": TEMPERATURE_POINT,
    "temperature_difference": TEMPERATURE_DIFFERENCE,
    "expansion": _d(k=-1),
    "cooling_rate": _d(s=-1, k=1),
    "temperature_gradient": _d(-1, k=1),
    "heat_flux": _d(0, 1, -3),
    "heat_transfer": _d(0, 1, -3, -1),
    "heat_capacity": _d(2, 1, -2, -1),
    "specific_heat": _d(2, 0, -2, -1),
    "conductivity": _d(1, 1, -3, -1),
    "conductance": _d(2, 1, -3, -1),
    "thermal_resistance": _d(-2, -1, 3, 1),
    "diffusivity": _d(2, s=-1),
    "energy_per_mass": _d(2, s=-2),
    # amount of substance
    "amount": _d(mol=1),
    "concentration": _d(-3, mol=1),
    "molar_mass": _d(kg=1, mol=-1),
    "energy_per_mole": _d(2, 1, -2, mol=-1),
    "molar_heat_capacity": _d(2, 1, -2, -1, -1),
    "hardness": HARDNESS,
}
"""What an author may write after the colon of a quantity or a setting."""

_DESCRIBED: dict[Dimension, str] = {}
for _name, _dimension in DIMENSIONS.items():
    _DESCRIBED.setdefault(_dimension, _name.replace("_", " "))
_DESCRIBED[NUMBER] = "a plain number"


def describe(dimension: Dimension) -> str:
    """Name a dimension in plain words, or by base units where there is no word: ``area``, ``kg2/m/s2``."""
    return _DESCRIBED.get(dimension) or _in_base_units(dimension)


def with_article(dimension: Dimension) -> str:
    """Describe a dimension as one of its kind: ``a length``, ``an area``, ``a plain number``."""
    words = describe(dimension)
    if words.startswith("a "):
        return words
    return f"an {words}" if words[0] in "aeiou" else f"a {words}"


def _in_base_units(dimension: Dimension) -> str:
    powers = [(_BASE[i], dimension.powers[i]) for i in _AS_WRITTEN if dimension.powers[i]]
    above = "*".join(_power(base, p) for base, p in powers if p > 0)
    below = "".join("/" + _power(base, -p) for base, p in powers if p < 0)
    return (above or "1") + below if powers else ""


def _power(base: str, power: Fraction | int) -> str:
    if power == 1:
        return base
    return f"{base}{power}" if power.denominator == 1 else f"{base}^({power})"


# ---- units --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: base value = number x factor + offset. ``scale`` names the hardness scale of a reading.

    ``exact`` is the factor without rounding; without it the decimal text of ``factor`` counts as exact.
    """

    symbol: str
    dimension: Dimension
    factor: float
    offset: float = 0.0
    scale: str | None = None
    exact: Fraction | None = field(default=None, repr=False, compare=False)

    @property
    def stands_alone(self) -> bool:
        """Whether no other unit may be glued to it."""
        return self.dimension.kind != "plain"


_ONE = Fraction(1)
_PI = Fraction("3.141592653589793238462643383279502884197169399375105820974944")
"""From memory, checked in the tests; cut so deep that no double is rounded the wrong way because of it."""

_SIMPLE: tuple[tuple[str, str, Fraction | int | str], ...] = (
    ("um", "length", "1e-6"),
    ("mm", "length", "1e-3"),
    ("cm", "length", "1e-2"),
    ("m", "length", 1),
    ("mg", "mass", "1e-6"),
    ("g", "mass", "1e-3"),
    ("kg", "mass", 1),
    ("ms", "time", "1e-3"),
    ("s", "time", 1),
    ("min", "time", 60),
    ("h", "time", 3600),
    ("K", "temperature_difference", 1),
    ("mN", "force", "1e-3"),
    ("N", "force", 1),
    ("kN", "force", 1000),
    ("Pa", "pressure", 1),
    ("kPa", "pressure", 10**3),
    ("MPa", "pressure", 10**6),
    ("GPa", "pressure", 10**9),
    ("bar", "pressure", 10**5),
    ("J", "energy", 1),
    ("kJ", "energy", 1000),
    ("W", "power", 1),
    ("kW", "power", 1000),
    ("mol", "amount", 1),
    ("rad", "angle", 1),
    ("deg", "angle", _PI / 180),
    ("turn", "angle", _PI * 2),
    ("%", "number", "1e-2"),
)


def _simple_units() -> Iterator[Unit]:
    for symbol, name, size in _SIMPLE:
        exact = Fraction(size)
        yield Unit(symbol, DIMENSIONS[name], float(exact), exact=exact)
    yield Unit("degC", TEMPERATURE_POINT, 1.0, offset=273.15, exact=_ONE)
    yield Unit("shore_a", HARDNESS, 1.0, scale="shore_a", exact=_ONE)
    yield Unit("shore_d", HARDNESS, 1.0, scale="shore_d", exact=_ONE)


UNITS: Mapping[str, Unit] = {unit.symbol: unit for unit in _simple_units()}
"""The units that have a symbol of their own. All others are built from them by ``parse_unit``."""

UNITLESS = Unit("", NUMBER, 1.0, exact=_ONE)
"""The unit of a number that is written without one."""

MOST_FACTORS = 8
"""Factors of the longest compound, so that the work of reading one is bounded."""

_MICRO = str.maketrans("µμ", "uu")
_FACTOR = re.compile(r"([*/])([^*/]*)")
_RAISED = re.compile(r"([A-Za-z_]+)([2-9])")


class UnknownUnit(ValueError):
    """Raised for a text that is no unit: the part at fault, and what may have been meant in its place."""

    def __init__(self, part: str, suggestions: tuple[str, ...] = ()) -> None:
        self.part = part if len(part) <= _LONGEST else f"{part[:_LONGEST]}..."
        self.suggestions = suggestions
        advice = f"; did you mean {' or '.join(suggestions)}?" if suggestions else ""
        super().__init__(f"{self.part!r} is not a unit{advice}")


@lru_cache(maxsize=1024)
def parse_unit(text: str) -> Unit:
    """Read a unit: symbols with an exponent from 2 to 9, glued by ``*`` and ``/``, perhaps after ``1/``.

    A ``/`` applies to the next factor only. Temperature points and hardness scales stand alone. ``µ`` is read
    as ``u``. Raises UnknownUnit.
    """
    unit = _read(text.translate(_MICRO))
    if unit is None:
        raise _unknown(text)
    return unit


def _read(text: str) -> Unit | None:
    if text in UNITS:
        return UNITS[text]
    factors = _factors(text)
    if len(factors) > MOST_FACTORS:
        return None
    exact, dimension = _ONE, NUMBER
    for glue, part in factors:
        unit, exponent = _simple(part)
        if unit is None or unit.stands_alone:
            return None
        power = -exponent if glue == "/" else exponent
        exact *= _exact(unit) ** power
        dimension = dimension.times(unit.dimension.to_power(power))
    try:
        factor = float(exact)
    except OverflowError:
        return None
    return Unit(text, dimension, factor, exact=exact) if factor else None


def _factors(text: str) -> list[tuple[str, str]]:
    return _FACTOR.findall(text[1:] if text.startswith("1/") else f"*{text}")


def _simple(part: str) -> tuple[Unit | None, int]:
    if part in UNITS:
        return UNITS[part], 1
    raised = _RAISED.fullmatch(part)
    return (UNITS.get(raised[1]), int(raised[2])) if raised else (None, 1)


def coherent_unit(dimension: Dimension) -> Unit:
    """Give the unit of base values: ``kg/m/s2`` for a pressure, ``K`` for a point, no symbol for a number."""
    return Unit(_in_base_units(dimension), dimension, 1.0, exact=_ONE)


def difference_unit(unit: Unit) -> Unit:
    """Give the unit of differences and tolerances: ``K`` for ``degC``, otherwise the unit itself."""
    return UNITS["K"] if unit.dimension.kind == "point" else unit


# ---- conversion ---------------------------------------------------------------------------------

_FARTHEST = 400
"""Decimal exponent beyond which no unit brings a number back among the doubles."""


def to_base_text(number_text: str, unit: Unit) -> float:
    """Convert a decimal literal to base units, rounding once: the double nearest to the exact value.

    Raises ValueError for a text that is no decimal number, OverflowError where no double is so large.
    """
    try:
        number = Decimal(number_text)
    except InvalidOperation:
        raise ValueError(f"{number_text!r} is not a decimal number") from None
    if not number.is_finite():
        raise ValueError(f"{number_text!r} is not a finite number")
    if not number or number.adjusted() < -_FARTHEST:
        return unit.offset
    if number.adjusted() > _FARTHEST:
        raise OverflowError(f"{number_text} {unit.symbol} is too large")
    above, below = number.as_integer_ratio()
    factor = _exact(unit)
    above *= factor.numerator
    below *= factor.denominator
    if unit.offset:
        shift, parts = _ratio(unit.offset)
        above = above * parts + shift * below
        below *= parts
    return above / below  # Python divides whole numbers with one correct rounding.


def exact_base(number: Fraction, unit: Unit) -> Fraction:
    """Convert a number to base units without any rounding."""
    return number * _exact(unit) + Fraction(*_ratio(unit.offset))


def to_base(number: float, unit: Unit) -> float:
    """Convert a number to base units. It counts as its shortest decimal text, so 0.1 is one tenth exactly.

    Infinities and NaN stay what they are. Raises OverflowError where no double is so large.
    """
    number = float(number)
    return to_base_text(repr(number), unit) if math.isfinite(number) else number


def from_base(value: float, unit: Unit) -> float:
    """Convert a value in base units to a number in ``unit``; the inverse of ``to_base`` within 2 ulp.

    ``value`` counts as its shortest decimal text, so that 0.0002 m is 0.2 mm again. Infinities and NaN stay
    what they are. Raises OverflowError where no double is so large.
    """
    value = float(value)
    if not math.isfinite(value):
        return value
    above, below = Decimal(repr(value)).as_integer_ratio()
    factor = _exact(unit)
    if unit.offset:
        shift, parts = _ratio(unit.offset)
        above = above * parts - shift * below
        below *= parts
    return (above * factor.denominator) / (below * factor.numerator)


@lru_cache(maxsize=64)
def _ratio(offset: float) -> tuple[int, int]:
    return Decimal(repr(offset)).as_integer_ratio()


def _exact(unit: Unit) -> Fraction:
    return Fraction(repr(unit.factor)) if unit.exact is None else unit.exact


# ---- what may have been meant -------------------------------------------------------------------

_LONGEST = 40
"""Characters of the longest part that is quoted or for which likenesses are sought."""

_OTHER_NAMES: Mapping[str, str] = {
    word: symbol
    for symbol, words in {
        "degC": "c °c celsius degf f °f fahrenheit",
        "K": "°k kelvin",
        "mm": "in inch inches",
        "um": "micron microns",
        "m": "ft",
        "cm3": "cc ml l litre liter",
        "g": "oz",
        "kg": "lb lbs",
        "MPa": "psi",
        "Pa*s": "mpas",
        "1/s": "hz",
        "turn/min": "rpm",
        "turn": "rev",
        "deg": "°",
        "s": "sec",
        "ms": "us",
        "h": "hr hrs",
        "%": "percent pct",
        "shore_a": "a shore shorea",
        "shore_d": "d shored",
    }.items()
    for word in words.split()
}
"""Names that people use, in lower case, and a unit here that measures the same thing."""

_FULL_NAMES: Mapping[str, str] = {
    "metre": "m", "meter": "m", "gram": "g", "second": "s", "minute": "min", "hour": "h", "newton": "N",
    "pascal": "Pa", "joule": "J", "watt": "W", "mole": "mol", "degree": "deg", "radian": "rad",
}  # fmt: skip
_PREFIXES: Mapping[str, str] = {
    "micro": "u", "milli": "m", "centi": "c", "kilo": "k", "mega": "M", "giga": "G"
}  # fmt: skip
_WRITTEN_ELSEWHERE = str.maketrans(
    {"²": "2", "³": "3", "⁴": "4", "·": "*", "⋅": "*", "×": "*", "^": None, "µ": "u", "μ": "u"}
)


def _unknown(text: str) -> UnknownUnit:
    """Find the part at fault."""
    spelled = text.translate(_MICRO)
    factors = _factors(spelled)
    if len(factors) > MOST_FACTORS or not all(part for _, part in factors):
        return UnknownUnit(text, _units_only([_tidied(text)]))
    for glue, part in factors:
        unit, _ = _simple(part)
        if unit is None:
            at = spelled.index(part)
            return UnknownUnit(text[at : at + len(part)], _meant(part, glue, alone=part == spelled))
        if unit.stands_alone:
            return UnknownUnit(text, _units_only([spelled.replace("degC", "K"), unit.symbol])[:1])
    return UnknownUnit(text)


def _meant(part: str, glue: str, alone: bool) -> tuple[str, ...]:
    """Suggest replacements for a part: the first kind of slip that explains it, the likeliest first."""
    if len(part) > _LONGEST:
        return ()
    stem = part.rstrip("0123456789")
    exponent = part[len(stem) :]
    slips = (_by_case, lambda s: _by_name(s, alone), lambda s: [_tidied(part)], lambda s: _split(part, glue))
    for slip in (*slips, _without_prefix, _by_likeness):
        words = slip(stem)
        found = _units_only(word + exponent for word in words) or _units_only(words)
        found = tuple(word for word in found if alone or not parse_unit(word).stands_alone)
        if found:
            return found
    return ()


def _units_only(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(word for word in words if _read(word) is not None)


def _by_case(stem: str) -> list[str]:
    found = [symbol for symbol in UNITS if symbol.casefold() == stem.casefold()]
    # mPa may be a slip for MPa, or the thousandth of a Pa that is not offered here.
    return found + _without_prefix(stem) if found and stem not in UNITS else found


def _without_prefix(stem: str) -> list[str]:
    return [stem[1:]] if stem[:1] in tuple("numcdhkMG") and stem[1:] in UNITS else []


def _by_name(stem: str, alone: bool) -> list[str]:
    folded = stem.casefold().replace("_", "")
    prefix = next((p for p in _PREFIXES if folded.startswith(p)), "")
    rest = folded.removeprefix(prefix)
    symbol = _FULL_NAMES.get(rest) or _FULL_NAMES.get(rest.removesuffix("s"))
    if symbol:
        return [_PREFIXES.get(prefix, "") + symbol]
    word = _OTHER_NAMES.get(folded)
    if word is None or alone:
        return [word] if word else []
    return [] if "/" in word or "*" in word else [word.replace("degC", "K")]


def _split(part: str, glue: str) -> list[str]:
    """Find two symbols that were run together: ``Nm``, and ``mK`` below a stroke."""
    found = []
    for at in range(1, len(part)):
        left, right = part[:at], part[at:]
        # Above a stroke a leading m is rather a prefix that is not offered here.
        if (left != "m" or glue == "/") and _simple(left)[0] and _simple(right)[0]:
            found.append(f"{left}{glue}{right}")
    return found


def _by_likeness(stem: str) -> list[str]:
    from difflib import get_close_matches

    return get_close_matches(stem, UNITS, n=3, cutoff=0.6)


_SAME = frozenset({
    "c", "°c", "celsius", "°k", "kelvin", "micron", "microns", "cc", "hz", "rpm", "°", "sec", "hr", "hrs", "percent",
    "pct", "shorea", "shored",
})  # fmt: skip
"""Those of the other names that mean a unit of the very size that is suggested."""


def is_spelling_of(part: str, symbol: str) -> bool:
    """Tell whether a part that is no unit is only another way to write ``symbol``, of the same size."""
    folded = part.casefold()
    if symbol.casefold() == folded or symbol == _tidied(part) or folded in _SAME:
        return True
    return folded.replace("_", "") not in _OTHER_NAMES and symbol in _by_name(part, alone=False)


def _tidied(text: str) -> str:
    """Rewrite other spellings: ``mm^2``, ``mm²``, ``mm**2``, ``N·m``, ``mm//s``, ``s^-1``, ``/s``."""
    plain = text.translate(_WRITTEN_ELSEWHERE)
    plain = re.sub(r"\*\*(?=-?[0-9])", "", plain)
    plain = re.sub(r"(^|[*/])([A-Za-z_]+)-([0-9])", r"/\2\3", plain)
    plain = re.sub(r"([*/])[*/]+", r"\1", plain).rstrip("*/").lstrip("*")
    plain = re.sub(r"([A-Za-z_])1(?![0-9])", r"\1", plain)
    return f"1{plain}" if plain.startswith("/") else plain
