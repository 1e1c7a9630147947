"""Sentences that the templates ask for: what a machine achieves and what limits it, in plain words."""

from typing import Any

from .solution import EVERYWHERE

Data = dict[str, Any]


def find(bundle: Data, identity: str) -> Data | None:
    """Find a requirement of a bundle by its id."""
    return next((r for r in bundle["requirements"] if r["id"] == identity), None)


def reason(requirement: Data) -> str:
    """Say a requirement in the trade's words where its law gives them, else as it stands."""
    return str(requirement["otherwise"] or requirement["text"])


def limits(bundle: Data) -> str:
    """Name what keeps the first merit from growing."""
    if not bundle["merits"]:
        return "nothing: the profile prefers nothing"
    found = [r for n in bundle["merits"][0]["limited_by"] if (r := find(bundle, n))]
    return ", ".join(f"`{r['title']}`" for r in found) or "the settings' own ranges"


def summary(bundle: Data) -> str:
    """Say in one paragraph what is achieved and what limits it."""
    parts = []
    met = [w["text"] for w in bundle["wants"] if w["met"]]
    if met and bundle["holds"] != EVERYWHERE:
        parts.append(
            f"Settings for {bundle['material']} on {bundle['machine']} that meet {_and(met)} at the stated input "
            "values only: over the whole ranges nothing does."
        )
    elif met:
        parts.append(f"Settings for {bundle['material']} on {bundle['machine']} that meet {_and(met)}.")
    else:
        parts.append(f"Settings for {bundle['material']} on {bundle['machine']}.")
    if bundle["merits"]:
        first = bundle["merits"][0]
        parts.append(f"{first['name'].capitalize()} reaches {first['text']}{_direction(first)}")
        found = [r for n in first["limited_by"] if (r := find(bundle, n))]
        if found:
            whys = "; ".join(f"`{r['title']}` ({reason(r)})" for r in found)
            parts[-1] += f", and what keeps it from more is {whys}."
        else:
            parts[-1] += ", the end of the settings' own ranges."
    else:
        parts.append("The profile prefers nothing: these settings hold, but a `prefer` line would find better ones.")
    dropped = [w["text"] for w in bundle["wants"] if not w["met"]]
    if dropped:
        parts.append(f"Set aside, as it cannot be met here: {_and(dropped)}.")
    assumed = [i["name"] for i in bundle["inputs"] if i["evidence"] == "assumed"]
    if assumed:
        parts.append(f"{len(assumed)} of its {len(bundle['inputs'])} inputs are assumed.")
    return " ".join(parts)


def chosen(setting: Data) -> str:
    """Say how a setting was chosen, in a few words."""
    words = {
        "given": "given in the profile",
        "preference": "by the preferences",
        "low": "as low as holds",
        "high": "as high as holds",
        "middle": "the middle of what was open",
    }
    if setting["chosen"] == "pinned":
        return f"pinned: {setting['because']}"
    return words[setting["chosen"]]


def story(setting: Data) -> str:
    """Say why a setting is what it is, in one or two sentences."""
    if setting["chosen"] == "given":
        return "The profile gives it."
    if setting["chosen"] == "pinned":
        return f"Pinned, because {setting['because']}."
    how = {
        "preference": "The preferences choose it",
        "low": "It is as low as holds",
        "high": "It is as high as holds",
        "middle": "Nothing prefers it, so it lies in the middle of what was open when it was chosen",
    }[setting["chosen"]]
    band = setting["band_text"]
    unit = f" {setting['unit']}" if setting["unit"] else ""
    if setting["band"][0] == setting["band"][1]:
        return f"{how}: with the other settings kept, no other value holds."
    return f"{how}: {band}{unit} hold{'s' if ' .. ' in band else ''} with the other settings kept."


def _direction(merit: Data) -> str:
    return " (less is better)" if merit["better"] == "less" else ""


def _and(parts: list[str]) -> str:
    quoted = [f"`{p}`" for p in parts]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " and " + quoted[-1]


def ending(setting: Data, bundle: Data) -> list[Data]:
    """List the requirements that end the band of a setting, the closest first."""
    ends = (setting["limited_below"], setting["limited_above"])
    return [r for r in bundle["requirements"] if r["id"] in ends]


def effort_told(certified: bool, prefers: bool, limit: int | None) -> str:
    """Say how an answer is known: that nothing better can be there, or that the search ended before it was sure."""
    if not certified:
        return (
            "These settings are proved to hold, but not certified to be the best: the search ended at its limit"
            + (f" of {limit:,} boxes" if limit else "")
            + ". More effort may find better ones."
        )
    if not prefers:
        return "The profile prefers nothing, so nothing was left to certify beyond that these settings hold."
    return "Certified to be the best by the preferences, within what they give back."
