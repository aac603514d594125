"""The landscape of one response: its shape at each level, its additives, where it is flat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.fits.fit import Fit
from analysis.surface.canonical import Canonical, canonical_form
from analysis.surface.cox import CoxTrace, at_production_mean, cox_traces
from analysis.surface.flat_ways import FlatWay, flat_ways
from analysis.surface.lines import inside_region
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.ridge_path import SurfacePath, Towards, ridge_path
from analysis.surface.second_order import SecondOrder, level_rows, second_order
from analysis.surface.stationary import StationaryPoint, stationary_of
from analysis.surface.stationary_region import StationaryRegion, stationary_region
from analysis.surface.steepest_path import steepest_line, steepest_path
from doe.errors import FitError
from doe.model.coding import ShareAxis
from doe.model.region import Region
from doe.model.vertices import overall_centroid
from doe.study.sentence import begun
from doe.study.settings import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceShape:
    """One surface over the factors that move, at one combination of levels.

    Attributes:
        form: The surface; its `levels` name the combination.
        stationary: Where it has no slope.
        region: Where it may have none; None where that cannot be told.
        canonical: How it bends.
        ridges: The highest and the lowest place on growing spheres.
        lines: The straight steepest ways, up and down, beyond the ranges.
        steepest: The steepest ways inside the region, up and down; empty where the middle of the
            region is not in it.
    """

    form: SecondOrder
    stationary: StationaryPoint
    region: StationaryRegion | None
    canonical: Canonical
    ridges: tuple[SurfacePath, ...]
    lines: tuple[SurfacePath, ...]
    steepest: tuple[SurfacePath, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceLandscape:
    """What the surface of one response looks like, seen from one recipe.

    Attributes:
        fit: The model.
        base: Shape (k,), lab units: the recipe; noise factors at their production mean.
        shapes: One a combination of the levels that change the shape, the recipe's own first;
            empty where no factor moves or the model is of third order in the factors.
        why_no_shape: Why there is none, a sentence; empty where there is.
        cox: What each additive does along Cox's direction from the blend in the middle of the
            region, all else as in the recipe; from the recipe's own blend where that is not
            allowed there; empty without a package.
        flat: How far each setting may move from the recipe at no loss.
    """

    fit: Fit
    base: FloatArray
    shapes: tuple[SurfaceShape, ...]
    why_no_shape: str
    cox: tuple[CoxTrace, ...]
    flat: tuple[FlatWay, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "base", frozen_array(self.base))


def survey_all(
    fits: Mapping[str, Fit],
    region: Region,
    base: FloatArray | None = None,
    *,
    production: Production = NO_NOISE,
    practical: Mapping[str, float] | None = None,
    level: float = 0.95,
) -> dict[str, SurfaceLandscape]:
    """Survey every modelled response from one recipe; see `survey`.

    Args:
        fits: Models by response; responses that the recipe gives have none.
        region: The region.
        base: Shape (k,), lab units; by default the middle of the region.
        production: Noise factors, held at their production mean.
        practical: Difference that matters, by response, response unit.
        level: Confidence of every interval, 0..1.
    """
    at = overall_centroid(region)[0] if base is None else base
    return {
        name: survey(
            fit, region, at, production=production, practical=(practical or {}).get(name),
            level=level,
        )
        for name, fit in fits.items()
        # Classes have no height: an ordinal response is told by its probabilities.
        if fit.family != "ordinal"
    }  # fmt: skip


def survey(
    fit: Fit,
    region: Region,
    base: FloatArray,
    *,
    production: Production = NO_NOISE,
    practical: float | None = None,
    level: float = 0.95,
) -> SurfaceLandscape:
    """Survey the surface of one response from a recipe.

    Args:
        fit: The model.
        region: Its region.
        base: Shape (k,), lab units, inside the region.
        production: Noise factors, held at their production mean.
        practical: Difference that matters, response unit; see `flat_ways`.
        level: Confidence of every interval, 0..1.
    """
    at = at_production_mean(base, production)
    try:
        forms = [second_order(fit, row, production) for row in level_rows(fit, at, production)]
        why = "" if forms[0].columns else "The model holds no factor with a range."
    except FitError as error:
        forms, why = [], begun(error.faults[0].what) + "."
    shapes = [_shape(form, region, at, production, level) for form in forms if form.columns]
    return SurfaceLandscape(
        fit=fit, base=at, shapes=tuple(shapes), why_no_shape=why,
        cox=cox_traces(
            fit, region, _blend(region, at, production), production=production, level=level
        ),
        flat=flat_ways(
            fit, region, at, production=production, practical=practical, level=level
        ),
    )  # fmt: skip


def _shape(
    form: SecondOrder, region: Region, base: FloatArray, production: Production, level: float
) -> SurfaceShape:
    stationary = stationary_of(form)
    held = production.columns
    start = _start(form, region, base, held)
    ways: tuple[Towards, Towards] = ("highest", "lowest")
    steepest = [
        path
        for towards in ways
        if start is not None
        and (path := steepest_path(form, region, start, towards, held=held, level=level))
    ]
    return SurfaceShape(
        form=form,
        stationary=stationary,
        region=stationary_region(form, stationary.at_coded, level=level),
        canonical=canonical_form(form, level=level),
        ridges=tuple(ridge_path(form, region, way, held=held, level=level) for way in ways),
        lines=tuple(steepest_line(form, region, way, held=held, level=level) for way in ways),
        steepest=tuple(steepest),
    )


def _blend(region: Region, base: FloatArray, production: Production) -> FloatArray:
    """Put the blend of a recipe, which may lie on its limits, to the middle of the region."""
    shares = [j for j, axis in enumerate(region.coding.axes) if isinstance(axis, ShareAxis)]
    centres = overall_centroid(region)
    rows = np.tile(base, (len(centres) + 1, 1))
    rows[:-1, shares] = centres[:, shares]
    inside = inside_region(region, rows, production.columns)
    return rows[int(np.argmax(inside))] if inside.any() else base


def _start(
    form: SecondOrder, region: Region, base: FloatArray, held: tuple[int, ...]
) -> FloatArray | None:
    """Start in the middle of the ranges, or in the middle of what the limits leave of them.

    None where neither lies in the region with shares and levels as they are.
    """
    middle = form.settings(np.zeros((1, len(form.columns))))
    centres = overall_centroid(region)
    rows = np.tile(middle, (len(centres) + 2, 1))
    rows[1:-1, list(form.columns)] = centres[:, list(form.columns)]
    rows[-1, list(form.columns)] = base[list(form.columns)]
    good = np.all(np.isfinite(rows[:, list(form.columns)]), axis=1)
    found = np.flatnonzero(good & inside_region(region, rows, held))
    return rows[found[0]] if len(found) else None
