"""Replicates: which runs to make again, in new batches."""

from __future__ import annotations

import numpy as np

from doe.errors import PlanError
from doe.layouts.extending.frame import make_frame, new_batches, samples_per_batch
from doe.layouts.extending.linking import best_units, repeatable_units
from doe.layouts.extending.measure import average_variance, yardstick
from doe.layouts.extending.request import Extension, Purpose, way_for_a_model
from doe.layouts.extending.searching import NewRuns, as_layout
from doe.layouts.request import LayoutRuns

# Replicates where nobody says how many: four degrees of freedom make a pure error worth its name
# (common practice, no source).
_DEFAULT = 4


def make(ask: Extension) -> LayoutRuns:
    """Repeat the runs, or whole batches, whose repetition sharpens the prediction most.

    Raises:
        PlanError: No run that counts can be repeated inside the region, or the batches asked for
            can't be filled.
    """
    units = repeatable_units(ask)
    per = samples_per_batch(ask)
    if not units:
        raise PlanError(
            "no run that counts can be made again inside the brief's region",
            where="--for replicates",
            do=f"Extend for a model instead: {way_for_a_model(ask)}.",
        )
    sizes = new_batches(ask, _DEFAULT * per)
    if any(size != per for size in sizes):
        raise PlanError(
            f"{sum(sizes)} runs are no whole batches of {per} samples each",
            where="--runs",
            allowed=f"a multiple of {per}",
        )
    stick, frame = yardstick(ask), make_frame(ask, sizes)
    free = np.zeros((0, len(ask.coding.axes)))
    chosen = best_units(ask, stick, frame, len(sizes), free)
    values = np.vstack([units[i] for i in chosen])
    variance = average_variance(ask, stick, frame, np.vstack([ask.held, values]))
    new = NewRuns(frame=frame, values=values, n_links=len(values), variance=variance)
    reason = (
        f"Of the {len(units)} different {'batches' if ask.shared else 'settings'} so far, those "
        f"are made again whose repetition sharpens the prediction of the {ask.model} model most; "
        "each once before any twice. They link the rounds as well."
    )
    return as_layout(ask, stick, new, "replicate", (reason,))


PURPOSE = Purpose(
    name="replicates",
    title="Replicates",
    for_="Pure error is missing, or weak where it matters.",
    make=make,
)
