"""Fit a response with a form of one factor in place of the factor's square.

The model is linearised at its shape: beside its terms stand columns along which the value moves
with the shape, so that errors, degrees of freedom, tests and predictions are those of the delta
method without anything being done for them.

Source:
    Bates and Watts (1988), Nonlinear Regression Analysis and Its Applications, section 2.3 (from
    memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.assessment import AnovaRow, Assessment, CoefficientRow
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.forms.bendable import (
    WantedForm,
    axis_of,
    bend_of,
    settings_tried,
    why_not,
    without_squares,
)
from analysis.fits.forms.rows import FormRows, rows_of
from analysis.fits.forms.shape_search import (
    Bounds,
    NoShapeError,
    find_shape,
    search_bounds,
    shape_interval,
)
from analysis.fits.forms.values import (
    POLYNOMIAL,
    ComparedForm,
    FormComparison,
    FormShape,
    typed_form,
    unit_words,
)
from analysis.fits.sources import SHAPE
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.bend import Bend, FormName
from doe.model.coding import Coding
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shaped:
    """A form with its shape, on the rows it was found on.

    Attributes:
        rows: The rows, with the terms that are left beside the form.
        bend: The form, its weights known.
        bounds: Between which its shape was sought.
        ratios: Variance ratios at which the search began.
        aicc: Of the whole model by the plain likelihood, its shape counted.
    """

    rows: FormRows
    bend: Bend
    bounds: Bounds
    ratios: FloatArray
    aicc: float | None


def fit_with_form(
    data: ResponseData, coding: Coding, plain: FittedResponse, wanted: WantedForm
) -> FittedResponse:
    """Fit a response with the form that is asked for; of several, the one of the lowest AICc.

    Args:
        data: The response over its runs.
        coding: The settings.
        plain: Its fit without a form: gives the terms, the scale and the level.
        wanted: The form.

    Raises:
        FitError: The form cannot be fitted: no normal errors, too few settings, or readings that
            tell no shape.
    """
    _refuse_family(plain)
    tried = {form: shaped(data, coding, plain, form, wanted.factor) for form in wanted.forms}
    good = [one for one in tried.values() if isinstance(one, Shaped)]
    if not good:
        reasons = [f"{form}: {why}" for form, why in tried.items()]
        raise FitError(
            f"no form of {wanted.factor} can be fitted ({'; '.join(reasons)})",
            where=f"response '{data.response.name}'",
            allowed="forms whose shape the runs tell",
            do="Fit the polynomial (--form polynomial), or add runs at more settings.",
        )
    best = min(good, key=lambda one: np.inf if one.aicc is None else one.aicc)
    return fit_shaped(data, coding, plain, best)


def shaped(
    data: ResponseData, coding: Coding, plain: FittedResponse, form: FormName, factor: str
) -> Shaped | str:
    """Find the shape of a form; or why it cannot be told, a phrase."""
    model = without_squares(plain.fit.model, factor)
    values = settings_tried(data, coding, factor)
    reason = why_not(form, factor, model, values, axis_of(factor, coding))
    if reason:
        return reason
    rows = rows_of(data, coding, model, plain.fit)
    bend = bend_of(form, factor, coding)
    bounds, ratios = search_bounds(bend, values), rows.ratios_of(plain.fit)
    if len(rows.y) <= rows.n_surface + rows.beside.shape[1] + len(bounds):
        return "the runs leave nothing to judge it by"
    try:
        found, top = find_shape(rows, bend, bounds, ratios)
    except NoShapeError as error:
        return str(error)
    aicc = rows.likelihood(top).aicc(rows.log_jacobian)
    return Shaped(rows=rows, bend=found, bounds=bounds, ratios=ratios, aicc=aicc)


def fit_shaped(
    data: ResponseData, coding: Coding, plain: FittedResponse, found: Shaped
) -> FittedResponse:
    """Fit a response with a form whose shape is found."""
    level = plain.assessment.level
    model = replace(found.rows.model, bend=found.bend)
    fitted = fit_response(data, coding, model=model, scale=plain.fit.scale, level=level)
    shape = shape_of(found, fitted, coding, level)
    return replace(
        fitted,
        assessment=_assessed(fitted.assessment, found, shape),
        form=FormComparison(
            polynomial=plain.fit, bend=found.bend, shape=shape, best=fitted.fit,
            compared=(
                ComparedForm(form=POLYNOMIAL, aicc=plain.assessment.aicc),
                compared(found),
            ),
        ),
    )  # fmt: skip


def compared(found: Shaped, left_out_rmse: float | None = None) -> ComparedForm:
    """Give the line of a form in the table of what was compared."""
    return ComparedForm(
        form=typed_form(found.bend),
        factor=found.bend.factor,
        name=found.bend.form,
        aicc=found.aicc,
        left_out_rmse=left_out_rmse,
    )


def shape_of(
    found: Shaped, fitted: FittedResponse, coding: Coding, level: float
) -> tuple[FormShape, ...]:
    """Give the shape parameters with their errors and profile intervals."""
    bend, fit = found.bend, fitted.fit
    units = unit_words(bend, axis_of(bend.factor, coding).unit)
    places = [j for j, column in enumerate(fit.columns) if column.shape]
    errors = np.sqrt(np.diag(fit.covariance))[places]
    return tuple(
        FormShape(
            name=name,
            value=value,
            unit=unit,
            std_error=float(error) if np.isfinite(error) else None,
            interval=shape_interval(found.rows, bend, found.bounds, i, level=level),
        )
        for i, (name, value, unit, error) in enumerate(
            zip(bend.kind.parameters, bend.shape, units, errors, strict=True)
        )
    )


def _refuse_family(plain: FittedResponse) -> None:
    if plain.fit.family != "gaussian":
        raise FitError(
            "forms are fitted to numbers on their scale only, not to ratings, counts or readings "
            "off the scale",
            where=f"response '{plain.fit.response}'",
            allowed="polynomials for this response",
            do="Fit it without --form.",
        )


def _assessed(known: Assessment, found: Shaped, shape: Sequence[FormShape]) -> Assessment:
    """Put the shape in the place of the zeros that the linearised model has for it."""
    values = {f"{found.bend.factor}: {one.name}": one for one in shape}
    return replace(
        known,
        aicc=found.aicc if known.components else known.aicc,
        coefficients=tuple(_row(row, values.get(row.label)) for row in known.coefficients),
        anova=tuple(_untested(row) for row in known.anova),
        anova_by_order=tuple(_untested(row) for row in known.anova_by_order),
        misleading=tuple(row for row in known.misleading if row.label not in values),
    )


def _row(row: CoefficientRow, one: FormShape | None) -> CoefficientRow:
    if one is None:
        return row
    low, high = one.interval
    whole = (low, high) if low is not None and high is not None else None
    return replace(
        row, term=row.label, powers={}, estimate=one.value, t=None, p=None, interval=whole,
        is_shape=True,
    )  # fmt: skip


def _untested(row: AnovaRow) -> AnovaRow:
    # At its estimate a shape explains nothing more: its row only counts its degrees of freedom.
    return replace(row, f=None, p=None) if row.source.startswith(SHAPE) else row
