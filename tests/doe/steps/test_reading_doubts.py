"""Readings that their scale has no place for are told as they come in."""

from __future__ import annotations

import pytest

from doe.steps.reading_doubts import impossible_readings
from doe.study.brief import Study
from doe.study.readings import Reading


@pytest.mark.parametrize(
    ("scale", "value", "is_told"),
    [
        ({"scale": "log"}, -40.0, True),
        ({"scale": "log"}, 40.0, False),
        ({"scale": "square root"}, -0.1, True),
        ({"scale": "logit", "bounds": [0.0, 100.0]}, 100.0, True),
        ({"scale": "identity"}, -40.0, False),
    ],
)
def test_only_what_the_scale_cannot_take_is_told(
    scale: dict[str, object], value: float, is_told: bool
) -> None:
    """A negative viscosity is a slip of the pen, not a reading."""
    study = Study.model_validate(
        {"study": {"title": "t"}, "response": [{"name": "viscosity", **scale}]}
    )
    reading = Reading(id=3, run=17, response="viscosity", value=value, source="bench.xlsx, G4")
    found = list(impossible_readings(study, [reading]))

    assert bool(found) == is_told
    assert all("Run 17" in finding.what for finding in found)
