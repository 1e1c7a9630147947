"""From a network to settings: intervals, search, and the independent check."""
