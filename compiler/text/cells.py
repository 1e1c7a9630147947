"""How much room a text takes on a terminal, which shows every character in a cell of its own or in two; its lines."""

from unicodedata import combining, east_asian_width


def plain(text: str) -> str:
    """Show what a terminal would not print as one cell, tabs and control characters, as a space."""
    return "".join(c if c.isprintable() else " " for c in text)


def cells(text: str) -> int:
    """Count the cells that a terminal needs for a text."""
    if text.isascii():
        return len(text)
    return sum(2 if east_asian_width(c) in "WF" else 0 if combining(c) else 1 for c in text)


def wrapped(text: str, width: int, first: str = "", more: str = "") -> list[str]:
    """Break a text at its spaces alone; ``first`` and ``more`` are what the first line and the others begin with."""
    from textwrap import wrap

    return wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=more,
        break_long_words=False,
        break_on_hyphens=False,
    )
