"""Everything that the interactive page knows, as one JSON value."""

from __future__ import annotations

import json

import numpy as np
from scipy import stats

from analysis.choice.desirability import Aim, aims_of
from analysis.report.decide.basis import DecisionBasis
from analysis.report.decide.numbers import Json, numbers
from analysis.report.decide.recipe_data import recipe_data
from analysis.report.decide.settings_data import (
    axes_data,
    held_data,
    production_data,
    region_data,
)
from analysis.report.decide.surface_data import response_data
from analysis.surface.noise import Production, full_row, production_of
from doe.errors import OptimumError
from doe.model.sampling import sample_region

FORMAT = 1
# Recipes scattered over the region, from the best of which the page's search starts.
SCATTERED = 400
# Points of the average over new batches of a rating, and of its uncertainty.
RATING_POINTS = 61


def page_data(basis: DecisionBasis) -> Json:
    """Gather settings, region, models, recipe and aims for the page's script.

    Returns:
        Values that JSON takes; every number as exact as it is, so that the script predicts what
        `predict` does.
    """
    study, region = basis.study, basis.region
    coding = region.coding
    production = production_of(study, coding)
    aims = {aim.response: aim for aim in _aims(basis)}
    nodes, weights = np.polynomial.hermite_e.hermegauss(RATING_POINTS)
    return {
        "format": FORMAT,
        "title": study.about.title,
        "question": study.about.question,
        "invented": basis.invented,
        "version": basis.provenance.version,
        "seed": basis.provenance.seed,
        "hashes": dict(basis.provenance.hashes),
        "level": basis.level,
        "z": float(stats.norm.ppf(0.5 + basis.level / 2)),
        "normalPoints": [numbers(nodes), numbers(weights / weights.sum())],
        "axes": axes_data(coding, study),
        "held": held_data(study),
        "region": region_data(region),
        "production": production_data(production),
        "responses": [
            response_data(study.response(name), surface, aims.get(name))
            for name, surface in basis.surfaces.items()
        ],
        "untold": [
            {"name": name, "why": why}
            for name, why in basis.not_fitted.items()
            if name not in basis.surfaces
        ],
        "recipe": recipe_data(study),
        "views": [{"role": view.role, "importance": dict(view.importance)} for view in study.views],
        "compromise": _compromise(basis, production),
        "scattered": _scattered(basis),
    }


def as_script_data(data: Json) -> str:
    """Write the value so that it can stand inside a script element of a page."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    # No sign that could end the element or begin a comment in it.
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _aims(basis: DecisionBasis) -> tuple[Aim, ...]:
    try:
        return aims_of(basis.study)
    except OptimumError:
        # Without aims there is nothing to weigh; the card still tells what a recipe gives.
        return ()


def _compromise(basis: DecisionBasis, production: Production) -> list[list[float | None]]:
    """Give the recommended recipe and its rivals as rows of settings, the best first."""
    if basis.compromise is None:
        return []
    recipes = (basis.compromise.best, *basis.compromise.alternatives)
    coding = basis.region.coding
    return [numbers(full_row(one.settings, coding, production)) for one in recipes]


def _scattered(basis: DecisionBasis) -> list[list[float | None]]:
    rng = np.random.default_rng(basis.seed)
    return numbers(sample_region(basis.region, SCATTERED, rng))
