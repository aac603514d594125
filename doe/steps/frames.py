"""Tables for notebook users: plans, readings, fits and predictions as pandas frames."""

from __future__ import annotations

from dataclasses import asdict

import pandas as pd

from analysis.fits.fitted_response import FittedResponse
from doe.steps.predict import PredictOutcome
from doe.steps.session import Session
from doe.study.plan import Plan


def plan_frame(plan: Plan) -> pd.DataFrame:
    """Give the runs in bench order, one row a run, indexed by run number."""
    rows = [plan.settings.row(i) for i in range(len(plan))]
    frame = pd.DataFrame(rows, columns=list(plan.settings.names))
    frame.insert(0, "kind", list(plan.kind))
    for name in ("panel", "sample", "batch", "day"):
        numbers = getattr(plan, name)
        if any(number is not None for number in numbers):
            frame.insert(0, name, pd.Series(list(numbers), dtype="Int64"))
    return frame.set_index(pd.Index(plan.run, name="run"))


def readings_frame(session: Session) -> pd.DataFrame:
    """Give the readings that stand, one row a reading."""
    return pd.DataFrame([asdict(reading) for reading in session.readings.current()])


def coefficients_frame(fitted: FittedResponse) -> pd.DataFrame:
    """Give the coefficients of one response on the fitted scale, indexed by term and level."""
    rows = [asdict(row) for row in fitted.assessment.coefficients]
    frame = pd.DataFrame(rows).drop(columns=["term", "powers", "levels"])
    return frame.set_index("label")


def predictions_frame(outcome: PredictOutcome) -> pd.DataFrame:
    """Give settings and predictions side by side, one row a setting, response units.

    Each response has four columns: its value, and the ends of both intervals.
    """
    settings = outcome.settings
    frame = pd.DataFrame([settings.row(i) for i in range(len(settings))])
    for name, one in outcome.predictions.items():
        frame[name] = one.value
        frame[f"{name}, true value from"], frame[f"{name}, true value to"] = one.mean_interval.T
        frame[f"{name}, new run from"], frame[f"{name}, new run to"] = one.run_interval.T
    return frame
