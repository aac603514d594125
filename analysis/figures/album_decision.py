"""Figures of the decision: room, trade-offs, production, confirmation, influence."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.figures.album_request import MOST_LANDSCAPES, AlbumRequest
from analysis.figures.confirmation import draw_confirmation
from analysis.figures.drawn import Drawn
from analysis.figures.frontier import draw_frontier
from analysis.figures.influence import draw_influence
from analysis.figures.joint_probability import draw_joint_probability
from analysis.figures.near_runs import near_slice
from analysis.figures.probability_triangle import draw_probability_triangle
from analysis.figures.risk_sources import draw_risk_sources
from analysis.figures.room import draw_room
from analysis.figures.tolerance_box import draw_tolerance_box
from analysis.fits.scales import inverse
from analysis.surface.acceptance import accept_limits
from analysis.surface.room import find_room
from doe.study.settings import FloatArray


def room_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the room round the recipe; nothing without a recipe."""
    if request.compromise is None:
        return
    rooms = find_room(
        request.study, request.region, request.fits, request.base, production=request.production
    )
    if rooms:
        yield draw_room(rooms, request.region.coding)


def frontier_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the frontier of two responses or more."""
    found = request.trade_offs.frontier if request.trade_offs is not None else None
    if found is None or len(found.responses) < 2:
        return
    controls: dict[str, dict[str, float]] = {}
    for name, fitted in request.fitted.items():
        both = fitted.fit.with_controls
        if both is not None:
            means = inverse(fitted.fit.scale, both.estimates[both.n_surface :])
            for control, mean in zip(both.names, means, strict=True):
                controls.setdefault(control, {})[name] = float(mean)
    responses = sorted(request.study.responses, key=lambda one: -one.importance)
    yield draw_frontier(
        found,
        aims={one.name: one.aim for one in responses if one.aim is not None},
        limits=[
            one for one in accept_limits(request.study.responses) if one.response in request.fits
        ],
        controls=controls,
        names=[one.name for one in responses if one.name in found.responses][:MOST_LANDSCAPES],
    )


def confirmation_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw every round of confirmation batches that has readings."""
    for judged in request.confirmations:
        if any(one.batches and one.n for one in judged.outcome.responses):
            yield draw_confirmation(judged)


def joint_probability_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the probability over two settings."""
    found = request.robust.slice_ if request.robust is not None else None
    if request.robust is None or found is None or not found.slice_.inside.any():
        return
    columns = [request.region.coding.index(name) for name in (found.slice_.x, found.slice_.y)]
    base, robust = request.base[columns], request.robust.choice.most_probable.row[columns]
    yield draw_joint_probability(
        found,
        wanted=request.robust.choice.level,
        mark=(float(base[0]), float(base[1])) if request.compromise else None,
        robust=None if np.isnan(robust).any() else (float(robust[0]), float(robust[1])),
        box=request.robust.box_here,
        runs=_runs_near(request, columns),
    )


def probability_triangle_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the probability over the package."""
    found = request.robust.triangle if request.robust is not None else None
    if request.robust is None or found is None:
        return
    columns = [request.region.coding.index(name) for name in found.slice_.names]
    yield draw_probability_triangle(
        found,
        wanted=request.robust.choice.level,
        mark=request.base[columns] if request.compromise else None,
        robust=request.robust.choice.most_probable.row[columns],
        box=request.robust.box_here,
        runs=_runs_near(request, columns),
    )


def risk_source_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw what costs production batches."""
    if request.risk is not None and request.risk.contributions:
        yield draw_risk_sources(request.risk)


def tolerance_box_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the tolerance box; nothing where it is empty."""
    found = request.robust
    if found is None or found.box.is_empty:
        return
    is_here = found.box_here is not None
    around = "the recommended recipe" if is_here else f"the {found.box_is_around} settings"
    yield draw_tolerance_box(found.box, request.region.coding, around=around)


def influence_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw what the recipe hangs on."""
    if request.influence is not None and request.influence.units:
        yield draw_influence(request.influence)


def _runs_near(request: AlbumRequest, columns: list[int]) -> FloatArray | None:
    """Give the runs near a slice that any response with a limit has been read on."""
    rows = [
        near_slice(request.data.get(name), request.region, request.base, columns)
        for name in request.fits
    ]
    known = [one for one in rows if one is not None and len(one)]
    return np.unique(np.vstack(known), axis=0) if known else None
