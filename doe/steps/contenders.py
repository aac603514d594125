"""All settings that could still be the best, given how unsure the models are.

Coefficients are drawn from their distribution given the readings (a t distribution round the
estimates, with the covariance and the degrees of freedom of each fit, responses drawn apart from
each other); for each draw the settings of greatest overall desirability are looked up among a
sample of the region. Their surroundings, weighted by how often they came out best, are the area.

Source:
    Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., section 14.2 (t distribution of the
    coefficients under a flat prior).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.choice.desirability import (
    aims_of,
    desirability,
    height,
    overall_desirability,
)
from analysis.fits.scales import inverse
from analysis.surface.exact import ExactResponse, Surface
from analysis.surface.noise import Production, production_of
from analysis.surface.predict import predict_values
from doe.model.coding import ShareAxis, code, decode
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.model.sampling import sample_region
from doe.study.brief import Study
from doe.study.settings import FloatArray

# Settings looked through for each draw, and draws: the share of a tenth of the region among the
# contenders is then known to about 0.02.
SAMPLE = 3000
DRAWS = 300
# Half width of what counts as the surroundings of a setting, coded.
NEAR = 0.25
AROUND = 8
# Degrees of freedom above which a t distribution is drawn as a normal one.
_MANY = 1e6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contenders:
    """Where the best settings may lie.

    Attributes:
        area: Settings, shape (g, k), lab units; a setting counts as often as it stands.
        different: How many of the sampled settings came out best in some draw.
        spread: Part of the region's sample that lies within the area's bounds, 0..1.
    """

    area: FloatArray
    different: int
    spread: float


def contenders(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    compromise: FloatArray,
    rng: np.random.Generator,
) -> Contenders:
    """Find the settings that could still be the best.

    Args:
        study: The brief: aims and importances.
        region: All settings it allows.
        fits: Models by response, computed responses among them.
        compromise: The present compromise, shape (k,), lab units; one of the settings looked at.
        rng: Source of the draws and the sample.
    """
    points = np.vstack([compromise[None, :], sample_region(region, SAMPLE, rng)])
    aims = [aim for aim in aims_of(study) if aim.response in fits]
    production = production_of(study, region.coding)
    low = np.full((len(points), DRAWS), np.inf)
    weights = np.array([aim.importance for aim in aims])
    each = np.zeros((len(points), DRAWS, len(aims)))
    for a, aim in enumerate(aims):
        values = _drawn_values(fits[aim.response], points, production, rng)
        each[:, :, a] = desirability(aim, values)
        low = np.minimum(low, height(aim, values))
    total = overall_desirability(each, weights)
    # Where nothing is worth anything, the least bad counts.
    score = np.where(total > 0, total, np.minimum(low, 0.0))
    best = np.argmax(score, axis=0)
    area = _surroundings(points[best], region, rng)
    return Contenders(
        area=area, different=len(np.unique(best)), spread=_spread(area, points[1:], region)
    )


def _drawn_values(
    fit: Surface, points: FloatArray, production: Production, rng: np.random.Generator
) -> FloatArray:
    """Draw the surface of a response, shape (g, draws), response unit."""
    if isinstance(fit, ExactResponse):
        # What is computed is the same in every draw.
        return np.tile(predict_values(fit, points, production)[:, None], (1, DRAWS))
    rows = model_matrix(production.spread(points), fit.coding, fit.model)
    values, vectors = np.linalg.eigh(np.nan_to_num(fit.covariance))
    half = vectors * np.sqrt(np.maximum(values, 0.0))
    z = rng.standard_normal((len(values), DRAWS))
    df = float(np.nan_to_num(fit.coefficient_df, nan=_MANY).min(initial=_MANY))
    chi = rng.chisquare(max(df, 1.0), DRAWS) / max(df, 1.0) if df < _MANY else np.ones(DRAWS)
    drawn = fit.coefficients[:, None] + half @ z / np.sqrt(chi)
    surfaces = inverse(fit.scale, rows @ drawn)
    if not production.columns:
        return np.asarray(surfaces)
    return np.stack([production.averaged(surfaces[:, d]) for d in range(DRAWS)], axis=1)


def _surroundings(best: FloatArray, region: Region, rng: np.random.Generator) -> FloatArray:
    """Scatter settings round the best ones, inside the region, each best one among them."""
    coding = region.coding
    elsewhere = code(sample_region(region, len(best) * AROUND, rng), coding)
    centre = code(np.repeat(best, AROUND, axis=0), coding)
    # On the way to any other setting of the region the shares keep their sum.
    near = centre + NEAR * rng.random((len(centre), 1)) * (elsewhere - centre)
    for j, axis in enumerate(coding.axes):
        if not isinstance(axis, ShareAxis) and axis.levels:
            near[:, j] = centre[:, j]
    rows = decode(near, coding)
    return np.vstack([best, rows[region.contains(rows)]])


def _spread(area: FloatArray, points: FloatArray, region: Region) -> float:
    low = np.nanmin(code(area, region.coding), axis=0)
    high = np.nanmax(code(area, region.coding), axis=0)
    coded = np.nan_to_num(code(points, region.coding))
    inside = np.all((coded >= low - 1e-9) & (coded <= high + 1e-9), axis=1)
    return float(inside.mean())
