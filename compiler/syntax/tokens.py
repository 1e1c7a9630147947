"""Words of a text with their places."""


class Token(str):
    """A word of a text: ``type`` is its terminal, places count characters, ``column`` from 1."""

    __slots__ = ("column", "end_pos", "start_pos", "type")

    type: str
    start_pos: int
    end_pos: int
    column: int

    def turned(self, type: str, text: str) -> "Token":
        """Give another token at the same place."""
        return token_at(type, text, self.start_pos, self.end_pos, self.column)


def token_at(type: str, text: str, start: int, end: int, column: int) -> Token:
    """Make a token."""
    token = str.__new__(Token, text)
    token.type, token.start_pos, token.end_pos, token.column = type, start, end, column
    return token
