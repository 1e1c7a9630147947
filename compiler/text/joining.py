"""Words in a row, for messages on every floor."""

from collections.abc import Iterable


def listed(words: Iterable[str], last: str = "or") -> str:
    """Join words as a sentence does."""
    all_words = list(words)
    if len(all_words) < 2:
        return "".join(all_words)
    return ", ".join(all_words[:-1]) + f" {last} {all_words[-1]}"
