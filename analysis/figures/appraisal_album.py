"""Every figure of an appraisal, in one order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.figures.appraisal_losses import draw_losses
from analysis.figures.appraisal_power import draw_power
from analysis.figures.appraisal_relations import draw_relations
from analysis.figures.appraisal_shares import draw_shares
from analysis.figures.appraisal_sizes import draw_sizes
from analysis.figures.appraisal_subject import Pictured
from analysis.figures.drawn import Drawn

__all__ = ["Pictured", "draw_appraisal"]


def draw_appraisal(plans: Sequence[Pictured]) -> tuple[Drawn, ...]:
    """Draw what there is to draw of one plan, or of two side by side.

    Args:
        plans: One or two plans, held against the same model.

    Returns:
        Figures of both plans together first, then those of each; none of a plan that can't
        estimate the model.
    """
    told = [one for one in plans if one.appraisal.is_estimable]
    if not told:
        return ()
    drawn = [draw_shares(told), draw_power(told)]
    for place, one in enumerate(plans):
        if not one.appraisal.is_estimable:
            continue
        which = one.name if len(plans) > 1 else ""
        own = [draw_relations(one, which=which), draw_losses(one, which=which)]
        if len(one.sizes) > 1:
            own.append(draw_sizes(one, which=which))
        # A later comparison overwrites the files of an earlier one, whatever its name.
        drawn += [replace(one, name=f"{one.name}-second-plan") if place else one for one in own]
    return tuple(drawn)
