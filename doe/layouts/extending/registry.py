"""The purposes of a further round, by name."""

from __future__ import annotations

from collections.abc import Mapping

from doe.errors import PlanError
from doe.layouts.extending import (
    axial,
    checks,
    compromise,
    foldover,
    larger_model,
    repair,
    replicates,
)
from doe.layouts.extending.request import Purpose
from doe.study.names import match_name

PURPOSES: Mapping[str, Purpose] = {
    module.PURPOSE.name: module.PURPOSE
    for module in (repair, larger_model, axial, foldover, replicates, checks, compromise)
}


def find_purpose(name: str) -> Purpose:
    """Find a purpose by its name, case-blind.

    Raises:
        PlanError: There is none of that name.
    """
    found = match_name(name, tuple(PURPOSES))
    if found is None:
        raise PlanError(f"there is no purpose '{name}'", where="--for", allowed=", ".join(PURPOSES))
    return PURPOSES[found]
