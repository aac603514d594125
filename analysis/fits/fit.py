"""A fitted model as a value, sufficient for everything that comes after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analysis.fits.kenward_roger import KenwardRoger
from analysis.fits.likelihood.parts import CountPart, OrdinalPart
from analysis.fits.order_slope import OrderSlope
from analysis.fits.with_controls import WithControls
from doe.model.coding import Coding
from doe.model.matrix import Column
from doe.model.terms import Model
from doe.study.settings import FloatArray, frozen_array

Family = Literal["gaussian", "censored", "ordinal", "count"]
Method = Literal["ols", "reml", "ml"]
ValueIs = Literal["mean", "median", "probability"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The scale a response is fitted on.

    Attributes:
        name: identity, log (natural), logit, square root or power (Box-Cox).
        power: λ of `(y^λ − 1)/λ`, for `power` only.
        bounds: Ends of the response, response unit, for `logit` only.
    """

    name: Literal["identity", "log", "logit", "square root", "power"] = "identity"
    power: float | None = None
    bounds: tuple[float, float] | None = None

    @property
    def value_is(self) -> ValueIs:
        """What a reading taken back is: the mean only where nothing was transformed."""
        return "mean" if self.name == "identity" else "median"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """One response, modelled; all numbers on the fitted scale unless they say otherwise.

    Attributes:
        response: Name of the response.
        unit: Its unit, before any transformation.
        per: The stage it belongs to.
        scale: The scale it is fitted on.
        coding: How settings were coded, so that new ones are coded the same way.
        model: The terms.
        columns: The p columns of the model matrix, terms with the levels of named choices.
        coefficients: Shape (p,), surface only; blocks and controls are beside it.
        covariance: Shape (p, p), of the coefficients.
        coefficient_df: Shape (p,), degrees of freedom of each standard error.
        components: Variance of each stratum by stage name; `residual` is the lowest; 0 where none
            was found, NaN where the runs cannot tell it.
        component_df: Degrees of freedom of each component.
        block_effects: Estimate of each fixed block level, sum to zero; empty without blocks.
        control_means: Mean and standard error of each control, fitted scale.
        with_controls: Coefficients and means of controls with their joint covariance; None without
            controls.
        n: Runs that the surface rests on, controls included.
        runs: Their numbers.
        repeats: Readings averaged in one value of a run, as planned (the rounded median count).
        family: Distribution of the response.
        method: Estimator.
        adjustment: What tests and degrees of freedom of contrasts need besides, by REML only;
            `covariance` is then the adjusted one. Ask `analysis.fits.contrasts`.
        by_reading: Whether single readings were fitted, so that `residual` is their variance and
            runs have a component of their own.
        classes: Of a rating: the surface is then the logit of the probability of the accepted ones.
        counts: Of a count: the surface is then the logarithm of its mean.
        drift: Slope along the order as done that was fitted beside the surface; None where nothing
            is corrected. The surface, and every mean, stands at its middle.
    """

    response: str
    unit: str
    per: str
    scale: Scale
    coding: Coding
    model: Model
    columns: tuple[Column, ...]
    coefficients: FloatArray
    covariance: FloatArray
    coefficient_df: FloatArray
    components: Mapping[str, float]
    component_df: Mapping[str, float]
    block_effects: Mapping[str, float] = field(default_factory=dict)
    control_means: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    with_controls: WithControls | None = None
    n: int
    runs: tuple[int, ...]
    repeats: int = 1
    family: Family = "gaussian"
    method: Method = "ols"
    adjustment: KenwardRoger | None = None
    by_reading: bool = False
    classes: OrdinalPart | None = None
    counts: CountPart | None = None
    drift: OrderSlope | None = None

    def __post_init__(self) -> None:
        p = len(self.columns)
        if self.coefficients.shape != (p,) or self.covariance.shape != (p, p):
            raise ValueError(f"{p} columns, coefficients of shape {self.coefficients.shape}")
        for name in ("coefficients", "covariance", "coefficient_df"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def value_is(self) -> ValueIs:
        """What a prediction taken back is, in a middling batch.

        A count's scale is the link of its mean, a rating's that of a probability: neither makes a
        median of it. Readings off the scale change nothing: the curve they are fitted by is normal
        on the scale.
        """
        if self.counts is not None:
            return "mean"
        return "probability" if self.classes is not None else self.scale.value_is

    @property
    def residual_sd(self) -> float:
        """Standard deviation within the lowest stratum."""
        return float(self.components["residual"] ** 0.5)

    @property
    def new_run_weights(self) -> dict[str, float]:
        """How much of each component one new run carries: 1, of readings its part in the mean."""
        of_reading = 1.0 / max(self.repeats, 1) if self.by_reading else 1.0
        return {name: of_reading if name == "residual" else 1.0 for name in self.components}

    @property
    def new_run_variance(self) -> float:
        """Variance of one new run about its true mean: all strata together."""
        weights = self.new_run_weights
        return float(sum(weights[name] * value for name, value in self.components.items()))

    @property
    def total_sd(self) -> float:
        """Standard deviation of one new run: all strata together."""
        return float(self.new_run_variance**0.5)
