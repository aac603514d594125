"""An invented study with two batches of two samples, a control, and names that try the sheets."""

from __future__ import annotations

import copy
import io
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import openpyxl
import pytest

from doe.sheets.workbook import workbook_bytes
from doe.study.brief import Study
from doe.study.plan import Kind, Plan, Round
from doe.study.settings import Settings

BRIEF: dict[str, Any] = {
    "study": {"title": "Brick-red mill base", "question": "Which package?", "seed": 7},
    "pigment": {"name": "red iron oxide"},
    "millbase": {
        "batch_g": 500.0,
        "sample_g": 60.0,
        "pigment_percent": 55.0,
        "ingredient": [{"name": "defoamer", "percent": 0.4}],
    },
    "letdown": {
        "millbase_g": 25.0,
        "ingredient": [{"name": "acrylic dispersion", "grams": 75.0, "active_percent": 50.0}],
    },
    "tint": {"letdown_g": 2.0, "white_g": 40.0},
    "package": {
        "additive": [
            {"name": "=wetting agent", "low": 0.1, "high": 0.4, "active_percent": 60.0},
            {"name": "диспергатор", "low": 0.4, "high": 0.8, "active_percent": 40.0},
        ]
    },
    "factor": [
        {"name": "dose", "role": "dose", "unit": "% on pigment", "low": 0.8, "high": 2.4},
        {"name": "pH", "low": 8.0, "high": 9.5, "set_by": "base"},
        {"name": "neutraliser", "levels": ["ammonia", "sodium hydroxide"]},
        {"name": "mill temperature", "unit": "°C", "low": 25, "high": 45, "set_per": "day"},
        {"name": "grind time", "unit": "min", "low": 15, "high": 45, "set_per": "sample"},
        {"name": "bead diameter", "unit": "mm", "value": 0.8},
    ],
    "control": [
        {
            "name": "present formula",
            "settings": {"dose": 1.5, "pH": 8.8, "диспергатор": 1.0, "grind time": 30},
        }
    ],
    "response": [
        {"name": "viscosity", "unit": "mPa·s"},
        {"name": "foam", "per": "batch"},
        {"name": "颜色强度", "unit": "%"},
    ],
}

ROWS = [
    [0.2, 0.8, 1.6, 8.6, 0, 30, 15],
    [0.2, 0.8, 1.6, 8.6, 0, 30, 45],
    [0.4, 0.6, 2.0, 9.0, 1, 30, 15],
    [0.4, 0.6, 2.0, 9.0, 1, 30, 45],
    [0.0, 1.0, 1.5, 8.8, 0, 40, 30],
]


KINDS: tuple[Kind, ...] = ("design", "design", "design", "design", "control")


def make_plan(study: Study, rows: list[list[float]] | None = None, runs: int = 5) -> Plan:
    """Plan two batches on day 1 and a control on day 2."""
    settings = Settings(
        names=study.setting_names,
        values=np.array(rows or ROWS)[:runs],
        labels={"neutraliser": ("ammonia", "sodium hydroxide")},
    )
    return Plan(
        settings=settings,
        run=(1, 2, 3, 4, 5)[:runs],
        round=(1,) * runs,
        day=(1, 1, 1, 1, 2)[:runs],
        batch=(1, 1, 2, 2, 3)[:runs],
        sample=(1, 2, 3, 4, 5)[:runs],
        panel=(None,) * runs,
        kind=KINDS[:runs],
        rounds=(
            Round(
                number=1,
                layout="adopted",
                models=("linear",),
                seed=7,
                controls={5: "present formula"} if runs == 5 else {},
            ),
        ),
    )


@pytest.fixture
def brief() -> dict[str, Any]:
    """Give the brief as a table that a test may alter."""
    return copy.deepcopy(BRIEF)


@pytest.fixture
def study() -> Study:
    """Give the brief as a value."""
    return Study.model_validate(BRIEF)


@pytest.fixture
def plan(study: Study) -> Plan:
    """Give the plan."""
    return make_plan(study)


Fill = Callable[[Mapping[tuple[str, str], Any]], bytes]


@pytest.fixture
def fill(study: Study, plan: Plan) -> Fill:
    """Write the workbook and fill in cells, named by sheet and coordinate."""

    def filled(cells: Mapping[tuple[str, str], Any]) -> bytes:
        book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(study, plan)))
        for (sheet, cell), value in cells.items():
            book[sheet][cell] = value
        out = io.BytesIO()
        book.save(out)
        return out.getvalue()

    return filled
