"""Compare the polynomial of a response with forms of one factor: by AICc, and by units left out.

Source:
    Hurvich and Tsai (1989), Biometrika 76, 297-307, for AICc; leaving whole batches out, as a new
    batch is what is predicted: common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.fitted_response import FittedResponse
from analysis.fits.forms.bendable import WantedForm
from analysis.fits.forms.fitting import Shaped, compared, fit_shaped, shaped
from analysis.fits.forms.left_out import left_out_error
from analysis.fits.forms.rows import FormRows, rows_of
from analysis.fits.forms.values import POLYNOMIAL, ComparedForm, FormComparison, LeftOut, typed_form
from analysis.lab.response_data import ResponseData
from doe.model.bend import FormName
from doe.model.coding import Coding
from doe.study.settings import FloatArray, IntArray

_UNITS: tuple[LeftOut, ...] = ("day", "batch", "sample", "panel")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Left:
    """What is left out in turn, and the error of the polynomial then."""

    name: LeftOut | None
    units: tuple[IntArray, ...]
    error: float | None


def compare_forms(
    data: ResponseData,
    coding: Coding,
    plain: FittedResponse,
    used: FittedResponse,
    wanted: Sequence[WantedForm],
) -> FittedResponse:
    """Set the forms that a response may follow beside its polynomial.

    Args:
        data: The response over its runs.
        coding: The settings.
        plain: Its fit without a form.
        used: The fit in use: the same, or one with a form.
        wanted: The forms.

    Returns:
        The fit in use with the comparison; as it is where nothing can be compared, as for ratings,
        counts, readings off the scale and readings that are all the same.
    """
    known = plain.assessment
    if plain.fit.family != "gaussian" or not wanted or known.residual_df < 1 or not plain.varies:
        return used
    every = _every(wanted, used)
    found = {(f, form): shaped(data, coding, plain, form, f) for f, form in every}
    rows = rows_of(data, coding, plain.fit.model, plain.fit)
    ratios = rows.ratios_of(plain.fit)
    good = {key: one for key, one in found.items() if isinstance(one, Shaped)}
    left = _left_out(rows, ratios) if good else _Left(name=None, units=(), error=None)
    lines = [
        ComparedForm(form=POLYNOMIAL, aicc=plain.assessment.aicc, left_out_rmse=left.error),
        *(_line(key, one, left) for key, one in found.items()),
    ]
    comparison = FormComparison(
        polynomial=plain.fit, compared=tuple(lines), left_out=left.name
    )  # fmt: skip
    return replace(used, form=_with_best(comparison, data, coding, plain, used, good))


def _every(wanted: Sequence[WantedForm], used: FittedResponse) -> tuple[tuple[str, FormName], ...]:
    """List the forms to try, the one in use among them."""
    every = [(one.factor, form) for one in wanted for form in one.forms]
    bend = used.fit.model.bend
    if bend is not None and (bend.factor, bend.form) not in every:
        every.insert(0, (bend.factor, bend.form))
    return tuple(every)


def _left_out(rows: FormRows, ratios: FloatArray) -> _Left:
    """Leave batches out (or whatever is coarsest), else runs, where the others carry the model."""
    choices: list[tuple[LeftOut, tuple[IntArray, ...]]] = []
    for stratum in rows.strata.random:
        name = next((one for one in _UNITS if one == stratum.name), None)
        if name is not None:
            choices.append((name, _groups(stratum.unit)))
    choices.append(("run", _groups(rows.run)))
    choices.sort(key=lambda one: one[0] != "batch")
    for name, units in choices:
        error = left_out_error(rows, units, ratios)
        if error is not None:
            return _Left(name=name, units=units, error=error)
    return _Left(name=None, units=(), error=None)


def _groups(unit: IntArray) -> tuple[IntArray, ...]:
    return tuple(np.flatnonzero(unit == one) for one in np.unique(unit))


def _line(key: tuple[str, FormName], one: Shaped | str, left: _Left) -> ComparedForm:
    if isinstance(one, str):
        factor, name = key
        return ComparedForm(form=f"{factor}: {name}", factor=factor, name=name, why_not=one)
    error = None
    if left.error is not None:
        error = left_out_error(one.rows, left.units, one.ratios, one.bend, one.bounds)
    return compared(one, error)


def _with_best(
    comparison: FormComparison,
    data: ResponseData,
    coding: Coding,
    plain: FittedResponse,
    used: FittedResponse,
    good: dict[tuple[str, FormName], Shaped],
) -> FormComparison:
    """Add the form in use, or the best one that is not."""
    if used.form is not None and used.form.bend is not None:
        bend, shape, best = used.form.bend, used.form.shape, used.fit
        return replace(comparison, bend=bend, shape=shape, best=best)
    known = [one for one in good.values() if one.aicc is not None]
    if not known:
        return comparison
    first = comparison.better
    if first is not None:
        known = [one for one in known if typed_form(one.bend) == first.form]
    lowest = min(known, key=lambda one: one.aicc or 0.0)
    fitted = fit_shaped(data, coding, plain, lowest)
    shape = fitted.form.shape if fitted.form is not None else ()
    return replace(comparison, shape=shape, best=fitted.fit)
