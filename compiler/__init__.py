"""Meltwright: a declarative compiler of material settings for material-extrusion machines."""

__version__ = "0.1.0"
