"""Correct a response for drift, set it beside the fit without, and say what to make of either."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from analysis.fits.control_drift import ControlDrift, control_drifts
from analysis.fits.drift_values import DriftCorrection, MovedCoefficient, slope_in_words
from analysis.fits.estimable import labels_of
from analysis.fits.findings import CLEAR
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.order_slope import OrderSlope
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.study.finding import Finding

_MOST_TOLD = 4


def told_of_drift(data: ResponseData, coding: Coding, fitted: FittedResponse) -> FittedResponse:
    """Say what drift was taken off a response, or how to have it taken off where controls show it.

    Args:
        data: The response, with the middle of the order where it is corrected.
        coding: The settings.
        fitted: Its fit.
    """
    level = fitted.assessment.level
    if fitted.fit.drift is None:
        said = tuple(_to_ask_for(fitted.fit, control_drifts(data, fitted.fit, level=level)))
        return replace(fitted, findings=(*fitted.findings, *said))
    correction = _beside_plain(data, coding, fitted)
    told = _corrected(fitted.fit, fitted.fit.drift, correction, level)
    return replace(fitted, drift=correction, findings=(*fitted.findings, told))


def clear_drift(drifts: Sequence[ControlDrift]) -> ControlDrift | None:
    """Find the control whose drift is clearest, if it is beyond chance at all."""
    clear = [one for one in drifts if one.p < CLEAR]
    return min(clear, key=lambda one: one.p, default=None)


def _beside_plain(
    data: ResponseData, coding: Coding, fitted: FittedResponse
) -> DriftCorrection | None:
    fit = fitted.fit
    try:
        plain = fit_response(
            replace(data, drift_middle=None), coding, model=fit.model, scale=fit.scale,
            level=fitted.assessment.level,
        ).fit  # fmt: skip
    except FitError:
        return None
    errors = np.sqrt(np.diag(plain.covariance))
    rows = zip(
        labels_of(fit.model, coding), plain.coefficients, fit.coefficients, errors, strict=True
    )
    moved = tuple(
        MovedCoefficient(label=label, before=float(a), after=float(b), std_error=float(error))
        for label, a, b, error in rows
        if abs(b - a) > error
    )
    return DriftCorrection(plain=plain, moved=moved)


def _to_ask_for(fit: Fit, drifts: Sequence[ControlDrift]) -> Iterator[Finding]:
    clear = clear_drift(drifts)
    if clear is None:
        return
    (change, low, high), unit = slope_in_words(fit, (clear.change, *clear.interval))
    unit = unit.removesuffix("a run").strip().rstrip(",")
    yield Finding(
        level="caution",
        what=f"'{fit.response}' of the control '{clear.control}' drifted by {change:.3g} {unit} "
        f"from its first run to its last ({low:.3g} to {high:.3g} {unit} at "
        f"{100 * clear.level:g} %). Nothing is corrected for it: it stays in the scatter.",
        evidence={"control": clear.control, "runs": clear.n, "p": float(f"{clear.p:.2g}")},
        advice="Look for the cause first. If everything made then drifted alike, ask for 'millbase "
        f'fit STUDY --only "{fit.response}" --correct-drift\' and compare; --keep --because "…" '
        "puts it on record.",
    )


def _corrected(
    fit: Fit, drift: OrderSlope, correction: DriftCorrection | None, level: float
) -> Finding:
    (slope, low, high), unit = slope_in_words(fit, (drift.slope, *drift.interval(level)))
    what = (
        f"'{fit.response}' is corrected for a straight drift along the order as done: {slope:.3g} "
        f"{unit} ({low:.3g} to {high:.3g} at {100 * level:g} %), told by controls and runs "
        "together. All values are for the middle of the order. "
    )
    clear = drift.p < CLEAR
    return Finding(
        level="note" if clear else "caution",
        what=what + _moved_words(correction),
        evidence={"degrees of freedom": round(drift.df, 1), "p": float(f"{drift.p:.2g}")},
        advice="A drift that bends or jumps is not taken off by a straight line: look at the "
        "controls along the order."
        if clear
        else "This drift is not beyond chance, and its column costs a degree of freedom: fit with "
        "--no-correct-drift unless its cause is known.",
        source="A covariate beside the terms: Cochran and Cox (1957), Experimental Designs, "
        "2nd ed., chapter 3 (from memory)",
    )


def _moved_words(correction: DriftCorrection | None) -> str:
    if correction is None:
        return "Without the correction the model cannot be fitted."
    moved = correction.moved
    if not moved:
        return "No coefficient moves by more than its standard error."
    shown = "; ".join(
        f"'{one.label}' from {one.before:.3g} to {one.after:.3g}" for one in moved[:_MOST_TOLD]
    )
    more = f" and {len(moved) - _MOST_TOLD} more" if len(moved) > _MOST_TOLD else ""
    return f"By more than its standard error it moves {shown}{more} (fitted scale)."
