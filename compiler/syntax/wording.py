"""Words for tokens."""

from collections.abc import Sequence

from .tokens import Token


def token_words(token: Token) -> str:
    """Say what a token is, as it was written."""
    text = str(token)
    if token.type == "STRING":
        return "the text " + (text if len(text) <= 30 else text[:26] + '..."')
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"


def head_words(tokens: Sequence[Token]) -> str:
    """Say what a head declares."""
    return " ".join(str(t) for t in tokens[:2])


def shown(words: Sequence[str]) -> str:
    """Show the first words of a line."""
    return " ".join(word if len(word) <= 40 else f"{word[:37]}..." for word in words[:5])


def listed(words: Sequence[str]) -> str:
    """Join alternatives by commas and an or."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1] if words else ""
