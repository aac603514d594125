"""What `fit --json` says of forms beside a polynomial."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analysis.fits.forms.values import FormComparison


def form_object(found: FormComparison | None) -> dict[str, Any] | None:
    """Give the form in use, and what was compared; null where no factor has a form.

    `name` is null where the polynomial is in use; `shape` is then that of the best form tried.
    """
    if found is None:
        return None
    best = found.best.model.bend if found.best is not None else None
    return {
        "factor": best.factor if best is not None else None,
        "name": found.bend.form if found.bend is not None else None,
        "best": best.form if best is not None else None,
        "formula": best.kind.formula if best is not None else None,
        "shape": [asdict(one) for one in found.shape],
        "compared": [
            {
                "form": one.form,
                "aicc": one.aicc,
                "left_out_rmse": one.left_out_rmse,
                "why_not": one.why_not,
            }
            for one in found.compared
        ],
        "left_out": found.left_out,
        "better": found.better.form if found.better is not None else None,
    }
