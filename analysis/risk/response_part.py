"""One modelled response as risk sees it: its surface, its strata, what each belongs to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fits.fit import Fit
from analysis.risk.components import ComponentDraws, make_components
from doe.model.expansion import Expansion, compile_model
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray, frozen_array

# From the mill batch down: whatever comes first in a fit stands for the batch, what follows for
# drawing, drawdown and reading, the test.
BELOW_DAY = ("batch", "sample", "panel", "run", RESIDUAL)
BATCH, TEST, MODEL = "batch", "test", "models"
# Stands for the coefficients where a likelihood gives their covariance as a whole.
COEFFICIENTS = "coefficients"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitShare:
    """Which part of a component a new unit adds, and to which source it belongs."""

    component: int
    stratum: str
    source: str
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResponsePart:
    """One modelled response.

    Attributes:
        fit: The model.
        expansion: Its columns, made ready.
        strata: Names of its r components, the lowest last.
        components: The components as draws.
        spread: Shape (r, p, p): Cov(b) = Σ_k σ²_k spread_k, at the estimates the fit's own.
        units: What one new batch, tested, adds.
    """

    fit: Fit
    expansion: Expansion
    strata: tuple[str, ...]
    components: ComponentDraws
    spread: FloatArray
    units: tuple[UnitShare, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "spread", frozen_array(self.spread))

    @property
    def name(self) -> str:
        """Name of the response."""
        return self.fit.response

    @property
    def is_told_by_class(self) -> bool:
        """Whether its test has a scatter of its own, as ratings and counts have."""
        return self.fit.classes is not None or self.fit.counts is not None


def why_refused(fit: Fit) -> str:
    """Say why a fit cannot carry a probability; empty where it can."""
    untold = [name for name, value in fit.components.items() if not np.isfinite(value)]
    if untold:
        return (
            f"its runs cannot tell how far one {' or '.join(untold)} lies from another, so that "
            "nobody knows how the next one scatters"
        )
    if not np.isfinite(fit.covariance).all():
        return (
            f"its model has as many terms as its {fit.n} runs can carry, or its runs do not "
            "scatter: nothing is left to tell the scatter by"
        )
    if fit.component_df[RESIDUAL] <= 0:
        return "its model has as many terms as runs: nothing is left to tell the scatter by"
    return ""


def make_part(fit: Fit, test_share: float | None = None) -> ResponsePart:
    """Make a response ready to be drawn.

    Args:
        fit: Of the response; see `why_refused`.
        test_share: Part of the lowest component that is test, 0..1, where no stratum tells batch
            and test apart; None where nobody knows.
    """
    strata, components, spread = _components(fit)
    return ResponsePart(
        fit=fit,
        expansion=compile_model(fit.coding, fit.model),
        strata=strata,
        components=components,
        spread=spread,
        units=_units(fit, strata, test_share),
    )


def stands_for_batch(fit: Fit) -> str:
    """Name the stratum that tells one mill batch from another: the coarsest below the day."""
    return next(name for name in BELOW_DAY if name in fit.components)


def _components(fit: Fit) -> tuple[tuple[str, ...], ComponentDraws, FloatArray]:
    names = tuple(fit.components)
    values = np.array([fit.components[name] for name in names])
    if fit.adjustment is not None:
        known = fit.adjustment
        spread = known.slopes.copy()
        # The fit's covariance is larger than Σ σ²_k spread_k for the estimated weights: by what the
        # residual then adds.
        spread[-1] += (fit.covariance - np.tensordot(values, spread, axes=1)) / values[-1]
        return names, make_components(values, known.component_covariance), spread
    df = np.array([max(fit.component_df[name], 1.0) for name in names])
    W = np.diag(2.0 * values**2 / df)
    if len(names) == 1 and values[0] > 0.0:
        return names, make_components(values, W), fit.covariance[None] / values[0]
    # A likelihood gives one covariance for all strata: it scatters by the fewest df in it.
    own_df = float(np.min(fit.coefficient_df))
    of_own = 2.0 / own_df if np.isfinite(own_df) else 0.0
    r, p = len(names) + 1, len(fit.columns)
    wide = np.zeros((r, r))
    wide[1:, 1:], wide[0, 0] = W, of_own
    spread = np.zeros((r, p, p))
    spread[0] = fit.covariance
    return (COEFFICIENTS, *names), make_components(np.array([1.0, *values]), wide), spread


def _units(fit: Fit, strata: tuple[str, ...], test_share: float | None) -> tuple[UnitShare, ...]:
    first = stands_for_batch(fit)
    units: list[UnitShare] = []
    for i, name in enumerate(strata):
        if name == COEFFICIENTS:
            continue
        weight = fit.new_run_weights[name]
        sources = {name if name not in BELOW_DAY else TEST: weight}
        if name == first:
            share = test_share if name == RESIDUAL and test_share is not None else 0.0
            sources = {BATCH: weight * (1.0 - share), TEST: weight * share}
        units += [
            UnitShare(component=i, stratum=name, source=source, weight=part)
            for source, part in sources.items()
            if part > 0.0
        ]
    return tuple(units)
