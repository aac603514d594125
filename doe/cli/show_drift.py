"""How the drift of controls looks in the terminal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from analysis.fits.control_drift import ControlDrift
from analysis.fits.fit import Fit
from analysis.report.rounding import interval_error, interval_text, p_text, percent, with_error
from doe.cli.screen import text_table


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
    head = "Drift of the controls in order as done; nothing is corrected for it:"
    return f"{head}\n{text_table(heads, rows)}"


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
