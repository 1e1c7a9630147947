"""Sources by number: each is written once, in a list, and the laws that rest on it refer to its number."""

from typing import Any

Data = dict[str, Any]


def cited(bundle: Data) -> Data:
    """Number the sources of a bundle's laws in the order of the laws' names.

    Gives ``number`` by law, and ``sources``: ``number``, ``status``, ``text`` and the ``laws`` that rest on it. The
    numbers hang on the laws alone, which are the same for all bundles of one structure.
    """
    places: dict[tuple[str, str], Data] = {}
    numbers = {}
    for law in bundle["laws"]:
        key = (law["status"], law["source"])
        entry = {"number": len(places) + 1, "status": law["status"], "text": law["source"], "laws": []}
        entry = places.setdefault(key, entry)
        entry["laws"].append(law["name"])
        numbers[law["name"]] = entry["number"]
    return {"number": numbers, "sources": list(places.values())}


def assumed(bundle: Data) -> list[Data]:
    """List the inputs that are assumed, the costliest first, as the bundle has them."""
    return [i for i in bundle["inputs"] if i["evidence"] == "assumed"]


def known(bundle: Data) -> list[Data]:
    """List the inputs that are more than assumed."""
    return [i for i in bundle["inputs"] if i["evidence"] != "assumed"]
