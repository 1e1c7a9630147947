"""What a text lacks: values that the laws need of a material or machine, and settings that a profile must give."""

from ..meaning.model import Model, ProfileDecl
from ..network.assembling import Assembly
from .programs import Program

MOST_PAIRS = 24
"""Profiles on machines that are asked for what they lack."""


def lacking(program: Program, kind: str, name: str) -> list[str]:
    """List what an entity lacks, by what its profiles need of it; for a profile, the settings it must give too."""
    model = program.model
    found: dict[str, None] = {}
    if kind == "profile":
        profile = model.profiles.get(name)
        pins = profile.pins if profile is not None else {}
        found |= dict.fromkeys(s.name for s in model.settings.values() if s.given and s.name not in pins)
    for profile, machine in _pairs(model, kind, name)[:MOST_PAIRS]:
        assembly = Assembly(model, profile, machine, [])
        assembly.network()
        assembly.gather_missing()
        found |= dict.fromkeys(assembly.lacking.get(kind, {}))
    return list(found)


def _pairs(model: Model, kind: str, name: str) -> list[tuple[ProfileDecl, str]]:
    """List the profiles on machines that an entity takes part in, itself or through those that inherit from it."""
    pairs = []
    for profile in model.profiles.values():
        material = model.materials.get(profile.material)
        for written in profile.machines:
            machine = model.machines.get(written.text)
            if material is None or machine is None:
                continue
            line = {"material": material.line, "machine": machine.line, "profile": (profile.name,)}[kind]
            if name in line:
                pairs.append((profile, written.text))
    return pairs
