"""Which runs to make: one family of layouts a module, one registry."""
