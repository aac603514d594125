"""Drift of one response as `fit` tells it: what controls show, what is corrected, what it moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from analysis.fits.control_drift import ControlDrift
from analysis.fits.drift_values import slope_in_words
from analysis.fits.fit import Fit
from analysis.surface.noise import full_row, production_of
from analysis.surface.predict import predict_values
from doe.model.vertices import overall_centroid
from doe.steps.analysis_of import StudyAnalysis
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedValue:
    """One response at one place by both fits, response unit.

    Attributes:
        where: The place, as a phrase.
        corrected: What the corrected model gives.
        uncorrected: What the model without the correction gives; None where it cannot be fitted.
    """

    where: str
    corrected: float
    uncorrected: float | None


def looked_at(analysis: StudyAnalysis) -> tuple[FloatArray, str]:
    """Give the settings to compare models at: those chosen, else the middle of the region.

    Returns:
        One row, shape (k,), and where that is, as a phrase.
    """
    chosen = analysis.session.choices.chosen
    if chosen is not None and chosen.settings:
        production = production_of(analysis.session.study, analysis.coding)
        return full_row(chosen.settings, analysis.coding, production), "at the settings kept"
    return overall_centroid(analysis.region)[0], "in the middle of the region"


def corrected_value(analysis: StudyAnalysis, name: str) -> CorrectedValue | None:
    """Set the corrected prediction beside the other; None where nothing is corrected."""
    fitted = analysis.fitted[name]
    if fitted.fit.drift is None:
        return None
    row, where = looked_at(analysis)
    production = production_of(analysis.session.study, analysis.coding)

    def value(fit: Fit) -> float:
        return float(predict_values(fit, row[None, :], production)[0])

    plain = None if fitted.drift is None else fitted.drift.plain
    return CorrectedValue(
        where=where,
        corrected=value(fitted.fit),
        uncorrected=None if plain is None else value(plain),
    )


def drift_object(
    analysis: StudyAnalysis, name: str, controls: Sequence[ControlDrift]
) -> dict[str, Any]:
    """Give the contract's object: the slope corrected for, else that of the clearest control."""
    fitted = analysis.fitted[name]
    fit, level = fitted.fit, fitted.assessment.level
    if fit.drift is None:
        return _uncorrected(fit, min(controls, key=lambda one: one.p, default=None))
    (slope, low, high), unit = slope_in_words(fit, (fit.drift.slope, *fit.drift.interval(level)))
    beside = corrected_value(analysis, name)
    return {
        "corrected": True,
        "told_by": "controls and runs",
        "slope": slope,
        "interval": [low, high],
        "unit": unit,
        "df": fit.drift.df,
        "p": fit.drift.p,
        "middle": fit.drift.middle,
        "moved": [] if fitted.drift is None else [asdict(one) for one in fitted.drift.moved],
        "predicted": None if beside is None else asdict(beside),
    }


def _uncorrected(fit: Fit, clearest: ControlDrift | None) -> dict[str, Any]:
    nothing: dict[str, Any] = {"middle": None, "moved": [], "predicted": None}
    if clearest is None:
        unit = slope_in_words(fit, ())[1]
        known = {"told_by": None, "slope": None, "interval": None, "unit": unit, "df": None}
        return {"corrected": False, **known, "p": None, **nothing}
    # The interval is of the change from first to last: back to one run.
    span = clearest.change / clearest.slope if clearest.slope else float("nan")
    per_run = (clearest.slope, *(end / span for end in clearest.interval))
    (slope, low, high), unit = slope_in_words(fit, per_run)
    told = {"told_by": f"control {clearest.control}", "slope": slope, "interval": [low, high]}
    return {
        "corrected": False, **told, "unit": unit, "df": clearest.df, "p": clearest.p, **nothing,
    }  # fmt: skip
