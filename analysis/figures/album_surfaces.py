"""Figures of the surfaces: slices, effects, forms, landscape."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.figures.album_request import MOST_LANDSCAPES, AlbumRequest
from analysis.figures.bends import draw_bends
from analysis.figures.contours import draw_contours
from analysis.figures.cox_traces import draw_cox_traces
from analysis.figures.drawn import Drawn
from analysis.figures.effects import draw_effects
from analysis.figures.form_curves import draw_form_curves
from analysis.figures.near_runs import near_slice
from analysis.figures.package_contours import draw_package_contours
from analysis.figures.ridge_paths import draw_ridge_paths
from analysis.figures.stationary_slice import draw_stationary_slice
from analysis.surface.contour import contour_slice, package_slice
from analysis.surface.directions import direction_words, levels_words
from analysis.surface.effects import Effect, trace_effects
from analysis.surface.form_lines import form_lines
from analysis.surface.stationary_slice import stationary_slice
from analysis.surface.survey import SurfaceLandscape, SurfaceShape
from doe.model.coding import NumericAxis


def contour_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw each response over the two settings that move it most."""
    pair = leading_pair(request)
    if pair is None:
        return
    coding, base = request.region.coding, request.base
    columns = [coding.index(name) for name in pair]
    slice_ = contour_slice(
        request.study, request.region, request.fits, base, *pair, production=request.production
    )
    mark = (float(base[columns[0]]), float(base[columns[1]])) if request.compromise else None
    for name in request.fits:
        runs = near_slice(request.data.get(name), request.region, base, columns)
        yield draw_contours(slice_, name, mark=mark, runs=runs)


def triangle_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw each response over three additives."""
    names = leading_shares(request)
    if names is None:
        return
    coding, base = request.region.coding, request.base
    columns = [coding.index(name) for name in names]
    slice_ = package_slice(
        request.study, request.region, request.fits, base, names, production=request.production
    )
    # A package that cannot move in two directions has no triangle to show.
    if len(slice_.outline) < 3 or not np.any(slice_.inside):
        return
    a, b, c = (float(share) for share in base[columns])
    for name in request.fits:
        runs = near_slice(request.data.get(name), request.region, base, columns)
        mark = (a, b, c) if request.compromise else None
        yield draw_package_contours(slice_, name, mark=mark, runs=runs)


def effect_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw what each setting does to each response."""
    shares = {axis.name for axis in request.region.coding.shares}
    traced = _traced(request)
    for name in request.fits:
        panels = [effect for effect in traced if effect.response == name]
        if panels:
            yield draw_effects(panels, shares=shares, held=request.held)


def form_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw each response along the factor that a form bends."""
    for name, fitted in request.fitted.items():
        data = request.data.get(name)
        if fitted.form is None or data is None:
            continue
        lines = form_lines(
            fitted.form, data, request.base, production=request.production,
            level=fitted.assessment.level,
        )  # fmt: skip
        if lines is not None:
            yield draw_form_curves(lines, held=request.held)


def additive_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the traces along Cox's directions."""
    for landscape in _drawn_landscapes(request):
        if landscape.cox:
            yield draw_cox_traces(landscape.cox, held=request.held)


def stationary_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw where no slope is."""
    for shape in _drawn_shapes(request):
        slice_ = stationary_slice(shape, request.region, held=request.production.columns)
        if slice_ is not None and not shape.form.is_plane:
            yield draw_stationary_slice(slice_)


def ridge_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the way along each ridge."""
    for shape in _drawn_shapes(request):
        fit = shape.form.fit
        yield draw_ridge_paths(shape.ridges, fit.response, fit.unit, where=_at_levels(shape))


def bend_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw how each surface bends."""
    for shape in _drawn_shapes(request):
        if not shape.form.is_plane:
            words = [direction_words(shape.form, axis) for axis in shape.canonical.axes]
            yield draw_bends(shape.form, shape.canonical, words, where=_at_levels(shape))


def leading_pair(request: AlbumRequest) -> tuple[str, str] | None:
    """Find the two settings whose effects are the largest over all responses.

    Effects of each response are taken as parts of its largest one. Of the shares one may lead,
    where the study has fewer than two factors with a range. None where there is no pair.
    """
    coding = request.region.coding
    pull: dict[str, float] = {}
    traced = _traced(request)
    for name in request.fits:
        effects = [effect for effect in traced if effect.response == name]
        sizes = {effect.setting: float(np.ptp(effect.value)) for effect in effects}
        largest = max(sizes.values(), default=0.0)
        for setting, size in sizes.items():
            pull[setting] = pull.get(setting, 0.0) + (size / largest if largest > 0 else 0.0)
    # Between the only levels a bench can set there is no surface to draw.
    ranged = [a.name for a in coding.factors if isinstance(a, NumericAxis) and not a.levels]
    factors = sorted((n for n in ranged if n in pull), key=lambda n: -pull[n])
    shares = sorted((a.name for a in coding.shares if a.name in pull), key=lambda n: -pull[n])
    chosen = (factors + shares[:1])[:2]
    if len(chosen) < 2:
        return None
    first, second = sorted(chosen, key=coding.index)
    return first, second


def leading_shares(request: AlbumRequest) -> tuple[str, str, str] | None:
    """Find the three additives with the widest ranges; None for a package of fewer."""
    shares = request.region.coding.shares
    if len(shares) < 3:
        return None
    widest = sorted(shares, key=lambda axis: axis.low - axis.high)[:3]
    first, second, third = (axis.name for axis in shares if axis in widest)
    return first, second, third


def _drawn_landscapes(request: AlbumRequest) -> list[SurfaceLandscape]:
    """Give the landscapes of the responses that count most, in the brief's order."""
    importance = {response.name: response.importance for response in request.study.responses}
    known = [name for name in request.fitted if name in request.landscapes]
    kept = sorted(known, key=lambda name: -importance.get(name, 0.0))[:MOST_LANDSCAPES]
    return [request.landscapes[name] for name in known if name in kept]


def _drawn_shapes(request: AlbumRequest) -> Iterator[SurfaceShape]:
    """Give the shape at the recipe's own levels, one a response."""
    for landscape in _drawn_landscapes(request):
        yield from landscape.shapes[:1]


def _at_levels(shape: SurfaceShape) -> str:
    words = levels_words(shape.form)
    return f" at {words}" if words else ""


def _traced(request: AlbumRequest) -> tuple[Effect, ...]:
    return trace_effects(request.fits, request.region, request.base, production=request.production)
