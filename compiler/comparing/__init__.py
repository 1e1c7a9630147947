"""Two sides of a change: what is edited, what changes on which machine, and which edit caused how much of it."""
