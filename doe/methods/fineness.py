"""Test methods of the family: fineness."""

from __future__ import annotations

from doe.methods.method import Method

METHODS: tuple[Method, ...] = ()
