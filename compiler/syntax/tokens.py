"""Words of a text with their places."""

TWO_SIGNS = "+-"
"""The terminal of ``+-`` in a shape: it may turn out to be one sign or two."""


class Token(str):
    """A word of a text: ``type`` is its terminal, places count characters, ``column`` from 1.

    ``terminal`` is what counts for the shape of an item: a keyword has its own one, even where it is a name.
    """

    __slots__ = ("column", "end_pos", "start_pos", "terminal", "type")

    type: str
    terminal: str
    start_pos: int
    end_pos: int
    column: int

    def turned(self, type: str, text: str) -> "Token":
        """Give another token at the same place."""
        return token_at(type, type, text, self.start_pos, self.end_pos, self.column)


def token_at(type: str, terminal: str, text: str, start: int, end: int, column: int) -> Token:
    """Make a token."""
    token = str.__new__(Token, text)
    token.type, token.terminal = type, terminal
    token.start_pos, token.end_pos, token.column = start, end, column
    return token
