"""Flow curves: four models of shear stress over shear rate, and what a fit of one says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from scipy import stats

from doe.study.settings import FloatArray

FlowModel = Literal["power law", "Bingham", "Casson", "Herschel-Bulkley"]
FLOW_MODELS: tuple[FlowModel, ...] = get_args(FlowModel)
# `even`: every stress is as sure as any other, in Pa. `relative`: in proportion to itself.
Errors = Literal["relative", "even"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowFit:
    """One model fitted to one flow curve.

    Attributes:
        model: Which one.
        yield_stress: τ0, Pa; 0 in a power law.
        consistency: Pa·sⁿ: K, or the plastic viscosity η (Pa·s) of Bingham and Casson.
        index: n; 1 for Bingham and Casson.
        yield_error: Standard error of τ0, Pa; NaN where it was not estimated.
        consistency_error: Standard error of the consistency.
        index_error: Standard error of n; NaN where it is given by the model.
        yield_was_negative: Whether the least squares lay at a yield stress below 0: then it was
            set to 0 and the rest fitted again.
        errors: Which errors were taken.
        residual_sd: Of ln τ, or of τ in Pa.
        df: Degrees of freedom of it.
        aicc: Corrected Akaike criterion; infinite where the shear rates are too few for it.
        n_rates: Shear rates fitted.
        lowest_rate: Least of them, 1/s.
        highest_rate: Greatest, 1/s.
    """

    model: FlowModel
    yield_stress: float
    consistency: float
    index: float
    yield_error: float
    consistency_error: float
    index_error: float
    yield_was_negative: bool
    errors: Errors
    residual_sd: float
    df: int
    aicc: float
    n_rates: int
    lowest_rate: float
    highest_rate: float

    def stress(self, rate: FloatArray) -> FloatArray:
        """Give the stress (Pa) of the fitted model at shear rates (1/s)."""
        return flow_stress(self.model, rate, (self.yield_stress, self.consistency, self.index))

    def apparent_viscosity(self, rate: float) -> float:
        """Give stress over rate at a shear rate (1/s), Pa·s."""
        return float(self.stress(np.array([rate]))[0]) / rate

    def yield_interval(self, level: float = 0.95) -> tuple[float, float]:
        """Give an interval of the yield stress, Pa; its low end is never below 0."""
        if not math.isfinite(self.yield_error) or self.df < 1:
            return (math.nan, math.nan)
        half = float(stats.t.ppf(0.5 + level / 2.0, self.df)) * self.yield_error
        return (max(0.0, self.yield_stress - half), self.yield_stress + half)


def flow_stress(
    model: FlowModel, rate: FloatArray, parameters: tuple[float, float, float]
) -> FloatArray:
    """Give the shear stress of a model.

    Args:
        model: Which one.
        rate: Shear rate, 1/s, shape (n,), above 0.
        parameters: Yield stress (Pa), consistency (Pa·sⁿ) and index; the yield stress does nothing
            in a power law, the index nothing in Bingham and Casson.

    Returns:
        Stress, Pa, shape (n,).

    Source:
        Macosko (1994), Rheology; Patton (1979), Paint Flow and Pigment Dispersion; from memory.

    Example:
        >>> flow_stress("Casson", np.array([100.0]), (5.0, 0.2, 1.0)).round(6)
        array([45.])
    """
    yield_stress, consistency, index = parameters
    if model == "power law":
        stress: FloatArray = consistency * rate**index
    elif model == "Bingham":
        stress = yield_stress + consistency * rate
    elif model == "Casson":
        stress = (math.sqrt(yield_stress) + np.sqrt(consistency * rate)) ** 2
    else:
        stress = yield_stress + consistency * rate**index
    return stress


def interpolated_viscosity(rate: FloatArray, stress: FloatArray, at: float) -> float:
    """Read the apparent viscosity between two measured rates, straight on log scales.

    Args:
        rate: Shear rate, 1/s, shape (n,), ascending.
        stress: Shear stress, Pa, shape (n,), above 0.
        at: Shear rate wanted, 1/s.

    Returns:
        Apparent viscosity, Pa·s; NaN outside the rates measured.
    """
    if not rate[0] <= at <= rate[-1]:
        return math.nan
    return math.exp(float(np.interp(math.log(at), np.log(rate), np.log(stress)))) / at
