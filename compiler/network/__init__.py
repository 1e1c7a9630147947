"""A profile on a machine, lowered to a constraint network."""
