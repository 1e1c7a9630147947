"""The commands, a module each: ``register`` adds one to the parser; what it needs is loaded when it runs."""
