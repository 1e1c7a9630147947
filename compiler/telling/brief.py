"""What an overview needs of each machine: a bundle in brief, so that a fleet's bundles need not be held in memory."""

from typing import Any

from .sentences import limits, summary

Data = dict[str, Any]

NEAREST = 6
"""Requirements that are named, the nearest first, but those that a setting was taken up to."""

FEW_MACHINES = 40
"""Up to so many machines stand side by side, each in a column and with its limits told; more get a row each."""


def brief(bundle: Data, place: int) -> Data:
    """Keep what an overview shows of a bundle; ``place`` counts the machines of its profile before it."""
    settings = {
        group: {name: {k: s[k] for k in ("text", "unit", "band_text")} for name, s in members.items()}
        for group, members in bundle["settings"].items()
    }
    data: Data = {
        "machine": bundle["machine"],
        "merits": [{k: m[k] for k in ("name", "better", "text")} for m in bundle["merits"]],
        "limits": limits(bundle),
        "holds": bundle["holds"],
        "certified": bundle["work"]["certified"],
        "settings": settings,
        "inputs": {i["name"]: i["text"] for i in bundle["inputs"]},
    }
    if place < FEW_MACHINES:
        data["summary"] = summary(bundle)
        data["nearest"] = [
            {
                "law": r["law"] or r["title"],
                "why": r["otherwise"] or r["text"],
                "sides": r["sides"],
                "spare": r["spare"],
            }
            for r in [r for r in bundle["requirements"] if not r["follows"]][:NEAREST]
        ]
    return data


def differing_inputs(machines: list[Data]) -> list[Data]:
    """List the inputs of machines whose written values are not the same everywhere."""
    names = sorted({n for m in machines for n in m["inputs"]})
    rows = [{"name": n, "texts": [m["inputs"].get(n, "not used") for m in machines]} for n in names]
    return [r for r in rows if len(set(r["texts"])) > 1]


def differing_settings(machines: list[Data]) -> list[Data]:
    """List all settings, and tell which are not the same on all machines."""
    rows = []
    for group, members in machines[0]["settings"].items():
        for name, first in members.items():
            cells = [m["settings"][group][name] for m in machines]
            differs = len({c["text"] for c in cells}) > 1
            rows.append({"name": f"{group}.{name}", "unit": first["unit"], "cells": cells, "differs": differs})
    return rows


def by_machine(machines: list[Data]) -> Data:
    """Turn what differs into a row a machine: what it is called, and each machine's texts in that order."""
    settings, inputs = differing_settings(machines), differing_inputs(machines)
    differing = [row for row in settings if row["differs"]]
    rows = []
    for k, m in enumerate(machines):
        texts = [row["cells"][k]["text"] for row in differing]
        rows.append({"machine": m["machine"], "settings": texts, "inputs": [row["texts"][k] for row in inputs]})
    return {
        "settings": differing,
        "same": [row for row in settings if not row["differs"]],
        "inputs": [row["name"] for row in inputs],
        "machines": rows,
    }
