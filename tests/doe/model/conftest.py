"""The invented masonry-paint millbase, in the parts that a test asks for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pytest

from doe.study.brief import Study

ADDITIVES: tuple[Mapping[str, Any], ...] = (
    {"name": "wetting agent", "low": 0.10, "high": 0.40, "step": 0.01},
    {"name": "dispersant", "low": 0.40, "high": 0.80, "step": 0.01},
    {"name": "hydrophobic co-additive", "low": 0.00, "high": 0.30, "step": 0.01},
)
DOSE = {"name": "dose", "role": "dose", "unit": "%", "low": 0.8, "high": 2.4, "spacing": "log"}
PH = {"name": "pH", "low": 8.0, "high": 9.5, "step": 0.05}
TIME = {"name": "grind time", "unit": "min", "low": 15, "high": 45}
NEUTRALISER = {"name": "neutraliser", "levels": ["ammonia", "sodium hydroxide"]}
BEADS = {"name": "bead diameter", "unit": "mm", "levels": [0.6, 0.8, 1.2]}

MakeStudy = Callable[..., Study]


def study_of(
    additives: Sequence[Mapping[str, Any]] = (),
    factors: Sequence[Mapping[str, Any]] = (),
    *,
    limits: Sequence[Mapping[str, Any]] = (),
    forbids: Sequence[Mapping[str, Any]] = (),
) -> Study:
    """Make a study of nothing but settings and bounds."""
    brief: dict[str, Any] = {
        "study": {"title": "invented"},
        "factor": list(factors),
        "limit": list(limits),
        "forbid": list(forbids),
    }
    if additives:
        brief["package"] = {"additive": list(additives)}
    return Study.model_validate(brief)


@pytest.fixture(scope="session")
def make_study() -> MakeStudy:
    """Offer `study_of` to the tests."""
    return study_of


@pytest.fixture(scope="session")
def package() -> tuple[Mapping[str, Any], ...]:
    """Offer the three additives."""
    return ADDITIVES


@pytest.fixture(scope="session")
def factor() -> Mapping[str, Mapping[str, Any]]:
    """Offer the factors by name."""
    return {str(f["name"]): f for f in (DOSE, PH, TIME, NEUTRALISER, BEADS)}
