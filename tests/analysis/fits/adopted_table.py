"""Published tables as studies, so that they pass through the same functions as a user's own."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from analysis.lab.response_data import ResponseData
from analysis.lab.responses import gather
from doe.model.coding import Coding, coding_of
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from doe.study.readings import Reading, Readings
from doe.study.settings import Settings

REFERENCE = Path(__file__).parents[2] / "reference"


def reference_rows(case: str) -> list[dict[str, str]]:
    """Read the data of a published case."""
    with (REFERENCE / case / "data.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def published(case: str) -> dict[str, tuple[float, float]]:
    """Give value and half a unit of its last printed digit for every printed number that holds.

    Entries that the printed data do not reproduce (see the case's SOURCE.md) are left out.
    """
    content = json.loads((REFERENCE / case / "expected.json").read_text(encoding="utf-8"))
    return {
        entry["id"]: (entry["value"], entry["tolerance_from_rounding"])
        for entry in content["values"]
        if entry["kind"] == "published" and entry["agrees_at_rounding"]
    }


def computed(case: str) -> dict[str, Any]:
    """Give the independently computed numbers of a case."""
    content = json.loads((REFERENCE / case / "expected.json").read_text(encoding="utf-8"))
    return {
        entry["id"]: entry["value"] for entry in content["values"] if entry["kind"] != "published"
    }


def range_factor(name: str, low: float = -1.0, high: float = 1.0, **more: Any) -> dict[str, Any]:
    """Write a numeric factor of a brief; by default one that is coded as it is."""
    return {"name": name, "low": low, "high": high, **more}


def study_of(
    *,
    factors: Sequence[Mapping[str, Any]] = (),
    shares: Sequence[Mapping[str, Any]] = (),
    response: Mapping[str, Any] | None = None,
    **more: Any,
) -> Study:
    """Write a brief with one response `y`, unless another is given."""
    brief: dict[str, Any] = {
        "study": {"title": "a published table"},
        "factor": list(factors),
        "response": [dict(response or {"name": "y"})],
        **more,
    }
    if shares:
        brief["package"] = {"additive": list(shares)}
    return Study.model_validate(brief)


def adopt(
    study: Study,
    rows: Sequence[Mapping[str, Any]],
    column: str,
    *,
    block: str | None = None,
    kinds: Sequence[str] | None = None,
    controls: Mapping[int, str] | None = None,
) -> tuple[ResponseData, Coding]:
    """Take in a table: one column a setting, one reading a row (or several in a list).

    Args:
        study: The brief.
        rows: The table.
        column: Name of the response's column.
        block: Name of the column of blocks.
        kinds: What each run was for.
        controls: Name of the control of each control run.
    """
    labels = {f.name: f.levels for f in study.varied_factors if f.kind == "choice"}
    values = [[_cell(row[name], labels.get(name)) for name in study.setting_names] for row in rows]
    n = len(rows)
    details = {"blocks": {i + 1: row[block] for i, row in enumerate(rows)}} if block else {}
    plan = Plan(
        settings=Settings(
            names=study.setting_names,
            values=np.array(values, dtype=np.float64).reshape(n, len(study.setting_names)),
            labels={name: tuple(map(str, levels)) for name, levels in labels.items()},
        ),
        run=tuple(range(1, n + 1)),
        round=(1,) * n,
        day=(None,) * n,
        batch=(None,) * n,
        sample=(None,) * n,
        panel=(None,) * n,
        kind=tuple(kinds or ["design"] * n),
        rounds=(
            Round(number=1, layout="adopted", models=(), details=details, controls=controls or {}),
        ),
    )
    name = study.responses[0].name
    lines: list[Reading] = []
    for i, row in enumerate(rows):
        cells = row[column] if isinstance(row[column], list) else [row[column]]
        for repeat, cell in enumerate(cells, start=1):
            value = float(cell)
            lines.append(
                Reading(id=len(lines) + 1, run=i + 1, repeat=repeat, response=name, value=value)
            )
    data = gather(study, plan, Readings(rows=tuple(lines)))[name]
    return data, coding_of(study)


def agreeing_digits(found: float, certified: float) -> float:
    """Count decimal digits in agreement, the logarithm of the relative error (NIST's LRE)."""
    if found == certified:
        return 16.0
    error = abs(found - certified)
    return float(-np.log10(error / abs(certified) if certified else error))


def _cell(cell: Any, levels: Sequence[Any] | None) -> float:
    if cell is None:
        return float("nan")
    return float(list(levels).index(cell)) if levels else float(cell)
