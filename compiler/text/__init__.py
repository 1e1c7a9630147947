"""Files, places and diagnostics."""
