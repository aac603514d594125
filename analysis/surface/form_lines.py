"""A response along one factor: its polynomial, its best form, and the runs beside both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.forms.bendable import axis_of
from analysis.fits.forms.values import FormComparison
from analysis.fits.readings_on_scale import averaged
from analysis.fits.scales import inverse
from analysis.lab.response_data import ResponseData
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import predict_averaged, predict_values
from doe.model.bend import Bend
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray, frozen_array

POINTS = 121


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FormLines:
    """One response along one factor, all else as in one recipe.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        bend: The form drawn.
        factor_unit: Unit of the factor.
        polynomial: Name of the polynomial's model.
        in_use: Whether the form is the model in use.
        at: Shape (g,), settings of the factor, lab unit.
        form_value: The form there, shape (g,), response unit.
        form_interval: Where the true value lies, shape (g, 2).
        polynomial_value: The polynomial there, shape (g,).
        runs_at: Setting of each run of the plan, shape (n,).
        runs_value: What the form gives at the recipe with the run's own setting, and the run's
            residual added on the fitted scale; response unit, shape (n,).
        level: Confidence of the interval.
    """

    response: str
    unit: str
    bend: Bend
    factor_unit: str
    polynomial: str
    in_use: bool
    at: FloatArray
    form_value: FloatArray
    form_interval: FloatArray
    polynomial_value: FloatArray
    runs_at: FloatArray
    runs_value: FloatArray
    level: float

    def __post_init__(self) -> None:
        for name in (
            "at", "form_value", "form_interval", "polynomial_value", "runs_at", "runs_value",
        ):  # fmt: skip
            object.__setattr__(self, name, frozen_array(getattr(self, name)))


def form_lines(
    found: FormComparison,
    data: ResponseData,
    base: FloatArray,
    *,
    production: Production = NO_NOISE,
    level: float = 0.95,
) -> FormLines | None:
    """Trace the best form and the polynomial along the form's factor.

    Args:
        found: The comparison.
        data: Readings of the response.
        base: Shape (k,), lab units: where all other settings stand.
        production: Where the noise factors lie.
        level: Confidence of the interval.

    Returns:
        None where no form could be fitted.
    """
    fit = found.best
    bend = fit.model.bend if fit is not None else None
    if fit is None or bend is None:
        return None
    axis = axis_of(bend.factor, fit.coding)
    at = np.linspace(axis.low, axis.high, POINTS)
    rows = _along(fit, base, at, bend)
    value = predict_averaged(fit, rows, production, level=level)
    runs_at, runs_value = _runs(fit, data, base, bend)
    return FormLines(
        response=fit.response,
        unit=fit.unit,
        bend=bend,
        factor_unit=axis.unit,
        polynomial=found.polynomial.model.name,
        in_use=found.bend is not None,
        at=at,
        form_value=value.value,
        form_interval=value.mean_interval,
        polynomial_value=predict_values(found.polynomial, rows, production),
        runs_at=runs_at,
        runs_value=runs_value,
        level=level,
    )


def _along(fit: Fit, base: FloatArray, at: FloatArray, bend: Bend) -> FloatArray:
    rows = np.tile(base, (len(at), 1))
    rows[:, fit.coding.index(bend.factor)] = at
    return rows


def _runs(
    fit: Fit, data: ResponseData, base: FloatArray, bend: Bend
) -> tuple[FloatArray, FloatArray]:
    """Put the runs of the plan to the recipe: partial residuals, on the fitted scale."""
    planned = np.array([name is None for name in data.control])
    settings = data.actual.values[planned]
    at = settings[:, fit.coding.index(bend.factor)]
    own = model_matrix(settings, fit.coding, fit.model) @ fit.coefficients
    there = model_matrix(_along(fit, base, at, bend), fit.coding, fit.model) @ fit.coefficients
    moved = there + averaged(data, fit.scale)[planned] - own
    return at, inverse(fit.scale, moved)
