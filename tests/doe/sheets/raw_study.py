"""An invented study whose responses come from methods: tests shared, ages, ratings, curves."""

from __future__ import annotations

import copy
import io
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from doe.methods.settling import settle_methods
from doe.study.brief import Study
from doe.study.plan import Plan
from tests.doe.sheets.conftest import BRIEF, make_plan

RESPONSES: list[dict[str, Any]] = [
    {"name": "foam", "per": "batch"},
    {"name": "viscosity", "unit": "mPa·s", "from": "rotational viscosity"},
    {"name": "thickening", "from": "change after storage",
     "with": {"of": "viscosity", "start_d": 1.0, "end_d": 28.0}},
    {"name": "strength", "from": "colour strength"},
    {"name": "rub-out", "from": "rub-out difference"},
    {"name": "uptake", "from": "water uptake", "age_d": 7.0},
    {"name": "leached", "from": "leached part", "age_d": 1.0},
    {"name": "w", "from": "capillary water coefficient", "with": {"area": 0.02}},
    {"name": "adhesion", "from": "cross-cut rating"},
    {"name": "price", "from": "cost per kg"},
]  # fmt: skip


def raw_brief(responses: list[dict[str, Any]] | None = None) -> Study:
    """Give the brief with its methods settled."""
    table = copy.deepcopy(BRIEF)
    table["response"] = copy.deepcopy(RESPONSES if responses is None else responses)
    study, flaws = settle_methods(Study.model_validate(table))
    assert not flaws
    return study


def panel_plan(study: Study) -> Plan:
    """Plan five runs, each with a panel of its own; two samples a batch, a control on day 2."""
    return replace(make_plan(study), panel=(1, 2, 3, 4, 5))


def heads_of(sheet: Worksheet) -> tuple[int, dict[str, int]]:
    """Find the row of the headers, and the columns by header."""
    for row in range(1, 20):
        texts = {str(cell.value): cell.column for cell in sheet[row] if cell.value is not None}
        if "run" in texts and len(texts) > 3:
            return row, texts
    raise AssertionError(f"'{sheet.title}' has no headers")


def filled(data: bytes, cells: Mapping[tuple[str, int, str], Any]) -> bytes:
    """Fill in cells, named by sheet, line below the headers (from 1) and header."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    for (title, line, head), value in cells.items():
        row, columns = heads_of(book[title])
        book[title].cell(row + line, columns[head]).value = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
