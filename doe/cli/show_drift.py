"""How the drift of controls looks in the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from analysis.fits.control_drift import ControlDrift
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.report.rounding import (
    interval_error,
    interval_text,
    p_text,
    percent,
    plain,
    with_error,
)
from doe.cli.screen import paragraph, text_table
from doe.steps.drift_contract import CorrectedValue


def show_drift(drifts: Mapping[str, Sequence[ControlDrift]], fits: Mapping[str, Fit]) -> str:
    """Show how far each control drifted from its first run to its last; nothing without any."""
    every = [(fits[name], one) for name, own in drifts.items() for one in own]
    if not every:
        return ""
    level = percent(every[0][1].level)
    heads = [
        "response",
        "control",
        "runs",
        "drift, first to last",
        "unit",
        f"{level} interval",
        "p",
    ]
    rows = [_row(fit, one) for fit, one in every]
    corrected = [name for name, fit in fits.items() if fit.drift is not None and name in drifts]
    said = "nothing is corrected for it"
    if corrected:
        said = f"corrected for in {', '.join(corrected)}"
    head = f"Drift of the controls in order as done; {said}:"
    return f"{head}\n{text_table(heads, rows)}"


def show_correction(fitted: FittedResponse, beside: CorrectedValue | None) -> list[str]:
    """Show a response corrected for drift beside the same model without; nothing otherwise."""
    correction = fitted.drift
    if correction is None or beside is None:
        return []
    rows = [
        [
            one.label,
            with_error(one.before, one.std_error),
            with_error(one.after, one.std_error),
            "fitted scale",
        ]
        for one in correction.moved
    ]
    if beside.uncorrected is not None:
        values = (plain(beside.uncorrected), plain(beside.corrected))
        rows.append([f"predicted {beside.where}", *values, fitted.fit.unit])
    head = paragraph(
        "Without and with the correction for drift: what moves by more than its standard error, "
        "and what is predicted:"
    )
    return [f"{head}\n{text_table(['', 'without', 'corrected', 'unit'], rows)}"]


def _row(fit: Fit, one: ControlDrift) -> list[str]:
    change, low, high = one.change, *one.interval
    unit = fit.unit
    if fit.scale.name == "log":
        change, low, high = (100 * math.expm1(value) for value in (change, low, high))
        unit = "%"
    elif fit.scale.name != "identity":
        unit = f"{fit.scale.name} scale"
    error = interval_error(low, high)
    shown = [with_error(change, error), unit, interval_text(low, high, error), p_text(one.p)]
    return [fit.response, one.control, str(one.n), *shown]
