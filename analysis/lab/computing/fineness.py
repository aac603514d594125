"""What each method of the family makes of raw readings: fineness."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analysis.lab.raw_unit import Compute

COMPUTE: Mapping[str, Compute] = MappingProxyType({})
