"""What the settings give through the recipe, without a reading."""

from __future__ import annotations

from doe.methods.method import Method

METHODS: tuple[Method, ...] = ()
