"""Settings as made against the plan."""

from __future__ import annotations

from typing import Any

import pytest

from analysis.lab.doubts.settings import far_settings
from doe.study.readings import Actual
from tests.analysis.bench_cases import bench_of, study_of


def far(what: str, value: float, unit: str = "batch 1", **ph: Any) -> list[Any]:
    """Doubt one actual of batch 1, planned at 25 °C and pH 8."""
    factors = [
        {"name": "mill temperature", "low": 25, "high": 45},
        {"name": "pH", "low": 8.0, "high": 9.5, "set_by": "ammonia", **ph},
    ]
    actuals = [Actual(unit=unit, what=what, value=f"{value}")]
    return list(far_settings(bench_of(study=study_of(factor=factors), actuals=actuals)))


@pytest.mark.parametrize(
    ("brief", "allowed"),
    [({}, 0.2), ({"tolerance": 0.1}, 0.1), ({"scatter_sd": 0.15}, 0.3), ({"set_by": None}, 0.375)],
)
def test_a_titrated_setting_has_its_tolerance(brief: dict[str, Any], allowed: float) -> None:
    """The brief's, else twice its scatter, else 0.2 for pH; others a quarter of the range."""
    assert not far("pH", 8.0 + allowed, **brief)
    assert len(far("pH", 8.0 + allowed + 0.01, **brief)) == 1


def test_the_unit_and_its_runs_are_named() -> None:
    """With planned and actual value."""
    (found,) = far("pH", 8.41)

    assert found.label == "batch 1 (8.41 for 8)"
    assert (found.runs, found.batches) == ((1,), (1,))
    assert "common practice" in found.finding.what


def test_others_may_be_a_quarter_of_the_range_off() -> None:
    """As long ago."""
    assert not far("mill temperature", 30.0)
    assert len(far("mill temperature", 30.2)) == 1
