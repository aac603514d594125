"""A larger model: runs that let it be estimated, beside those that are done."""

from __future__ import annotations

from doe.layouts.extending.frame import make_frame
from doe.layouts.extending.measure import rank_of, yardstick
from doe.layouts.extending.request import Extension, Purpose
from doe.layouts.extending.searching import as_layout, search_round, split_budget
from doe.layouts.request import LayoutRuns
from doe.model.matrix import model_columns
from doe.model.terms import Model

# Degrees of freedom that stay for the error where nobody says how many runs: below four, limits of
# confidence are half again as wide as they need be.
_ERROR_DF = 4
# Runs that sharpen a model which can be estimated already, where nobody says how many.
_SHARPEN = 4


def make(ask: Extension) -> LayoutRuns:
    """Add the runs with which the model of the request is told best.

    Raises:
        PlanError: The budget is smaller than what the model and the links need.
    """
    stick = yardstick(ask)
    p = len(model_columns(stick.model, ask.coding))
    known = rank_of(ask, stick.model, make_frame(ask, ()), ask.held)
    need = max(p - known, 1)
    wanted = need if known < p else _SHARPEN
    wanted = max(wanted, _ERROR_DF - (len(ask.held) - p))
    sizes, links = split_budget(ask, wanted, need)
    new = search_round(ask, stick, sizes, links)
    return as_layout(ask, stick, new, "design", (_reason(ask, stick.model, p, known),))


def _reason(ask: Extension, model: Model, p: int, known: int) -> str:
    if known >= p:
        return (
            f"The runs so far can estimate the {model.name} model ({p} coefficients) already; the "
            "new ones are placed where they sharpen it most over the region."
        )
    return (
        f"The runs so far tell {known} of the {p} coefficients of the {model.name} model; the new "
        "ones are placed where, beside those, they tell the whole of it best over the region."
    )


PURPOSE = Purpose(
    name="model",
    title="Runs for a larger model",
    for_="The model of the rounds before does not describe the surface.",
    make=make,
)
