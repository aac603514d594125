"""Test methods of the family: viscosity."""

from __future__ import annotations

from doe.methods.method import Method

METHODS: tuple[Method, ...] = ()
