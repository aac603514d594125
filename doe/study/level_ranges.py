"""The range of a factor at each level of the choice that its `[[factor.range]]` entries name."""

from __future__ import annotations

from collections.abc import Mapping

from doe.study.brief import Factor, Study
from doe.study.names import fold, match_name


def own_ranges(study: Study, factor: Factor) -> Mapping[str, tuple[float, float] | None]:
    """Give the range of a factor by level of its choice, None where the level lacks it.

    A level without an entry lacks the factor; only the dose of a package that states its own low
    and high keeps them there, as a package without a dose cannot be weighed.

    Returns:
        One entry for each level, in the order of the choice; empty for a factor of one range, and
        where the entries name no choice of the brief.
    """
    named = next((name for one in factor.ranges for name in one.when), "")
    choice = match_name(named, [one.name for one in study.factors if one.kind == "choice"])
    if choice is None:
        return {}
    levels = next(one.levels for one in study.factors if one.name == choice)
    entries = {
        fold(level): (one.low, one.high) for one in factor.ranges for level in one.when.values()
    }
    general = factor.ends if _keeps_its_ends(study, factor) else None
    return {str(level): entries.get(fold(str(level)), general) for level in levels}


def may_lack(study: Study, factor: Factor) -> bool:
    """Tell whether some level of its choice lacks a factor."""
    return any(ends is None for ends in own_ranges(study, factor).values())


def _keeps_its_ends(study: Study, factor: Factor) -> bool:
    is_stated = factor.low is not None and factor.high is not None
    return factor.role == "dose" and bool(study.additives) and is_stated
