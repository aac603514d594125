"""Figures of the checks on the models."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.figures.album_request import AlbumRequest
from analysis.figures.box_cox import draw_box_cox
from analysis.figures.coefficients import draw_coefficients
from analysis.figures.drawn import Drawn
from analysis.figures.half_normal import draw_half_normal, draw_units
from analysis.figures.predicted_observed import draw_predicted_observed
from analysis.figures.residuals import draw_residuals
from analysis.fits.half_normal import half_normal


def coefficient_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the coefficients of each model."""
    for fitted in request.fitted.values():
        yield draw_coefficients(fitted.fit, level=fitted.assessment.level)


def half_normal_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the half-normal plot of each model's effects."""
    for fitted in request.fitted.values():
        found = half_normal(fitted.fit, fitted.assessment)
        if found:
            yield draw_half_normal(fitted.fit, found)


def unit_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw what batches and days add."""
    for fitted in request.fitted.values():
        found = [units for units in fitted.assessment.units if units.envelope]
        if found:
            yield draw_units(fitted.fit, found)


def residual_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the residuals of each model that has any."""
    for name, fitted in request.fitted.items():
        # As many terms as runs leave nothing over to look at.
        if all(row.studentised is None for row in fitted.assessment.runs):
            continue
        data = request.data.get(name)
        order = None if data is None else dict(zip(data.run, data.order, strict=True))
        yield draw_residuals(fitted.fit, fitted.assessment, order=order)


def scale_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw the likelihood of powers."""
    for fitted in request.fitted.values():
        found = fitted.assessment.box_cox
        if found is not None and found.powers:
            yield draw_box_cox(fitted.fit, found)


def predicted_observed_figures(request: AlbumRequest) -> Iterator[Drawn]:
    """Draw what was read against what each model says."""
    for fitted in request.fitted.values():
        yield draw_predicted_observed(fitted.fit, fitted.assessment)
