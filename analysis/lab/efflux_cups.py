"""Efflux cups: from drain time to kinematic viscosity, cup by cup."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from doe.methods.method import Mark
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Cup:
    """One cup: ν = slope · t − constant − per_time / t, with t in s and ν in mm²/s.

    Attributes:
        slope: mm²/s per second.
        constant: mm²/s.
        per_time: mm², the kinetic term.
        shortest_s: Least drain time for which the cup is meant.
        longest_s: Greatest one.
        standard: Where the relation stands.
        mark: How sure the relation is.
        mark_of_times: How sure the drain times are.
    """

    slope: float
    constant: float = 0.0
    per_time: float = 0.0
    shortest_s: float
    longest_s: float
    standard: str
    mark: Mark
    mark_of_times: Mark


def _ford(slope: float, offset_s: float, shortest_s: float, mark: Mark) -> Cup:
    # ν = slope (t − offset)
    return Cup(
        slope=slope,
        constant=slope * offset_s,
        shortest_s=shortest_s,
        longest_s=100.0,
        standard="ASTM D1200-94(2005)",
        mark=mark,
        mark_of_times="read",
    )


def _iso(slope: float, per_time: float) -> Cup:
    return Cup(
        slope=slope,
        per_time=per_time,
        shortest_s=30.0,
        longest_s=100.0,
        standard="ISO 2431",
        mark="from memory",
        mark_of_times="from memory",
    )


CUPS: Mapping[str, Cup] = MappingProxyType(
    {
        "ISO 3 mm": _iso(0.443, 200.0),
        "ISO 4 mm": _iso(1.37, 200.0),
        "ISO 5 mm": _iso(3.28, 220.0),
        "ISO 6 mm": _iso(6.90, 570.0),
        "Ford 1": _ford(0.49, 35.0, 55.0, "read"),
        "Ford 2": _ford(1.44, 18.0, 40.0, "read"),
        "Ford 3": _ford(2.31, 6.58, 20.0, "from memory"),
        "Ford 4": _ford(3.85, 4.49, 20.0, "from memory"),
        "Ford 5": _ford(12.1, 2.00, 20.0, "from memory"),
    }
)


def kinematic_viscosity(time_s: FloatArray, cup: Cup) -> FloatArray:
    """Turn drain times into kinematic viscosity, for liquids near enough to Newtonian.

    Args:
        time_s: Drain time, s, shape (n,), above 0.
        cup: The cup.

    Returns:
        Kinematic viscosity, mm²/s, shape (n,); NaN where the relation gives none, as the time is
        too short for the cup. Outside `shortest_s` to `longest_s` it is not meant to hold.

    Source:
        ISO 2431 and ASTM D1200, with the marks of each cup.

    Example:
        >>> kinematic_viscosity(np.array([50.0, 100.0]), CUPS["ISO 4 mm"])
        array([ 64.5, 135. ])
    """
    viscosity = cup.slope * time_s - cup.constant - cup.per_time / time_s
    found: FloatArray = np.where(viscosity > 0.0, viscosity, np.nan)
    return found


def is_meant_for(time_s: float, cup: Cup) -> bool:
    """Tell whether a drain time lies where the cup is meant to be used."""
    return cup.shortest_s <= time_s <= cup.longest_s
