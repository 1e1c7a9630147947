"""Output formats as data."""
