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
    """Show a line, or as much of it as one reads at a glance."""
    line = " ".join(words)
    return line if len(line) <= 60 else f"{line[:57].rstrip()}..."


LATE_BRACE = "move the { up to the end of the head's line"
"""What mends a block whose brace stands on a line of its own."""
