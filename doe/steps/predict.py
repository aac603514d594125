"""The step `predict`: every response at given settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.surface.predict import predict_response
from analysis.surface.prediction import Prediction
from doe.errors import StudyError
from doe.model.coding import Coding, settings_table
from doe.steps.analysis_of import analyse
from doe.steps.contract import envelope
from doe.steps.model_choice import FitOptions
from doe.steps.session import Session, open_study
from doe.steps.settings_text import settings_row, split_assignment
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray, Settings
from doe.study.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PredictOutcome:
    """What to expect at n settings."""

    session: Session
    settings: Settings
    predictions: Mapping[str, Prediction]
    findings: tuple[Finding, ...]
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `predict --json` prints."""
        rows = [
            {
                "settings": self.settings.row(i),
                "predictions": {
                    name: prediction_object(p, i) for name, p in self.predictions.items()
                },
            }
            for i in range(len(self.settings))
        ]
        return envelope({"rows": rows}, inputs=self.session.inputs(), findings=self.findings)


def prediction_object(prediction: Prediction, i: int) -> dict[str, Any]:
    """Give one row of a prediction as the contract has it."""
    return {
        "value": prediction.value[i],
        "value_is": prediction.value_is,
        "unit": prediction.unit,
        "mean_interval": prediction.mean_interval[i],
        "run_interval": prediction.run_interval[i],
        "predict_for": prediction.predict_for,
        "inside": bool(prediction.inside[i]),
    }


def predict_study(
    path: Path, *, at: Sequence[str] = (), table: Path | None = None, level: float = 0.95
) -> PredictOutcome:
    """Predict every fitted response.

    Args:
        path: The study folder.
        at: `NAME=VALUE` once a setting; one row.
        table: A table with a column a setting; as many rows as it has.
        level: Confidence of both intervals, 0..1.

    Raises:
        DoeError: The settings or the study cannot be used.
    """
    session = open_study(path)
    analysis = analyse(session, FitOptions(level=level))
    values = _asked_settings(at, table, analysis.coding)
    predictions = {
        name: predict_response(fit, values, region=analysis.region, level=level)
        for name, fit in analysis.fits.items()
    }
    outside = ~analysis.region.contains(values)
    return PredictOutcome(
        session=session, settings=settings_table(values, analysis.coding), predictions=predictions,
        findings=(*analysis.findings, *_outside_findings(outside)),
    )  # fmt: skip


def _asked_settings(at: Sequence[str], table: Path | None, coding: Coding) -> FloatArray:
    if bool(at) == (table is not None):
        raise StudyError(
            "no settings were given" if not at else "settings were given twice",
            where="millbase predict",
            allowed="either --at NAME=VALUE, once a setting, or --table FILE",
        )
    if table is None:
        pairs = [split_assignment(text) for text in at]
        _refuse_twice([name for name, _ in pairs])
        return settings_row(dict(pairs), coding, "--at")[np.newaxis, :]
    read = read_table(table)
    if not read.rows:
        raise StudyError(
            "the table has no rows", where=str(table), allowed="a line of settings a prediction"
        )
    return np.array(
        [
            settings_row(
                dict(zip(read.names, cells, strict=True)),
                coding,
                f"{table}, line {line}",
                read.decimal,
            )
            for cells, line in zip(read.rows, read.lines, strict=True)
        ]
    )


def _refuse_twice(names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise StudyError(f"'{twice[0]}' is given twice", where="--at")


def _outside_findings(outside: BoolArray) -> tuple[Finding, ...]:
    rows = [int(i) + 1 for i in np.flatnonzero(outside)]
    if not rows:
        return ()
    named = ", ".join(map(str, rows[:8])) + (" …" if len(rows) > 8 else "")
    return (
        Finding(
            level="caution",
            what=f"Outside the region of the brief (row {named}): no run stands behind it.",
            evidence={"rows": len(rows)},
            advice="Believe them only after a run there.",
        ),
    )
