"""How hard the terms of a model are to tell apart in the runs at hand.

With a package the numbers are those of L-pseudo-components: in real proportions a small region
inflates both without harm to any prediction.

Source:
    Marquardt (1970), Technometrics 12, 591-612; for blends Cornell (2002), Experiments with
    Mixtures, 3rd ed., section 5.12 (uncentred, as there is no intercept).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg

from analysis.fits.estimable import surface_columns
from analysis.fits.least_squares import scale_columns
from doe.model.coding import Coding
from doe.model.pseudo import lowest_shares, to_pseudo
from doe.model.terms import INTERCEPT, Model, is_blend
from doe.study.settings import FloatArray


def vif(
    settings: FloatArray, control: Sequence[str | None], coding: Coding, model: Model
) -> FloatArray:
    """Give the variance inflation of each column, shape (s,); NaN for the intercept.

    Args:
        settings: As made, shape (n, k), lab units.
        control: Control of each run; controls are left out.
        coding: The settings' coding.
        model: The terms.
    """
    X = _planned_surface(settings, control, coding, model)
    has_intercept = INTERCEPT in model.terms
    centred = X - X.mean(axis=0) if has_intercept else X
    scaled, scale = scale_columns(X)
    R_inverse = linalg.solve_triangular(
        linalg.qr(scaled, mode="r")[0][: X.shape[1]], np.eye(X.shape[1])
    )
    spread = ((R_inverse / scale[:, None]) ** 2).sum(axis=1)
    inflation: FloatArray = spread * (centred**2).sum(axis=0)
    if has_intercept:
        inflation[model.terms.index(INTERCEPT)] = np.nan
    return inflation


def condition(
    settings: FloatArray, control: Sequence[str | None], coding: Coding, model: Model
) -> float:
    """Give the condition number of the model matrix, columns scaled to equal length."""
    X = _planned_surface(settings, control, coding, model)
    singular = linalg.svdvals(X / np.linalg.norm(X, axis=0))
    return float(singular[0] / singular[-1])


def _planned_surface(
    settings: FloatArray, control: Sequence[str | None], coding: Coding, model: Model
) -> FloatArray:
    own = np.array([name is None for name in control])
    values = np.array(settings[own])
    if is_blend(coding):
        shares = [coding.index(axis.name) for axis in coding.shares]
        values[:, shares] = to_pseudo(values[:, shares], lowest_shares(coding))
    return surface_columns(values, [None] * int(own.sum()), coding, model)
