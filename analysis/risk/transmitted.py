"""The variance that production transmits to each response, by formula.

To first order in every source, about the nominal settings,

    Var(y) = Σ_i (∂y/∂x_i)² σ²_i + (dy/dη)² (Σ_k σ²_k + x'Φx),

the slopes through the recipe where grams are weighed, strata and models on the fitted scale η.

Source:
    Myers, Montgomery and Anderson-Cook (2016), Response Surface Methodology, 4th ed., chapter on
    robust parameter design, from memory: Var = [∂y/∂z]² σ²_z + σ²; JCGM 100:2008, equation (10).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.fits.scales import inverse, log_slope
from analysis.risk.model import RiskModel
from analysis.risk.response_part import MODEL, TEST, ResponsePart
from analysis.risk.scatter import SCATTERS
from doe.model.coding import ChoiceAxis
from doe.study.settings import FloatArray

# Step of the slopes, in standard deviations of a source: small beside the bends of a surface of
# second order, large beside rounding.
_STEP = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Transmitted:
    """Variance of one response, response unit squared, by source.

    Attributes:
        response: Name.
        unit: Of the response, before it is squared.
        by_source: Variance by name of the source, in the order of the model's sources.
    """

    response: str
    unit: str
    by_source: Mapping[str, float]

    @property
    def variance(self) -> float:
        """All sources together."""
        return float(sum(self.by_source.values()))

    @property
    def sd(self) -> float:
        """Standard deviation of a tested value."""
        return float(self.variance**0.5)

    def shares(self) -> dict[str, float]:
        """Give each source's part of the whole, 0..1."""
        whole = self.variance
        return {name: v / whole if whole > 0 else 0.0 for name, v in self.by_source.items()}


def transmitted_variance(model: RiskModel, nominal: FloatArray) -> tuple[Transmitted, ...]:
    """Work out the variance of each response with a limit at some settings.

    Args:
        model: Of the study.
        nominal: What is set, shape (k,), lab units.

    Returns:
        In the model's order. A rating's value is its probability, which a test does not move.
    """
    by_scatter = _by_scatter(model, nominal)
    found = []
    for place, name in enumerate(model.names):
        by_source = {
            source: float(by_scatter[i, place]) for i, source in enumerate(model.scatter.names)
        }
        unit = next((one.unit for one in model.exact if one.response == name), None)
        if unit is None:
            part = _part(model, name)
            unit = part.fit.unit
            by_source |= _by_strata(model, part, nominal)
        found.append(Transmitted(response=name, unit=unit, by_source=by_source))
    return tuple(found)


def _by_scatter(model: RiskModel, nominal: FloatArray) -> FloatArray:
    """Give (∂y/∂x)² σ² of each source and response, shape (d, m)."""
    d = len(model.scatter.sources)
    steps = np.vstack([np.eye(d) * _STEP, -np.eye(d) * _STEP])
    values = _values(model, nominal, steps)
    found = ((values[:d] - values[d:]) / (2.0 * _STEP)) ** 2
    for i, source in enumerate(model.scatter.sources):
        axis = model.coding.axes[source.axis] if source.axis is not None else None
        if isinstance(axis, ChoiceAxis):
            # Levels have no slope between them: the variance over equally frequent levels.
            L = len(axis.levels)
            z = np.zeros((L, d))
            middles = (np.arange(L) + 0.5) / L
            z[:, i] = special.ndtri(middles)
            found[i] = _values(model, nominal, z).var(axis=0)
    return found


def _values(model: RiskModel, nominal: FloatArray, z: FloatArray) -> FloatArray:
    """Give what models and recipe say, without any noise, shape (n, m), response units."""
    at = model.situation(nominal, np.hstack([z, np.zeros((len(z), model.columns - z.shape[1]))]))
    found = np.empty((len(z), len(model.names)))
    for j, one in enumerate(model.exact):
        found[:, model.names.index(one.response)] = at.exact[:, j]
    if model.posterior is not None and at.placed is not None:
        for i, part in enumerate(model.posterior.parts):
            place = model.names.index(part.name)
            found[:, place] = inverse(part.fit.scale, at.placed.centre[:, i])
    return found


def _by_strata(model: RiskModel, part: ResponsePart, nominal: FloatArray) -> dict[str, float]:
    """Give what strata and models add, by source."""
    assert model.posterior is not None
    zeros = np.zeros((1, model.columns))
    placed = model.situation(nominal, zeros, exactly=True).placed
    assert placed is not None
    i = model.posterior.parts.index(part)
    value = inverse(part.fit.scale, placed.centre[:, i])
    steep = float(np.exp(-2.0 * log_slope(part.fit.scale, value))[0])
    estimates = part.components.estimates
    found = {source.name: 0.0 for source in model.sources if source.kind not in SCATTERS}
    for unit in part.units:
        found[unit.source] += steep * unit.weight * float(estimates[unit.component])
    if part.fit.counts is not None:
        times = max(part.fit.repeats, 1)
        mean = float(value[0])
        found[TEST] += mean / times + part.fit.counts.overdispersion * mean**2
    found[MODEL] = steep * float((placed.own[i] * estimates).sum())
    return found


def _part(model: RiskModel, name: str) -> ResponsePart:
    assert model.posterior is not None
    return next(part for part in model.posterior.parts if part.name == name)
