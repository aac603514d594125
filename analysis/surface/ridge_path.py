"""Ridge analysis: the highest and the lowest place on spheres that grow from the middle.

Source:
    Hoerl (1959), Chemical Engineering Progress 55(11), 69-78 [memory]; Draper (1963), "Ridge
    analysis" of response surfaces, Technometrics 5, 469-479 [memory]: on |u| = R the surface is
    highest where (B − μI)u = −b/2 with μ above the largest curvature, lowest with μ below the
    least.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from analysis.surface.lines import inside_region
from analysis.surface.predict import predict_rows
from analysis.surface.second_order import SecondOrder
from doe.model.region import Region
from doe.study.settings import BoolArray, FloatArray, frozen_array

RADII = 21
# A slope along the steepest bend below this part of all slopes is none: the hard case.
NO_SLOPE = 1e-12

Towards = Literal["highest", "lowest"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfacePath:
    """A way over one surface from the middle of the ranges, with what to expect on it.

    Attributes:
        towards: highest or lowest.
        names: The m factors that move.
        units: Their units.
        distance: Shape (g,), distance from the start, coded.
        coded: Shape (g, m), coded.
        settings: Shape (g, m), lab units.
        value: Shape (g,), response unit.
        low: Shape (g,), lower end of the mean interval.
        high: Shape (g,), upper end.
        inside: Shape (g,), whether the settings lie in the region.
        multiplier: Shape (g,), μ of the source; NaN at the start, and for other paths.
    """

    towards: Towards
    names: tuple[str, ...]
    units: tuple[str, ...]
    distance: FloatArray
    coded: FloatArray
    settings: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    inside: BoolArray
    multiplier: FloatArray

    def __post_init__(self) -> None:
        for name in ("distance", "coded", "settings", "value", "low", "high", "multiplier"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def ridge_path(
    form: SecondOrder,
    region: Region,
    towards: Towards,
    *,
    radii: FloatArray | None = None,
    held: tuple[int, ...] = (),
    level: float = 0.95,
) -> SurfacePath:
    """Follow the best place on each sphere round the middle of the ranges.

    Args:
        form: The surface over the factors that move; with one factor the sphere is two points.
        region: To tell which places the brief allows; none is left out.
        towards: Which end of the response.
        radii: Rising, coded, from 0; by default to the corners of the ranges.
        held: Columns of noise factors, whose place does not count for the region.
        level: Confidence of the intervals, 0..1.
    """
    m = len(form.columns)
    reach = np.linspace(0.0, np.sqrt(m), RADII) if radii is None else radii
    sign = 1.0 if towards == "highest" else -1.0
    found = [
        _on_sphere(sign * form.middle_slopes, sign * form.curvature, float(radius))
        for radius in reach
    ]
    coded = np.array([u for u, _ in found]).reshape(len(reach), m)
    multiplier = sign * np.array([mu for _, mu in found])
    return path_of(
        form, region, towards, reach, coded, multiplier=multiplier, held=held, level=level
    )


def path_of(
    form: SecondOrder,
    region: Region,
    towards: Towards,
    distance: FloatArray,
    coded: FloatArray,
    *,
    multiplier: FloatArray | None = None,
    held: tuple[int, ...] = (),
    level: float = 0.95,
) -> SurfacePath:
    """Predict along places, shape (g, m), coded, and turn them into lab settings."""
    settings = form.settings(coded)
    value, low, high = predict_along(form, coded, level=level)
    return SurfacePath(
        towards=towards, names=form.names, units=form.units, distance=distance, coded=coded,
        settings=settings[:, list(form.columns)], value=value, low=low, high=high,
        inside=inside_region(region, settings, held),
        multiplier=np.full(len(coded), np.nan) if multiplier is None else multiplier,
    )  # fmt: skip


def _on_sphere(b: FloatArray, B: FloatArray, radius: float) -> tuple[FloatArray, float]:
    """Find the highest place of b'u + u'Bu on |u| = radius, and its multiplier."""
    if radius == 0.0 or not len(b):
        return np.zeros(len(b)), float("nan")
    values, vectors = np.linalg.eigh(B)
    g, top = vectors.T @ b / 2.0, float(values[-1])
    size = float(np.linalg.norm(g))
    steep = values >= top - NO_SLOPE * max(abs(top), 1.0)
    if size == 0.0 or np.linalg.norm(g[steep]) <= NO_SLOPE * size:
        # No slope along the strongest bend: beyond its reach the place leaves along it, μ = top.
        u = np.where(steep, 0.0, g / np.where(steep, 1.0, top - values))
        rest = radius**2 - float(u @ u)
        if rest >= 0.0:
            u[-1] += np.sqrt(rest)
            return vectors @ u, top
    # |u(μ)| falls from infinity at the largest curvature to below R at top + |g|/R.
    low, high = _bracket(g, values, radius)
    mu = top + float(
        brentq(lambda above: 1.0 / radius - 1.0 / _length(g, values, above), low, high, xtol=1e-14,
               rtol=8.9e-16)
    )  # fmt: skip
    u = g / (mu - values)
    return vectors @ (u * radius / np.linalg.norm(u)), mu


def _bracket(g: FloatArray, values: FloatArray, radius: float) -> tuple[float, float]:
    """Bound μ above the largest curvature: |g_top|/R ≤ μ − top ≤ |g|/R."""
    high = float(np.linalg.norm(g)) / radius
    low = high
    while _length(g, values, low) < radius and low > 1e-300:
        low /= 4.0
    return low, high * (1.0 + 1e-9)


def _length(g: FloatArray, values: FloatArray, above: float) -> float:
    return float(np.linalg.norm(g / (above + values[-1] - values)))


def predict_along(
    form: SecondOrder, coded: FloatArray, *, level: float = 0.95
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give value and both ends of the mean interval at places, shape (n, m), response unit."""
    prediction = predict_rows(form.fit, form.rows(coded), level=level)
    return prediction.value, prediction.mean_interval[:, 0], prediction.mean_interval[:, 1]
