"""What a recipe gains on a control, as it is read."""

from __future__ import annotations

import math
from typing import Any

import pytest

from analysis.report.against_words import against_words
from analysis.surface.against_control import AgainstControl

NO_INTERVAL = (math.nan, math.nan)


def _one(measure: Any, value: float, interval: tuple[float, float], **more: Any) -> AgainstControl:
    given: dict[str, Any] = {
        "response": "viscosity", "unit": "mPa·s", "control": "present formula",
        "control_value": 900.0, "level": 0.95, "df": 12.0, "p": 0.01, "candidates": 1, **more,
    }  # fmt: skip
    return AgainstControl(measure=measure, value=value, interval=interval, **given)


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (
            _one("ratio", 0.58, (0.49, 0.69)),
            "42 % lower viscosity than the present formula (31 to 51 %)",
        ),
        (
            _one("ratio", 1.1234, (1.108, 1.1389)),
            "12.3 % higher viscosity than the present formula (10.8 to 13.9 %)",
        ),
        (
            _one("ratio", 0.95, (0.82, 1.10), control="Standard A"),
            "5 % lower viscosity than Standard A (18 % lower to 10 % higher)",
        ),
        (
            _one("ratio", 2.41, (2.01, 2.89)),
            "2.41 times the viscosity of the present formula (2.01 to 2.89 times)",
        ),
        (
            _one("difference", -38.0, (-61.0, -15.0), control="no additive"),
            "38 mPa·s lower viscosity than no additive (15 to 61 mPa·s)",
        ),
        (
            _one("difference", -0.52, (-0.87, -0.17), response="water uptake", unit="% by mass"),
            "0.52 percentage points lower water uptake than the present formula "
            "(0.17 to 0.87 percentage points)",
        ),
        (
            _one("difference", 0.2, (0.05, 0.35), response="settling", unit="probability"),
            "20 percentage points higher chance of an accepted settling than the present formula "
            "(5 to 35 percentage points)",
        ),
        (
            _one("ratio", 0.58, NO_INTERVAL),
            "42 % lower viscosity than the present formula "
            "(no interval: nothing is left to judge the error by)",
        ),
    ],
)
def test_a_gain_reads_as_the_bench_says_it(one: AgainstControl, words: str) -> None:
    """The nearer end first; both ends with their way where the interval holds no change."""
    assert against_words(one).replace("\N{NO-BREAK SPACE}", " ") == words
