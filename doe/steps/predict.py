"""The step `predict`: every response at given settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from analysis.surface.narrow_runs import narrow_run_findings
from analysis.surface.predict import predict_response
from analysis.surface.prediction import Prediction
from doe.errors import Fault, StudyError
from doe.model.coding import Coding, NumericAxis, settings_table
from doe.model.region import Region, region_of
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.contract import envelope
from doe.steps.model_choice import FitOptions
from doe.steps.session import Session, open_study
from doe.steps.settings_text import level_name, own_ends, settings_row, split_assignment
from doe.steps.untold import gap_findings, without_gaps, without_interval
from doe.study.finding import Finding
from doe.study.settings import FloatArray, Settings
from doe.study.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PredictOutcome:
    """What to expect at n settings."""

    session: Session
    settings: Settings
    predictions: Mapping[str, Prediction]
    findings: tuple[Finding, ...]
    not_fitted: Mapping[str, str] = field(default_factory=dict)
    not_computed: Mapping[str, str] = field(default_factory=dict)
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
        body = {
            "rows": rows,
            "not_fitted": dict(self.not_fitted),
            "not_computed": dict(self.not_computed),
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


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
    """Predict every fitted response, and every one that the recipe gives.

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
        name: without_gaps(
            predict_response(fit, values, region=analysis.region, level=level),
            values,
            analysis.gaps.get(name, ()),
        )
        for name, fit in analysis.surfaces.items()
    }
    intervals = {name: (one.mean_interval, one.run_interval) for name, one in predictions.items()}
    return PredictOutcome(
        session=session, settings=settings_table(values, analysis.coding), predictions=predictions,
        findings=(
            *_without_model(analysis.not_fitted),
            *analysis.findings,
            *narrow_run_findings(intervals, "settings"),
            *gap_findings(values, analysis.gaps),
            *without_interval(analysis.fitted),
            *_outside_findings(values, _of_brief(analysis)),
        ),
        not_fitted=analysis.not_fitted,
        not_computed=analysis.not_computed,
    )  # fmt: skip


def _of_brief(analysis: StudyAnalysis) -> Region:
    """Give the region of the brief, also where the runs never tried a part of it."""
    narrowed = any(analysis.gaps.values())
    return region_of(analysis.session.study) if narrowed else analysis.region


def _without_model(not_fitted: Mapping[str, str]) -> tuple[Finding, ...]:
    """Name the responses that are missing from the table for want of a model, each with why."""
    return tuple(
        Finding(
            level="caution",
            what=f"'{name}' is not predicted, as it has no model. {why}",
            evidence={"responses without a model": len(not_fitted)},
        )
        for name, why in not_fitted.items()
    )


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
    rows: list[FloatArray] = []
    faults: list[Fault] = []
    for cells, line in zip(read.rows, read.lines, strict=True):
        given = dict(zip(read.names, cells, strict=True))
        try:
            rows.append(settings_row(given, coding, f"{table}, line {line}", read.decimal))
        except StudyError as error:
            faults += error.faults
    if faults:
        raise StudyError.from_faults(faults)
    return np.array(rows)


def _refuse_twice(names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise StudyError(f"'{twice[0]}' is given twice", where="--at")


def _outside_findings(values: FloatArray, region: Region) -> tuple[Finding, ...]:
    rows = [int(i) for i in np.flatnonzero(~region.contains(values))]
    if not rows:
        return ()
    named = ", ".join(str(i + 1) for i in rows[:8]) + (" …" if len(rows) > 8 else "")
    why = list(dict.fromkeys(words for i in rows for words in _beyond(values[i], region.coding)))
    because = f" ({'; '.join(why[:3])}{' …' if len(why) > 3 else ''})" if why else ""
    return (
        Finding(
            level="caution",
            what=f"Outside the region of the brief (row {named}): no run stands behind "
            f"it{because}.",
            evidence={"rows": len(rows)},
            advice="Believe them only after a run there.",
        ),
    )


def _beyond(row: FloatArray, coding: Coding) -> Iterator[str]:
    """Name each ranged factor that leaves the range of the row's level."""
    for value, axis in zip(row, coding.axes, strict=True):
        if not isinstance(axis, NumericAxis) or not axis.ranges:
            continue
        ends = own_ends(axis, row, coding)
        if ends is not None and not ends[0] <= value <= ends[1]:
            level, unit = level_name(axis, row, coding), f" {axis.unit}" if axis.unit else ""
            yield f"{axis.name} of {level} runs from {ends[0]:g} to {ends[1]:g}{unit}"
