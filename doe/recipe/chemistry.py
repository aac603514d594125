"""What the chemistry of a brief gives to think about, before a plan is made: advice, never a bar.

Each adviser is one small function, and its finding says its reason, its numbers, and where the rule
comes from with its mark ("read", "from memory", "common practice, no source").
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from doe.model.region import Region
from doe.recipe.advice_on_film import divalent_ions, permanent_ion
from doe.recipe.advice_on_grind import (
    ammonia_loss,
    hot_mill,
    ph_after_the_grind,
    resin_in_grind,
    tip_speed,
)
from doe.recipe.advice_on_surface import (
    dose_of_nothing,
    isoelectric_ph,
    milled_flakes,
    monolayer,
    poor_anchor,
)
from doe.recipe.chemistry_scene import Scene
from doe.study.brief import Study
from doe.study.finding import Finding

Adviser = Callable[[Scene], Iterator[Finding]]

# The registry: an adviser is one function and one line here, in the order in which they are told.
ADVISERS: tuple[Adviser, ...] = (
    isoelectric_ph,
    monolayer,
    dose_of_nothing,
    poor_anchor,
    milled_flakes,
    resin_in_grind,
    ph_after_the_grind,
    ammonia_loss,
    hot_mill,
    tip_speed,
    permanent_ion,
    divalent_ions,
)


def chemistry_findings(study: Study, region: Region | None = None) -> tuple[Finding, ...]:
    """Ask every adviser about a brief.

    Args:
        study: The brief.
        region: What it allows, so that ends are those that are reached; None to go by the ranges.

    Returns:
        Notes and cautions; none of them stops anything. What is read out of names is told as such.

    Example:
        >>> brief = {"study": {"title": "t"}, "pigment": {"name": "pearl", "kind": "effect"},
        ...          "factor": [{"name": "grind time", "low": 5, "high": 20}]}
        >>> [finding.level for finding in chemistry_findings(Study.model_validate(brief))]
        ['caution']
    """
    scene = Scene(study=study, region=region)
    return tuple(finding for advise in ADVISERS for finding in advise(scene))
