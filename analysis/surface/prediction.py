"""Predictions of one response at many settings, as a value."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.fits.fit import ValueIs
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """What to expect of one response at n settings, in the response's unit.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        value: Shape (n,); mean, median on a transformed scale, or probability (see `value_is`).
        value_is: Which of them.
        mean_interval: Shape (n, 2), where the true value lies, at `level`.
        run_interval: Shape (n, 2), where one new run lies, at `level`.
        predict_for: What the new run is, in words.
        level: Confidence, 0..1.
        inside: Shape (n,), 1.0 where the settings lie in the region that was tried, else 0.0.
    """

    response: str
    unit: str
    value: FloatArray
    value_is: ValueIs
    mean_interval: FloatArray
    run_interval: FloatArray
    predict_for: str
    level: float
    inside: FloatArray
