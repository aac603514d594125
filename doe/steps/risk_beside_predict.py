"""Why most batches of `risk` spread over more than the interval of one run of `predict`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.risk.probability import ResponseRisk, Risk
from analysis.surface.noise import Production
from analysis.surface.predict import predict_averaged
from doe.steps.analysis_of import StudyAnalysis
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Widths that differ by less are not worth a word; our own choice.
WORTH_SAYING = 0.1


def wider_than_predicted(
    risk: Risk, analysis: StudyAnalysis, production: Production
) -> Iterator[Finding]:
    """Say in one note of which responses the two intervals differ in width, and why."""
    ratios = {
        one.response: ratio
        for one in risk.per_response
        if (ratio := _ratio(one, risk, analysis, production)) > 1.0 + WORTH_SAYING
    }
    if not ratios:
        return
    named = ", ".join(f"'{name}' {100 * (ratio - 1):.0f} %" for name, ratio in ratios.items())
    yield Finding(
        level="note",
        what=f"{100 * risk.level:g} % of batches spread wider here than the interval of one new "
        f"run that 'predict' gives ({named}): here settings and noise factors scatter as in "
        "production, and the variances themselves are drawn as uncertainly as the runs tell them; "
        "'predict' holds the settings still and allows for few degrees of freedom by formula.",
        evidence={f"ratio of widths, {name}": float(f"{r:.3g}") for name, r in ratios.items()},
    )


def _ratio(one: ResponseRisk, risk: Risk, analysis: StudyAnalysis, production: Production) -> float:
    """Give the width here over that of `predict`; 0 where either has none."""
    fitted = analysis.fitted.get(one.response)
    # A rating is told by its chances, not by an interval of values.
    if fitted is None or fitted.fit.classes is not None:
        return 0.0
    found = predict_averaged(
        fitted.fit, risk.nominal[None, :], production, region=analysis.region, level=risk.level
    )
    here, there = (float(np.diff(pair)[0]) for pair in _pairs(one, found.run_interval))
    is_told = np.isfinite(here) and np.isfinite(there) and there > 0.0
    return here / there if is_told else 0.0


def _pairs(one: ResponseRisk, run_interval: FloatArray) -> tuple[FloatArray, FloatArray]:
    return np.asarray(one.production_interval, dtype=np.float64), run_interval[0]
