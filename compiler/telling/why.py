"""Why a setting is what it is, as plain text built from the bundle."""

from typing import Any

from .sentences import find, reason, story

Data = dict[str, Any]


def why(bundles: list[Data], name: str) -> str:
    """Explain one setting on every machine, and where there are several, what differs between them."""
    parts = [_one(b, name) for b in bundles]
    if len(bundles) > 1:
        parts.append(_compared(bundles, name))
    return "\n".join(parts)


def _setting(bundle: Data, name: str) -> Data:
    group, _, rest = name.partition(".")
    found: Data = bundle["settings"][group][rest or group]
    return found


def _one(bundle: Data, name: str) -> str:
    s = _setting(bundle, name)
    unit = f" {s['unit']}" if s["unit"] else ""
    lines = [
        f"{name} = {s['text']}{unit}   ({bundle['profile']}: {bundle['material']} on {bundle['machine']})",
        "",
    ]
    lines.append(f"  {s['about']} {story(s, bundle)}")
    lines.append(f"  declared at {s['place']}")
    if s["chosen"] == "preference":
        lines += _preference(bundle)
    for side, end in (("lower", s["limited_below"]), ("higher", s["limited_above"])):
        lines += _end(bundle, side, end)
    named = {s["limited_below"], s["limited_above"]}
    others = [r for r in bundle["requirements"] if r["id"] in s["requirements"] and r["id"] not in named]
    if others:
        lines += ["", "  also bears on:"]
        lines += [f"    {r['id']}: {r['sides']} ({r['spare']} to spare)  {r['place']}" for r in others]
    return "\n".join(lines) + "\n"


def _preference(bundle: Data) -> list[str]:
    lines = []
    for merit in bundle["merits"][:1]:
        found = [r for n in merit["limited_by"] if (r := find(bundle, n))]
        if found:
            lines += ["", f"  {merit['name']} reaches {merit['text']}; what keeps it from more:"]
            for r in found:
                lines.append(f"    {r['id']}: {reason(r)}")
    return lines


def _end(bundle: Data, side: str, end: str) -> list[str]:
    if not end:
        return []
    if end in ("range", "preference"):
        what = "the end of its own range" if end == "range" else "the preferences"
        return ["", f"  not {side}: {what}"]
    r = find(bundle, end)
    if r is None:
        return []
    lines = ["", f"  not {side}: {r['id']}, {reason(r)}", f"    {r['text']}"]
    if r["numbers"]:
        lines.append(f"    {r['numbers']}")
    at = ", ".join(f"{k} {v}" for k, v in r["at"].items())
    lines.append(f"    {r['sides']} ({r['spare']} to spare)" + (f" at {at}" if at else ""))
    lines += _chain(bundle, r)
    if r["source"]:
        lines.append(f"    {r['status']}: {r['source']}")
    lines.append(f"    {r['place']}")
    return lines


def _chain(bundle: Data, requirement: Data) -> list[str]:
    """Show the derivation of every derived name that the requirement's own text uses."""
    lines = []
    for name, d in bundle["derived"].items():
        if name in requirement["text"].replace("(", " ").replace(")", " ").split():
            lines.append(f"      {name} = {d['formula']}")
            lines.append(f"        = {d['numbers']} = {d['text']} (over the inputs {d['range_text']})  {d['place']}")
    return lines


def _compared(bundles: list[Data], name: str) -> str:
    lines = ["side by side"]
    width = max(len(b["machine"]) for b in bundles)
    for b in bundles:
        s = _setting(b, name)
        limits = ", ".join(b["merits"][0]["limited_by"]) if b["merits"] else ""
        tail = f"   {b['merits'][0]['name']} limited by {limits}" if limits else ""
        lines.append(f"  {b['machine']:<{width}}  {s['text']} {s['unit']}  (holds {s['band_text']}){tail}")
    return "\n".join(lines) + "\n"
