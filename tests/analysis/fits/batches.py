"""A split-plot study for tests: doses set a batch, times drawn from it as samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

DOSES = (0.8, 1.6, 2.4, 0.8, 1.6, 2.4, 1.2, 2.0)
TIMES = (15.0, 30.0, 45.0)


def split_plot(
    *,
    batch_sd: float = 0.1,
    sd: float = 0.05,
    seed: int = 3,
    doses: Sequence[float] = DOSES,
    times: Sequence[float] = TIMES,
    scale: str = "log",
    high: float = 2.4,
) -> tuple[ResponseData, Coding]:
    """Make readings exp(7 − 0.3 dose − 0.01 time) with scatter of batches and of samples."""
    rng = np.random.default_rng(seed)
    study = study_of(
        factors=[
            range_factor("dose", 0.8, high),
            range_factor("time", 15, 45, unit="min", set_per="sample"),
        ],
        response={"name": "y", "unit": "mPa·s", "scale": scale},
    )
    rows, batch = [], []
    for number, dose in enumerate(doses):
        shift = batch_sd * rng.standard_normal()
        for time in times:
            level = 7 - 0.3 * dose - 0.01 * time + shift + sd * rng.standard_normal()
            rows.append({"dose": dose, "time": time, "y": float(np.exp(level))})
            batch.append(number + 1)
    data, coding = adopt(study, rows, "y")
    return replace(data, batch=tuple(batch)), coding
