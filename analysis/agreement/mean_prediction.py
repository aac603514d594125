"""What a model foretells of the mean of a round of batches: centre, variance, degrees of freedom.

Source:
    Variance of the mean of future units x'Φx + Σ_k c_k σ²_k, with Satterthwaite's degrees of
    freedom (1946), Biometrics Bulletin 2, 110-114; one stratum is the textbook interval for a mean
    of m future values, Draper and Smith (1998), Applied Regression Analysis, 3rd ed., section 3.1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.agreement.units import RoundUnits, kept_parts
from analysis.fits.fit import Fit, Scale
from analysis.fits.scales import inverse
from analysis.surface.predict import mean_df
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanPrediction:
    """Of one response, fitted scale.

    Attributes:
        response: Its name.
        centre: What is foretold.
        model_variance: Of that, from the coefficients.
        model_df: Degrees of freedom of that variance.
        components: Variance of each stratum in one value as planned to be read.
        new_variance: What the units of the round add to their mean.
        df: Degrees of freedom of the total.
    """

    response: str
    centre: float
    model_variance: float
    model_df: float
    components: Mapping[str, float]
    new_variance: float
    df: float

    @property
    def sd(self) -> float:
        """Standard deviation of the mean about what is foretold."""
        return float((self.model_variance + self.new_variance) ** 0.5)

    def half_width(self, level: float) -> float:
        """Give half the width of its interval by Student's t."""
        return t_times(level, self.df) * self.sd


def t_times(level: float, df: float) -> float:
    """Give the two-sided quantile of Student's t; of the normal where df has no end."""
    return float(stats.t.ppf(0.5 + level / 2.0, df))


def predict_mean(
    fit: Fit, row: FloatArray, units: RoundUnits, test_share: float | None = None
) -> MeanPrediction:
    """Foretell the mean of a round.

    Args:
        fit: The model.
        row: Settings, shape (k,), lab units.
        units: What is averaged.
        test_share: See `kept_parts`.
    """
    x = model_matrix(row[None, :], fit.coding, fit.model)
    weights = fit.new_run_weights
    kept = kept_parts(tuple(fit.components), units, test_share)
    components = {name: weights[name] * value for name, value in fit.components.items()}
    variance = float(np.einsum("np,pq,nq->n", x, fit.covariance, x)[0])
    model_df = float(mean_df(fit, x)[0])
    return MeanPrediction(
        response=fit.response,
        centre=float((x @ fit.coefficients)[0]),
        model_variance=variance,
        model_df=model_df,
        components=components,
        new_variance=float(sum(kept[name] * value for name, value in components.items())),
        df=_df(
            fit, x, variance, model_df, {name: kept[name] * weights[name] for name in components}
        ),
    )


def mean_interval(fit: Fit, prediction: MeanPrediction, level: float) -> tuple[float, float]:
    """Give the interval of the mean in the response's unit."""
    return interval_back(fit.scale, prediction.centre, prediction.half_width(level))


def interval_back(scale: Scale, centre: float, half: float) -> tuple[float, float]:
    """Take centre ± half, fitted scale, back to the response's unit, the lower end first."""
    low, high = np.sort(inverse(scale, np.array([centre - half, centre + half])))
    return float(low), float(high)


def _df(
    fit: Fit, x: FloatArray, model_variance: float, model_df: float, kept: Mapping[str, float]
) -> float:
    values = fit.components
    if fit.adjustment is not None:
        known = fit.adjustment
        own = np.array([kept[name] for name in known.strata])
        slopes = np.einsum("gp,kpq,gq->k", x, known.slopes, x) + own
        total = float(np.einsum("gp,pq,gq->", x, known.unadjusted, x))
        total += sum(kept[name] * values[name] for name in values)
        spread = float(slopes @ known.component_covariance @ slopes)
        return 2.0 * total**2 / spread if spread > 0.0 else float("inf")
    if len(values) == 1:
        return float(fit.component_df["residual"])
    # By likelihood: each part on its own degrees of freedom.
    spread = model_variance**2 / model_df
    total = model_variance
    for name, value in values.items():
        total += kept[name] * value
        if value > 0.0:
            spread += (kept[name] * value) ** 2 / fit.component_df[name]
    return total**2 / spread if spread > 0.0 else float("inf")
