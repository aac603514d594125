"""Invented split-plots: batches by dose and pH, three grind times each, viscosity off the scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.lab.response_data import ResponseData
from analysis.lab.responses import gather
from doe.model.coding import Coding, coding_of
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from doe.study.readings import Reading, Readings
from doe.study.settings import Settings

# Logarithm of viscosity at the middle, and its change over half a range of dose, pH, grind time.
TRUTH = np.array([6.5, 0.5, 0.3, -0.3])
CORNERS = [(0.8, 8.0), (2.4, 8.0), (0.8, 9.5), (2.4, 9.5)]
TIMES = (15.0, 30.0, 45.0)


def study(**response: Any) -> Study:
    """Write the brief; `response` overrides keys of the one response."""
    return Study.model_validate(
        {
            "study": {"title": "an invented split-plot"},
            "factor": [
                {"name": "dose", "low": 0.8, "high": 2.4},
                {"name": "pH", "low": 8.0, "high": 9.5},
                {"name": "grind time", "low": 15, "high": 45, "set_per": "sample"},
            ],
            "response": [
                {"name": "viscosity", "unit": "mPa·s", "scale": "log", "when_gelled": "above"}
                | response
            ],
        }
    )


def plan(times: int = 3) -> Plan:
    """Plan `times` batches at each corner, three samples each."""
    corners = CORNERS * times
    rows = [(*corner, time) for corner in corners for time in TIMES]
    n = len(rows)
    return Plan(
        settings=Settings(names=("dose", "pH", "grind time"), values=np.array(rows)),
        run=tuple(range(1, n + 1)),
        round=(1,) * n,
        day=(None,) * n,
        batch=tuple(1 + i // 3 for i in range(n)),
        sample=tuple(range(1, n + 1)),
        panel=(None,) * n,
        kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=("linear",)),),
    )


def log_viscosity(
    rng: np.random.Generator, *, batch_sd: float, sd: float, times: int = 3
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Draw the true logarithms of one study."""
    values = plan(times).settings.values
    coded = (values - [1.6, 8.75, 30.0]) / [0.8, 0.75, 15.0]
    n = len(values)
    of_batch = np.repeat(rng.normal(0.0, batch_sd, n // 3), 3)
    z: np.ndarray[Any, np.dtype[np.float64]] = (
        TRUTH[0] + coded @ TRUTH[1:] + of_batch + rng.normal(0.0, sd, n)
    )
    return z


def data_of(
    lines: Sequence[dict[str, Any]], *, times: int = 3, **response: Any
) -> tuple[ResponseData, Coding]:
    """Gather readings given by run, value and flag."""
    brief = study(**response)
    rows = tuple(
        Reading(id=i, response="viscosity", **line) for i, line in enumerate(lines, start=1)
    )
    gathered = gather(brief, plan(times), Readings(rows=rows))
    return gathered["viscosity"], coding_of(brief)


def read_up_to(
    values: np.ndarray[Any, np.dtype[np.float64]], limit: float, *, gels: bool = False
) -> list[dict[str, Any]]:
    """Read values with an instrument that ends at a limit, or let what is beyond it gel."""
    beyond = {"flag": "gelled"} if gels else {"flag": "above", "value": limit}
    return [
        {"run": run, **(beyond if value > limit else {"value": float(value)})}
        for run, value in enumerate(values, start=1)
    ]
