"""What models nearly as good as the one in use say of settings that matter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.near_models import NearModel, average_at
from analysis.fits.scales import inverse
from doe.model.matrix import model_matrix
from doe.study.finding import Finding
from doe.study.settings import FloatArray


def near_models_finding(
    fit: Fit, near: Sequence[NearModel], row: FloatArray, where: str
) -> Finding | None:
    """Say where the average over near models differs from the model in use by more than its error.

    Args:
        fit: The model in use.
        near: Models within reach of it, itself among them.
        row: Settings, shape (k,), lab units.
        where: What these settings are, a phrase.

    Returns:
        None where they agree, or where there is nothing to average or no error to compare with.
    """
    if len(near) < 2 or not np.isfinite(row).all():
        return None
    averaged = average_at(near, fit.coding, row[None, :])
    f = model_matrix(row[None, :], fit.coding, fit.model)[0]
    own = float(f @ fit.coefficients)
    error = float(f @ fit.covariance @ f) ** 0.5
    gap, spread = float(averaged.value[0]) - own, float(averaged.std_error[0])
    # A NaN error is never passed.
    if not abs(gap) > error:
        return None
    shown = inverse(fit.scale, np.array([own, float(averaged.value[0])]))
    return Finding(
        level="caution",
        what=f"{where[0].upper()}{where[1:]} models that are nearly as good say something else: "
        "their weighted average lies further off than the error of the model in use.",
        evidence={
            "model in use": float(f"{shown[0]:.4g}"),
            "average of near models": float(f"{shown[1]:.4g}"),
            "near models": len(near),
            "error of the model in use, fitted scale": float(f"{error:.3g}"),
            "error with the choice of model, fitted scale": float(f"{spread:.3g}"),
        },
        advice="Take the wider error there, or make runs that tell these models apart.",
        source="Burnham and Anderson (2002), Model Selection and Multimodel Inference, section 4.3",
    )
