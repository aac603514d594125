"""How far predicted values lie from the acceptance limits, as one smooth field to draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.surface.acceptance import AcceptLimit
from doe.study.settings import FloatArray


def limit_margin(limit: AcceptLimit, values: FloatArray) -> FloatArray:
    """Give what is left before one limit in units of the spread of the values shown.

    Scaling moves no border; it lets margins of different responses be compared.
    """
    margin = limit.margin(values)
    finite = margin[np.isfinite(margin)]
    spread = float(np.ptp(finite)) if finite.size else 0.0
    scaled: FloatArray = margin / (spread or 1.0)
    return scaled


def worst_margin(
    limits: Sequence[AcceptLimit], values: Mapping[str, FloatArray]
) -> FloatArray | None:
    """Give the least margin over all limits: negative where some limit is not met.

    Returns:
        Array of the values' shape; None where no limit is on a response with values.
    """
    margins = [
        limit_margin(limit, values[limit.response]) for limit in limits if limit.response in values
    ]
    return np.min(np.stack(margins), axis=0) if margins else None
