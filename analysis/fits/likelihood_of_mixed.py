"""The plain likelihood of rows in strata, by which models are compared.

Restricted likelihoods of models with different columns do not compare, as each leaves out what its
own columns hold; so the kept model is fitted by REML and chosen by this.

Source:
    Hurvich and Tsai (1989), Biometrika 76, 297-307, for the correction; DESIGN.md, section 5,
    "Kenward-Roger": variance components are counted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.fits.least_squares import solve_least_squares
from analysis.fits.variance_model import told_model
from analysis.fits.variance_search import highest
from doe.model.strata import Strata
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlainLikelihood:
    """A model at its highest likelihood.

    Attributes:
        log_likelihood: Natural logarithm, of the rows as fitted.
        n: Rows.
        parameters: Coefficients and variance components.
        ratios: Variance ratios there.
    """

    log_likelihood: float
    n: int
    parameters: int
    ratios: FloatArray

    def aicc(self, log_jacobian: float) -> float | None:
        """Give the corrected criterion of the readings before transformation; None if too few."""
        k, room = self.parameters, self.n - self.parameters - 1
        total = self.log_likelihood + log_jacobian
        if room <= 0 or not np.isfinite(total):
            return None
        return -2 * total + 2 * k + 2 * k * (k + 1) / room


def maximum_likelihood(X: FloatArray, y: FloatArray, strata: Strata) -> PlainLikelihood:
    """Find the highest likelihood of y by the columns of X and the random strata.

    A stratum that the rows cannot tell beside these columns stays at 0 and counts all the same.

    Raises:
        DependentColumnsError: The columns are not independent.
    """
    plain = solve_least_squares(X, y)
    n, r = len(y), len(strata.random)
    units = [one.unit for one in strata.random]
    parameters = X.shape[1] + r + 1
    if plain.rss <= 0:
        return PlainLikelihood(
            log_likelihood=float("nan"), n=n, parameters=parameters, ratios=np.zeros(r)
        )
    model, untold = told_model(plain, units)
    optimum = highest(model, "ml")
    ratios = np.zeros(r)
    ratios[[k for k in range(r) if k not in untold]] = optimum.ratios
    # At its top −½ (ln |V| + n ln(quad/n)) − n/2 (ln 2π + 1).
    value = optimum.height.value - 0.5 * n * (np.log(2 * np.pi) + 1)
    return PlainLikelihood(log_likelihood=float(value), n=n, parameters=parameters, ratios=ratios)


def profile_of(X: FloatArray, strata: Strata) -> Callable[[FloatArray], float]:
    """Give the highest log-likelihood, up to a constant, as a function of the readings.

    The rows' geometry is worked out once, so that many transformations of them are quick.

    Args:
        X: Shape (n, p), independent columns.
        strata: Of the rows.
    """
    plain = solve_least_squares(X, np.arange(float(len(X))))
    model, _ = told_model(plain, [one.unit for one in strata.random])
    last: list[FloatArray] = []

    def height(z: FloatArray) -> float:
        left = z - plain.basis @ (plain.basis.T @ z)
        if float(left @ left) <= 0:
            return float("inf")
        found = highest(model.of_residuals(left), "ml", near=last[-1] if last else None)
        # Transformations come in small steps, so that one summit lies near the one before.
        last[:] = [found.ratios]
        return found.height.value

    return height
