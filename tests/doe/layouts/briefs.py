"""Small invented briefs and requests for the tests of layouts and appraisal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from doe.layouts.request import Request
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.brief import Study

RANGES: tuple[dict[str, Any], ...] = (
    {"name": "dose", "unit": "% on pigment", "low": 0.8, "high": 2.4},
    {"name": "pH", "low": 8.0, "high": 9.5},
    {"name": "grind time", "unit": "min", "low": 15.0, "high": 45.0},
    {"name": "mill speed", "unit": "m/s", "low": 8.0, "high": 14.0},
    {"name": "mill temperature", "unit": "°C", "low": 25.0, "high": 45.0},
    {"name": "bead fill", "unit": "%", "low": 60.0, "high": 85.0},
    {"name": "pigment load", "unit": "%", "low": 45.0, "high": 60.0},
    {"name": "premix time", "unit": "min", "low": 5.0, "high": 20.0},
)
BASE_CHOICE: dict[str, Any] = {"name": "neutraliser", "levels": ["ammonia", "sodium hydroxide"]}
CHEMISTRY: dict[str, Any] = {"name": "chemistry", "levels": ["acrylate", "block", "comb"]}
WHOLE_SIMPLEX: tuple[dict[str, Any], ...] = (
    {"name": "wetting agent", "low": 0.0, "high": 1.0},
    {"name": "dispersant", "low": 0.0, "high": 1.0},
    {"name": "co-additive", "low": 0.0, "high": 1.0},
)
CUT_SIMPLEX: tuple[dict[str, Any], ...] = (
    {"name": "wetting agent", "low": 0.1, "high": 0.4},
    {"name": "dispersant", "low": 0.4, "high": 0.8},
    {"name": "co-additive", "low": 0.0, "high": 0.3},
)


def a_study(
    factors: Sequence[dict[str, Any]] = (),
    additives: Sequence[dict[str, Any]] = (),
    **more: Any,
) -> Study:
    """Build a brief from its factors and additives."""
    sections: dict[str, Any] = {
        "study": {"title": "Brick-red millbase (invented)"},
        "factor": list(factors),
        "response": [{"name": "viscosity"}],
        **more,
    }
    if additives:
        sections["package"] = {"additive": list(additives)}
    return Study.model_validate(sections)


def a_request(study: Study, **wishes: Any) -> Request:
    """Ask for a plan of a brief."""
    return Request(study=study, coding=coding_of(study), region=region_of(study), **wishes)
