"""The language as data: the grammar and its reference."""
