"""Pins: which names can be fixed, and whether a value lies on its setting's lattice."""

import math
from fractions import Fraction
from typing import Any

from ..syntax import tree
from ..text.diagnostic import Diagnostic, Related, diagnose
from ..text.fixing import write_for
from .entities import takes
from .laws import Names
from .model import Amount, PinDecl, SettingDecl
from .near import brief, suggest
from .units import from_base
from .valuing import amount_in, amount_of, mismatch, text_of

SLIGHT = 0.1
"""Share of a step by which a value may be off its lattice and still leave no doubt which value is meant."""


def pin_of(item: tree.Pin, reason: str, setting: SettingDecl, line: str, faults: list[Diagnostic]) -> PinDecl | None:
    """Check that a pin is one exact value on its setting's lattice.

    ``line`` shows how to write one, with places for ``{name}`` and ``{value}``.
    """
    amount = amount_in(item.value, setting.dimension, faults)
    if amount is None:
        if isinstance(item.value, tree.Word):
            faults.append(_not_exact(item, setting, f"the word {brief(item.value.text)}", line))
    elif amount.unit.dimension != setting.dimension:
        faults.append(mismatch(setting.name, setting.dimension, amount, item.value.span))
    elif not isinstance(item.value, tree.Exact):
        faults.append(_not_exact(item, setting, f"the range {amount.text}", line))
    elif _on_lattice(item, amount, setting, faults):
        return PinDecl(setting.name, amount, reason, item.span)
    return None


def _not_exact(item: tree.Pin, setting: SettingDecl, found: str, line: str) -> Diagnostic:
    amount = amount_of(item.value, [])
    at = setting.last // 2 if amount is None else min(max(index_on_lattice(setting, amount.stated), 0), setting.last)
    example = f"{setting.text(round(at))} {setting.unit.symbol}".rstrip()
    advice = line.format(name=setting.name, value=example)
    fix = write_for(item.value.span, text_of(item.value), example)
    return diagnose("M410", item.value.span, name=setting.name, found=found, advice=advice, fixes=[fix])


def not_a_setting(item: tree.Pin, names: Names) -> Diagnostic:
    """Report a pin of what is no setting: say what it is, or which name may be meant."""
    name, value = item.name.text, text_of(item.value)
    quantity = names.quantities.get(name)
    if quantity is not None:
        where = "in this profile" if quantity.owner == "profile" else f"in the {quantity.owner}"
        facts: dict[str, Any] = {
            "what": f"a quantity of the {quantity.owner}",
            "advice": f"give it {where}: {name} {value}",
        }
        if quantity.owner == "profile":
            facts["fixes"] = [write_for(item.span, f"pin {name} = {value}", f"{name} {value}")]
        return diagnose("M234", item.name.span, name=name, **facts)
    kind = names.kinds.get(name)
    if kind is not None:
        what = f"derived by law {names.lets[name][0].law}" if kind == "let" else f"a {kind}"
        lines = [f"{name} at {bound} {value}" for bound in ("most", "least")]
        fixes = [write_for(item.span, f"pin {name} = {value}", line) for line in lines]
        return diagnose(
            "M234", item.name.span, name=name, what=what, advice=f"bound it: {', or: '.join(lines)}", fixes=fixes
        )
    otherwise = "settings are declared in the library, or with setting"
    hint = suggest(
        name, item.name.span, names.settings, otherwise, lambda n: takes(item.value, names.settings[n].dimension)
    )
    return diagnose("M214", item.name.span, name=brief(name), **hint)


def index_on_lattice(setting: SettingDecl, value: float) -> float:
    """Give where a value in base units lies on the lattice, in steps from its low end."""
    try:
        number = Fraction(from_base(value, setting.unit)).limit_denominator(10**9)
        return float((number - setting.low) / setting.step)
    except OverflowError:
        return math.copysign(math.inf, value)


def _on_lattice(item: tree.Pin, amount: Amount, setting: SettingDecl, faults: list[Diagnostic]) -> bool:
    at = index_on_lattice(setting, amount.stated)
    unit = setting.unit.symbol
    related = [Related(setting.span, "declared here")]
    if at < -1e-6 or at > setting.last + 1e-6:
        shown = f"{setting.text(0)} .. {setting.text(setting.last)} {unit}".rstrip()
        end = f"{setting.text(0 if at < 0 else setting.last)} {unit}".rstrip()
        facts: dict[str, Any] = {"value": amount.text, "name": setting.name, "range": shown}
        fix = write_for(item.value.span, amount.text, end)
        faults.append(diagnose("M406", item.value.span, related=related, fixes=[fix], **facts))
        return False
    if abs(at - round(at)) > 1e-6:
        close = sorted({max(0, int(at)), min(setting.last, int(at) + 1)})
        values = {i: f"{setting.text(i)} {unit}".rstrip() for i in close}
        facts = {"value": amount.text, "name": setting.name, "near": " or ".join(values.values())}
        nearest_first = sorted(close, key=lambda i: abs(at - i))
        fixes = [write_for(item.value.span, amount.text, values[i], abs(at - i) <= SLIGHT) for i in nearest_first]
        faults.append(diagnose("M405", item.value.span, related=related, fixes=fixes, **facts))
        return False
    return True
