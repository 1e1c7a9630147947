"""The language server: what ``meltwright check`` finds, as one types, and what an editor asks about a text."""
