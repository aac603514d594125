"""Frames for notebook users say the same as the values behind them."""

from __future__ import annotations

from pathlib import Path

import pytest

import doe.steps as steps
from doe.steps.session import open_study

BRIEF = """
format = 1
[study]
title = "t"
[[factor]]
name = "dose"
low = 1.0
high = 3.0
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[response]]
name = "viscosity"
"""
TABLE = """run,dose,neutraliser,viscosity
1,1,ammonia,10
2,3,ammonia,14.5
3,1,sodium hydroxide,12
4,3,sodium hydroxide,17
5,2,ammonia,12.1
6,2,sodium hydroxide,14.7
"""


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Six runs of a dose and a choice."""
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    (tmp_path / "table.csv").write_text(TABLE, encoding="utf-8")
    steps.adopt_table(tmp_path / "table.csv", folder)
    return folder


def test_the_plan_frame_has_a_row_a_run_with_words_for_choices(study: Path) -> None:
    """Settings in lab units, indexed by run number."""
    frame = steps.plan_frame(open_study(study).needed_plan())

    assert list(frame.index) == [1, 2, 3, 4, 5, 6]
    assert list(frame["neutraliser"])[:3] == ["ammonia", "ammonia", "sodium hydroxide"]
    assert list(frame["dose"]) == [1, 3, 1, 3, 2, 2]


def test_the_other_frames_hold_the_numbers_of_their_values(study: Path) -> None:
    """A frame is a view, not a second calculation."""
    readings = steps.readings_frame(open_study(study))
    fitted = steps.fit_study(study).analysis.fitted["viscosity"]
    coefficients = steps.coefficients_frame(fitted)
    outcome = steps.predict_study(study, at=["dose=2", "neutraliser=ammonia"])
    predictions = steps.predictions_frame(outcome)

    assert list(readings["value"]) == [10, 14.5, 12, 17, 12.1, 14.7]
    assert list(coefficients["estimate"]) == list(fitted.fit.coefficients)
    assert predictions.loc[0, "viscosity"] == outcome.predictions["viscosity"].value[0]


def test_an_unknown_name_of_the_front_is_told_with_the_known_ones() -> None:
    """The lazy front must not hide a slip of the pen."""
    with pytest.raises(AttributeError, match="fit_study"):
        _ = steps.fit_stuyd
