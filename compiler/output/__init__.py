"""Bundles, rendering and writing files."""
