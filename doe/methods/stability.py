"""Test methods of the family: stability."""

from __future__ import annotations

from doe.methods.method import Method

METHODS: tuple[Method, ...] = ()
