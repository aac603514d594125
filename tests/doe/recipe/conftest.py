"""An invented red iron oxide mill base for an exterior masonry paint."""

from __future__ import annotations

from typing import Any

import pytest

from doe.study.brief import Study

BRIEF: dict[str, Any] = {
    "study": {"title": "Brick-red mill base", "seed": 7},
    "pigment": {"name": "red iron oxide"},
    "millbase": {
        "batch_g": 500.0,
        "sample_g": 60.0,
        "pigment_percent": 55.0,
        "ingredient": [{"name": "defoamer", "percent": 0.4, "active_percent": 25.0}],
    },
    "letdown": {
        "millbase_g": 25.0,
        "ingredient": [{"name": "acrylic dispersion", "grams": 75.0, "active_percent": 50.0}],
    },
    "tint": {"letdown_g": 2.0, "white_g": 40.0},
    "package": {
        "additive": [
            {"name": "wetting agent", "low": 0.1, "high": 0.4, "active_percent": 60.0},
            {
                "name": "dispersant", "low": 0.4, "high": 0.8, "active_percent": 40.0,
                "solvent_percent": 10.0,
            },
            {"name": "co-additive", "low": 0.0, "high": 0.3, "active_percent": 30.0},
        ]
    },
    "factor": [
        {"name": "dose", "role": "dose", "unit": "% on pigment", "low": 0.8, "high": 2.4},
        {"name": "pH", "low": 8.0, "high": 9.5, "set_by": "neutraliser"},
        {"name": "neutraliser", "levels": ["ammonia", "sodium hydroxide"]},
        {"name": "grind time", "unit": "min", "low": 15, "high": 45, "set_per": "sample"},
        {"name": "bead diameter", "unit": "mm", "value": 0.8},
    ],
    "control": [
        {"name": "present formula", "settings": {"dose": 1.5, "pH": 8.8, "Dispersant": 1.0}},
        {
            "name": "old polyacrylate",
            "ingredient": [{"name": "polyacrylate", "grams": 9.0, "active_percent": 40.0}],
        },
    ],
    "response": [{"name": "viscosity", "unit": "mPa·s"}],
}  # fmt: skip


@pytest.fixture
def brief() -> dict[str, Any]:
    """Give the brief as a table that a test may alter."""
    return {**BRIEF}


@pytest.fixture
def study() -> Study:
    """Give the brief as a value."""
    return Study.model_validate(BRIEF)
