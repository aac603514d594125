"""The arithmetic of every test method by its name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analysis.lab.computing import colour, fineness, stability, viscosity, water
from analysis.lab.raw_unit import Compute

_FAMILIES = (viscosity, colour, fineness, water, stability)

COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {name: compute for family in _FAMILIES for name, compute in family.COMPUTE.items()}
)
