"""What `fit --json` says of models beside the one in use."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analysis.fits.near_models import NearModel
from analysis.fits.reduction import Reduction
from doe.model.terms import term_label


def reduction_object(reduction: Reduction | None) -> dict[str, Any]:
    """Give the full model beside a reduced one, and the models nearly as good.

    `full` is null where nothing was left out, `near_models` where none were looked for.
    """
    if reduction is None:
        return {"full": None, "near_models": None}
    full = {**asdict(reduction.full), "dropped": list(reduction.dropped), "way": reduction.way}
    near = {
        "seen": reduction.seen,
        "complete": reduction.complete,
        "models": [_near_object(one) for one in reduction.near],
    }
    return {
        "full": full if reduction.dropped else None,
        "near_models": near if reduction.seen else None,
    }


def _near_object(one: NearModel) -> dict[str, Any]:
    return {
        "terms": [term_label(term) for term in one.model.terms],
        "aicc": one.aicc,
        "weight": one.weight,
    }
