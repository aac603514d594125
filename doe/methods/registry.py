"""All test methods, family by family: the one list that `from = "…"` of a brief chooses from."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from doe.methods import colour, fineness, stability, viscosity, water
from doe.methods.method import Method
from doe.study.names import fold

# A family is a module with METHODS and one entry here.
_FAMILIES = (viscosity, colour, fineness, water, stability)

METHODS: Mapping[str, Method] = MappingProxyType(
    {method.name: method for family in _FAMILIES for method in family.METHODS}
)


def find_method(name: str) -> Method | None:
    """Find a method by its name, case and blanks aside; None where there is none."""
    wanted = fold(name)
    return next((method for known, method in METHODS.items() if fold(known) == wanted), None)
