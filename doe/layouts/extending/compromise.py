"""Near the compromise: runs that sharpen the surface where the decision will fall."""

from __future__ import annotations

from doe.errors import PlanError
from doe.layouts.extending.measure import yardstick
from doe.layouts.extending.request import Extension, Purpose
from doe.layouts.extending.searching import as_layout, search_round, split_budget
from doe.layouts.request import LayoutRuns
from doe.study.finding import Finding

_DEFAULT = 4
# An area that spans so much of the region is no compromise to speak of.
_WIDE = 0.5


def make(ask: Extension) -> LayoutRuns:
    """Place runs so that the prediction is surest over the area of the request.

    Raises:
        PlanError: There is no area, or the budget is too small.
    """
    if ask.area is None or not len(ask.area):
        raise PlanError(
            "there is no compromise yet whose surroundings could be sharpened",
            where="--for compromise",
            do="Enter the readings, then 'millbase fit' and 'millbase choose'.",
        )
    stick = yardstick(ask)
    sizes, links = split_budget(ask, _DEFAULT, 1)
    new = search_round(ask, stick, sizes, links)
    reason = (
        f"The new runs make the prediction of the {ask.model} model surest over {ask.area_words}, "
        "not over the whole region."
    )
    return as_layout(ask, stick, new, "compromise", (reason,), findings=_on_spread(ask.area_spread))


def _on_spread(spread: float) -> tuple[Finding, ...]:
    """Say that there is no compromise yet where nearly anything could still be the best."""
    if spread < _WIDE:
        return ()
    return (
        Finding(
            level="caution",
            what=f"The models are so unsure that settings over {spread:.0%} of the region could "
            "still be the best: the new runs stand nearly everywhere.",
            evidence={"part of the region": spread},
            advice="A round for the model or for replicates may tell more at this stage.",
        ),
    )


PURPOSE = Purpose(
    name="compromise",
    title="Runs near the compromise",
    for_="The region of the decision is known, and the surface there is not sure enough.",
    make=make,
)
