"""The next round of a study: one way of extending a module, one registry of purposes."""
