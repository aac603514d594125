"""Whether what a brief allows can be weighed at all: looked at before any card is printed."""

from __future__ import annotations

from collections.abc import Iterator

from doe.errors import PlanError
from doe.model.coding import settings_table
from doe.model.region import Region
from doe.model.vertices import region_vertices
from doe.recipe.weigh import weigh_batch
from doe.study.brief import Study
from doe.study.finding import Finding

# Additives come at 20 to 100 % active; below one per cent a fraction was typed for a percentage.
LEAST_ACTIVE_PERCENT = 1.0


def weighing_findings(study: Study, region: Region) -> tuple[Finding, ...]:
    """Try the recipes at the corners of the region, and doubt odd contents."""
    return (*_odd_contents(study), *_impossible_corner(study, region))


def _odd_contents(study: Study) -> Iterator[Finding]:
    for additive in study.additives:
        if additive.active_percent < LEAST_ACTIVE_PERCENT:
            yield Finding(
                level="caution",
                what=f"'{additive.name}' is said to be {additive.active_percent:g} % active.",
                evidence={"active, %": additive.active_percent},
                advice="If a fraction was meant, write "
                f"active_percent = {100 * additive.active_percent:g}.",
            )


def _impossible_corner(study: Study, region: Region) -> Iterator[Finding]:
    if study.millbase is None or study.dose is None:
        return
    corners = settings_table(region_vertices(region), region.coding)
    for i in range(len(corners)):
        try:
            weigh_batch(study, corners.row(i))
        except PlanError as error:
            fault = error.faults[0]
            yield Finding(
                level="stop",
                what=f"At a corner of the region no batch can be weighed: {fault.what}.",
                evidence={k: v for k, v in corners.row(i).items() if v is not None},
                advice=fault.do,
            )
            return
