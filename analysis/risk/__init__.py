"""The chance that a production batch misses a limit."""
