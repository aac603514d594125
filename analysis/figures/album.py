"""The album: every figure of a study, drawn in one order from one registry."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import count

from analysis.figures.album_checks import (
    coefficient_figures,
    half_normal_figures,
    predicted_observed_figures,
    residual_figures,
    scale_figures,
    unit_figures,
)
from analysis.figures.album_decision import (
    confirmation_figures,
    frontier_figures,
    influence_figures,
    joint_probability_figures,
    probability_triangle_figures,
    risk_source_figures,
    room_figures,
    tolerance_box_figures,
)
from analysis.figures.album_request import AlbumRequest
from analysis.figures.album_surfaces import (
    additive_figures,
    bend_figures,
    contour_figures,
    effect_figures,
    form_figures,
    ridge_figures,
    stationary_figures,
    triangle_figures,
)
from analysis.figures.drawn import Drawn
from analysis.surface.survey import survey_all


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureKind:
    """One kind of figure.

    Attributes:
        name: What `Drawn.kind` says.
        for_: What to look at it for, a sentence.
        draw: Draws all figures of the kind; none where the study has nothing for it.
    """

    name: str
    for_: str
    draw: Callable[[AlbumRequest], Iterator[Drawn]]


@contextmanager
def _keeping_all() -> Iterator[None]:
    """Look for no waste meanwhile: all that is drawn is kept, and looking takes a fifth of it."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@_keeping_all()
def make_album(request: AlbumRequest) -> tuple[Drawn, ...]:
    """Draw every figure that the study has something for, in the order of the registry."""
    if not request.fits:
        return ()
    if not request.landscapes:
        fits = {name: fitted.fit for name, fitted in request.fitted.items()}
        found = survey_all(fits, request.region, request.base, production=request.production)
        request = replace(request, landscapes=found)
    album: dict[str, Drawn] = {}
    for kind in FIGURES.values():
        for drawn in kind.draw(request):
            named = drawn
            for n in count(2):
                if named.name not in album:
                    break
                # Two long names may be cut to the same stem.
                named = replace(drawn, name=f"{drawn.name}-{n}")
            album[named.name] = named
    return tuple(album.values())


FIGURES: Mapping[str, FigureKind] = {
    kind.name: kind
    for kind in (
        FigureKind(
            name="room",
            for_="How far a setting may move before which limit is reached.",
            draw=room_figures,
        ),
        FigureKind(
            name="frontier",
            for_="What one response costs in another, among recipes that nothing beats.",
            draw=frontier_figures,
        ),
        FigureKind(
            name="confirmation",
            for_="Whether new batches came out as foretold and within the limits.",
            draw=confirmation_figures,
        ),
        FigureKind(
            name="joint probability",
            for_="Where over two settings most production batches meet every limit.",
            draw=joint_probability_figures,
        ),
        FigureKind(
            name="probability triangle",
            for_="Which blends of three additives most production batches meet every limit with.",
            draw=probability_triangle_figures,
        ),
        FigureKind(
            name="tolerance box",
            for_="How far every setting may be set off the choice, all at once.",
            draw=tolerance_box_figures,
        ),
        FigureKind(
            name="risk sources",
            for_="Which scatter costs most production batches.",
            draw=risk_source_figures,
        ),
        FigureKind(
            name="influence",
            for_="Which single runs, batches and days the compromise hangs on.",
            draw=influence_figures,
        ),
        FigureKind(
            name="contours",
            for_="Where over two settings a response is good and every limit is met.",
            draw=contour_figures,
        ),
        FigureKind(
            name="triangle",
            for_="What the blend of three additives does to a response.",
            draw=triangle_figures,
        ),
        FigureKind(
            name="effects",
            for_="What each setting does to a response, and how surely.",
            draw=effect_figures,
        ),
        FigureKind(
            name="additives",
            for_="What more of each additive does to a response, at the cost of the others.",
            draw=additive_figures,
        ),
        FigureKind(
            name="stationary point",
            for_="Where a response has no slope, and how surely that place is known.",
            draw=stationary_figures,
        ),
        FigureKind(
            name="ridge",
            for_="How high and how low a response gets at each distance from the middle.",
            draw=ridge_figures,
        ),
        FigureKind(
            name="bends",
            for_="Along which settings together a response bends, and along which it is flat.",
            draw=bend_figures,
        ),
        FigureKind(
            name="form",
            for_="Whether a response follows kinetics or a demand curve rather than a polynomial.",
            draw=form_figures,
        ),
        FigureKind(
            name="coefficients",
            for_="Which terms of a model stand out of the scatter.",
            draw=coefficient_figures,
        ),
        FigureKind(
            name="half-normal",
            for_="Which effects are larger than chance would make the largest of so many.",
            draw=half_normal_figures,
        ),
        FigureKind(
            name="units",
            for_="Whether batches or days differ by more than chance, and which.",
            draw=unit_figures,
        ),
        FigureKind(
            name="residuals",
            for_="Whether the model may be believed: pattern, drift, outliers, influence.",
            draw=residual_figures,
        ),
        FigureKind(
            name="scale",
            for_="Which power of the response the readings ask for.",
            draw=scale_figures,
        ),
        FigureKind(
            name="predicted against observed",
            for_="How well the model gives back what was measured.",
            draw=predicted_observed_figures,
        ),
    )
}
