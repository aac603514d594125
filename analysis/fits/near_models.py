"""Models that are nearly as good as the best, their weights, and what they say on average.

Information beside the fit: no prediction of a study is averaged over models.

Source:
    Burnham and Anderson (2002), Model Selection and Multimodel Inference, 2nd ed., section 2.9 for
    weights, section 4.3.2, equation (4.9), for the error of an average.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.fits.least_squares import DependentColumnsError, solve_least_squares
from analysis.fits.ranking import Ranked
from analysis.fits.subsets import WeighedRows
from doe.model.coding import Coding
from doe.model.matrix import model_matrix
from doe.model.terms import Model
from doe.study.settings import FloatArray, frozen_array

# Burnham and Anderson (2002), section 2.6: up to 2 substantial support, 4 to 7 considerably less.
WITHIN = 7.0
# More are of no use to a reader, and each is fitted.
MOST = 50


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearModel:
    """One of the models within reach of the best.

    Attributes:
        model: Its terms.
        aicc: Its AICc.
        weight: exp(−Δ/2) as a part of the sum over all models listed.
        coefficients: Of the surface, fitted scale, shape (s,).
        covariance: Their covariance; where runs share strata at the best model's variance ratios
            and without what Kenward and Roger add. Shape (s, s), NaN without degrees of freedom.
    """

    model: Model
    aicc: float
    weight: float
    coefficients: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        for name in ("coefficients", "covariance"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Averaged:
    """What near models say of settings, fitted scale.

    Attributes:
        value: Weighted mean of their predictions, shape (m,).
        std_error: Its error, the choice among the models allowed for, shape (m,).
    """

    value: FloatArray
    std_error: FloatArray


def near_models(
    ranked: Ranked, *, within: float = WITHIN, most: int = MOST
) -> tuple[NearModel, ...]:
    """List the models whose AICc is at most so far above the lowest, with weights that sum to 1."""
    lowest = ranked.models[0][1] if ranked.models else 0.0
    solved = []
    for model, aicc in ranked.models[:most]:
        if aicc - lowest <= within:
            known = _solve(ranked.rows, model)
            if known is not None:
                solved.append((model, aicc, float(np.exp((lowest - aicc) / 2)), *known))
    total = sum(part for _, _, part, _, _ in solved)
    return tuple(
        NearModel(model=model, aicc=aicc, weight=part / total, coefficients=b, covariance=V)
        for model, aicc, part, b, V in solved
    )


def average_at(near: Sequence[NearModel], coding: Coding, settings: FloatArray) -> Averaged:
    """Average the predictions of near models.

    Args:
        near: The models; at least one.
        coding: The settings.
        settings: Shape (m, k), lab units.
    """
    values, variances = [], []
    for one in near:
        rows = model_matrix(settings, coding, one.model)
        values.append(rows @ one.coefficients)
        variances.append(np.einsum("ij,jk,ik->i", rows, one.covariance, rows))
    weights = np.array([one.weight for one in near])
    value = weights @ np.array(values)
    each = np.sqrt(np.array(variances) + (np.array(values) - value) ** 2)
    return Averaged(value=value, std_error=weights @ each)


def _solve(rows: WeighedRows, model: Model) -> tuple[FloatArray, FloatArray] | None:
    surface = rows.columns(model.terms)
    s = surface.shape[1]
    try:
        solved = solve_least_squares(np.hstack([surface, rows.beside]), rows.y)
    except DependentColumnsError:
        return None
    return solved.coefficients[:s], solved.covariance[:s, :s]
