"""Suggestions for names that were nearly right."""

from collections.abc import Iterable

LONGEST_NAME = 64
"""Characters of the longest name that may be declared."""


def brief(text: str) -> str:
    """Cut a text that is too long for a sentence."""
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 3]}..."


def near(name: str, candidates: Iterable[str], otherwise: str = "check the spelling") -> str:
    """Say which known names are close to ``name``, or ``otherwise`` where none is."""
    from difflib import get_close_matches

    if len(name) > LONGEST_NAME:
        return otherwise
    known = sorted(set(candidates))
    folded = {k.casefold().replace("-", "_"): k for k in known}
    close = [folded[m] for m in get_close_matches(name.casefold().replace("-", "_"), folded, n=3, cutoff=0.7)]
    if not close:
        # The last part of a dotted name is what people remember.
        close = [k for k in known if "." in k and k.rsplit(".", 1)[1] == name.rsplit(".", 1)[-1]][:3]
    return f"did you mean {listed(close)}?" if close else otherwise


def listed(words: Iterable[str], last: str = "or") -> str:
    """Join words as a sentence does."""
    all_words = list(words)
    if len(all_words) < 2:
        return "".join(all_words)
    return ", ".join(all_words[:-1]) + f" {last} {all_words[-1]}"
