"""A study for tests of forms: doses set a batch, times drawn from it, an approach to an end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.study.brief import Study
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

# Each end twice: a batch left out at the only one would be told by extrapolation.
DOSES = (0.8, 1.2, 2.0, 3.2, 0.8, 3.2)
TIMES = (5.0, 10.0, 20.0, 40.0, 60.0)


def kinetics_study(
    *, spacing: Literal["even", "log"] = "even", low: float = 0.8, **response: Any
) -> Study:
    """Write a brief with a dose and a grind time."""
    return study_of(
        factors=[
            range_factor("dose", low, 3.2, unit="%", role="dose", spacing=spacing),
            range_factor("grind time", 5.0, 60.0, unit="min", set_per="sample"),
        ],
        response={"name": "strength", "unit": "%", "aim": "high", "best": 100, "worst": 60}
        | response,
    )


def kinetics(
    *,
    batches: bool = True,
    rate: float = 0.07,
    sd: float = 0.6,
    times: Sequence[float] = TIMES,
    seed: int = 3,
    study: Study | None = None,
) -> tuple[ResponseData, Coding]:
    """Make readings 100 − 45 exp(−k t) − 20 / (1 + dose) with scatter of batches and samples."""
    rng = np.random.default_rng(seed)
    rows, batch = [], []
    for number, dose in enumerate(DOSES, start=1):
        shift = rng.normal(0, 1.0) if batches else 0.0
        for time in times:
            y = 100 - 45 * np.exp(-rate * time) - 20 / (1 + dose) + shift + rng.normal(0, sd)
            rows.append({"dose": dose, "grind time": time, "strength": round(float(y), 2)})
            batch.append(number)
    data, coding = adopt(study or kinetics_study(), rows, "strength")
    return (replace(data, batch=tuple(batch)) if batches else data), coding
